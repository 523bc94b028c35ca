"""`pourwright materials`: the resins there are, generic ones and the shop's own."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pourwright.cli import common
from pourwright.cli.common import DONE
from pourwright.terminal import say

if TYPE_CHECKING:
    from pourwright.cli.common import Commands
    from pourwright.shop.resin import Resin


def add_to(commands: Commands) -> argparse.ArgumentParser:
    """Add the command and return its parser."""
    command = commands.add_parser("materials", help="list the resins", allow_abbrev=False)
    add_folder(command)
    command.set_defaults(command=run)
    return command


def add_folder(command: argparse.ArgumentParser) -> None:
    """Add the folder of the shop's own presets."""
    command.add_argument(
        "--materials", metavar="DIR", type=Path,
        help="folder of your own presets, files resin*.toml (default: POURWRIGHT_MATERIALS, "
        "else materials in the system's place for Pourwright's settings)",
    )  # fmt: skip


def known(options: argparse.Namespace) -> dict[str, Resin]:
    """Return the generic resins and those of the folder; the default one need not be there."""
    from pourwright.shop.materials import default_folder, read_materials

    if options.materials is not None:
        return read_materials(options.materials)
    folder = default_folder()
    try:
        there = folder.exists()
    except OSError:  # a folder above is closed to this user
        there = False
    return read_materials(folder if there else None)


def run(options: argparse.Namespace) -> int:
    """List the resin presets."""
    from dataclasses import asdict

    from pourwright.report import materials_report

    found = list(known(options).values())
    common.write_json(options, {"materials": [asdict(resin) for resin in found]})
    say(materials_report(found))
    return DONE
