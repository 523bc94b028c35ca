"""`pourwright printers`: the kinds of printer there are to choose from."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from pourwright.cli import common
from pourwright.cli.common import DONE
from pourwright.terminal import say

if TYPE_CHECKING:
    from pourwright.cli.common import Commands


def add_to(commands: Commands) -> argparse.ArgumentParser:
    """Add the command and return its parser."""
    command = commands.add_parser(
        "printers", help="list the kinds of printer", allow_abbrev=False
    )
    command.set_defaults(command=run)
    return command


def run(options: argparse.Namespace) -> int:
    """List the printers with the room they print in."""
    from dataclasses import asdict

    from pourwright.report import printers_report
    from pourwright.shop.printer import PRINTERS

    printers = list(PRINTERS.values())
    common.write_json(options, {"printers": [asdict(printer) for printer in printers]})
    say(printers_report(printers))
    return DONE
