"""The options of every command."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import NoReturn

from pourwright import __version__
from pourwright.cli import air, lists, materials, mix, plan, pose, printers, sheet
from pourwright.errors import InputError

_POINT_OPTIONS = ("--up", "--vent", "--axis")
_NEGATIVE_START = re.compile(r"-[\d.]")


class _Parser(argparse.ArgumentParser):
    """Reports wrong options as every other bad input: by an InputError, in one line."""

    def error(self, message: str) -> NoReturn:
        raise InputError(message, hint=f"see {self.prog} --help")


def build_parser() -> argparse.ArgumentParser:
    """Return the parser; what it returns for a command line has the command as `command`."""
    parser = _Parser(
        prog="pourwright",
        description="From a sculpted figure to a vented, sprued master for resin casting.",
        epilog="Exit status: 0 done, 1 something remains to decide, 2 bad input.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"pourwright {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    made = [
        air.add_to(commands),
        pose.add_to(commands),
        plan.add_to(commands),
        mix.add_to(commands),
        sheet.add_to(commands),
        lists.add_to(commands),
        materials.add_to(commands),
        printers.add_to(commands),
    ]
    for command in made:
        command.add_argument(
            "--json", metavar="FILE", type=Path, help="write the result as JSON too"
        )
        command.add_argument(
            "--force", action="store_true", help="replace files that are there already"
        )
    return parser


def bind_points(arguments: list[str]) -> list[str]:
    """Join "--up -1,0,0" to "--up=-1,0,0": argparse takes a leading minus for an option."""
    bound: list[str] = []
    for i, argument in enumerate(arguments):
        if argument == "--":
            return bound + arguments[i:]
        if bound and bound[-1] in _POINT_OPTIONS and _NEGATIVE_START.match(argument):
            bound[-1] += "=" + argument
        else:
            bound.append(argument)
    return bound
