"""`pourwright bases`: the sprue bases there are to choose from."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pourwright.cli import common
from pourwright.cli.common import DONE
from pourwright.terminal import say

if TYPE_CHECKING:
    from pourwright.cli.common import Commands


def add_to(commands: Commands) -> argparse.ArgumentParser:
    """Add the command and return its parser."""
    bases = commands.add_parser("bases", help="list the sprue bases", allow_abbrev=False)
    bases.add_argument(
        "--pictures", metavar="DIR", type=Path, help="write a picture of each, an SVG file, too"
    )
    bases.set_defaults(command=run_bases)
    return bases


def run_bases(options: argparse.Namespace) -> int:
    """List the sprue bases with their parameters, and write pictures of them if asked for."""
    from dataclasses import asdict

    from pourwright.report import bases_report
    from pourwright.sprue.catalogue import CATALOGUE

    kinds = list(CATALOGUE.values())
    if options.pictures is not None:
        from pourwright.files.atomic import write_files
        from pourwright.sprue.picture import base_picture

        write_files(
            {
                options.pictures / f"{kind.name}.svg": base_picture(kind.name).encode("utf-8")
                for kind in kinds
            },
            force=options.force,
        )
    common.write_json(options, {"bases": [asdict(kind) for kind in kinds]})
    say(bases_report(kinds))
    return DONE
