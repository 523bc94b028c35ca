"""The command `pourwright`: figures in, air checks, poses and pour plans out.

Exit status: 0 done; 1 done, but something remains that the user must decide; 2 bad input, with
one line on standard error and nothing written; 130 stopped by the user.

What is heavy to import is imported inside the commands, after the cheap checks of their input.
"""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Callable, Sequence

from pourwright.cli.common import BAD_INPUT, DONE, STOPPED
from pourwright.cli.parser import bind_points, build_parser
from pourwright.errors import Cancelled, PourwrightError
from pourwright.memory import give_back_early
from pourwright.terminal import abandon_output, complain, flush_output, quiet_libraries

__all__ = ["main"]

TRACEBACK_VARIABLE = "POURWRIGHT_TRACEBACK"


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line on `argv` (default: the process's own) and return the exit status."""
    arguments = sys.argv[1:] if argv is None else list(argv)
    if argv is None:
        give_back_early()
    try:
        with quiet_libraries():
            options = build_parser().parse_args(bind_points(arguments))
            command: Callable[[argparse.Namespace], int] = options.command
            return command(options)
    except (KeyboardInterrupt, Cancelled):
        complain("stopped")
        return STOPPED
    except BrokenPipeError:  # the reader of --help has gone away
        abandon_output()
        return DONE
    except SystemExit as done:  # how argparse ends after --help and --version
        flush_output()
        return DONE if done.code is None else int(done.code)
    except PourwrightError as error:
        return _bad_input(error.one_line())
    except MemoryError:
        return _bad_input(_MEMORY)
    except Exception as error:  # the last resort: one line, whatever a library throws
        if isinstance(error, ImportError) and "failed to map segment" in str(error):
            return _bad_input(_MEMORY)  # the loader's way to say it
        detail = " ".join(f"{type(error).__name__}: {error}".split())[:300]
        return _bad_input(
            f"this is a bug: {detail}; set {TRACEBACK_VARIABLE}=1 to see where it happened"
        )


_MEMORY = "not enough memory; close other programs or give a coarser model"


def _bad_input(text: str) -> int:
    """Complain in one line; called while an exception is handled, for its traceback."""
    if os.environ.get(TRACEBACK_VARIABLE, "0") not in ("", "0"):
        traceback.print_exc()
    complain(text)
    return BAD_INPUT
