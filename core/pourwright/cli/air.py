"""`pourwright air`: where air stays in the figure as it is."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from pourwright.cli import common
from pourwright.cli.common import DONE, UNDECIDED
from pourwright.progress import part
from pourwright.terminal import progress_line, say

if TYPE_CHECKING:
    from pourwright.cli.common import Commands


def add_to(commands: Commands) -> argparse.ArgumentParser:
    """Add the command and return its parser."""
    command = commands.add_parser(
        "air", help="find the air pockets of a figure as it is", allow_abbrev=False
    )
    common.add_models(command)
    common.add_up(command)
    command.add_argument(
        "--vent", metavar="X,Y,Z", type=common.point, action="append", default=[],
        help="open the cavity at the surface point nearest to this one, mm; "
        "without any, the highest point is open",
    )  # fmt: skip
    command.add_argument("--process", metavar="NAME", help="how it is poured")
    command.set_defaults(command=run)
    return command


def run(options: argparse.Namespace) -> int:
    """Check the air, write and print it, and return the exit status."""
    from pourwright.shop.process import DEFAULT_PROCESS, process_named

    process = process_named(options.process) if options.process else DEFAULT_PROCESS
    common.check_models(options.models)
    targets = [options.json] if options.json else []
    common.check_outputs(targets, options.models, options.force)
    with progress_line() as progress:
        from pourwright.plan.pipeline import check_air

        solid = common.read_solid(options, progress, 0.4)
        check = check_air(
            solid, options.up or (0.0, 0.0, -1.0), options.vent, process,
            part(progress, 0.4, 1.0),
        )  # fmt: skip
    from pourwright.files.plan_json import air_to_dict
    from pourwright.report import air_report

    common.write_json(options, air_to_dict(check))
    say(air_report(check, common.names(options.models)))
    return UNDECIDED if any(p.matters for p in check.pockets) else DONE
