"""The terminal: reports to standard output, one-line complaints and progress to standard error."""

from __future__ import annotations

import contextlib
import logging
import os
import sys
import warnings
from collections.abc import Iterator

from pourwright.errors import OutputError
from pourwright.progress import Progress, silent


def complain(text: str) -> None:
    """Write one line to standard error; where there is none, to nowhere."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        sys.stderr.write(f"pourwright: {text}\n")
        sys.stderr.flush()


def say(text: str) -> None:
    """Write a report to standard output.

    A reader that has gone away, as after `| head`, is no fault. Raises OutputError when the
    report cannot be written for another reason, such as a full disk.
    """
    if sys.stdout is None:
        return
    encoding = sys.stdout.encoding or "utf-8"
    try:
        sys.stdout.write(text.encode(encoding, "replace").decode(encoding) + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        abandon_output()
    except OSError as error:
        abandon_output()
        raise OutputError(
            f"Cannot print the report: {error.strerror}",
            hint="files that were asked for are written",
        ) from error


def flush_output() -> None:
    """Write out what waits for standard output; a reader that has gone away is no fault."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError, AttributeError):
        abandon_output()


def abandon_output() -> None:
    """Send what is still to be flushed to nowhere, so that the end of the process is quiet."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


@contextlib.contextmanager
def quiet_libraries() -> Iterator[None]:
    """Keep warnings and log lines of libraries off standard error, which is for one line."""
    log = logging.getLogger("trimesh")
    level = log.level
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        log.setLevel(logging.CRITICAL + 1)
        try:
            yield
        finally:
            log.setLevel(level)


@contextlib.contextmanager
def progress_line() -> Iterator[Progress]:
    """Yield a progress that shows one changing line on a terminal, and nothing elsewhere."""
    stream = sys.stderr
    if stream is None or not stream.isatty():
        yield silent
        return
    width = 0

    def show(fraction: float, text: str) -> None:
        nonlocal width
        line = f"{fraction * 100:3.0f} %  {text}"
        with contextlib.suppress(OSError):
            stream.write("\r" + line.ljust(width))
            stream.flush()
        width = len(line)

    try:
        yield show
    finally:
        with contextlib.suppress(OSError):
            stream.write("\r" + " " * width + "\r")
            stream.flush()
