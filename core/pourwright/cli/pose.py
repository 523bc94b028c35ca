"""`pourwright pose`: which way up to pour a figure."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pourwright.cli import common
from pourwright.cli.common import DONE
from pourwright.errors import InputError
from pourwright.progress import part
from pourwright.terminal import progress_line, say

if TYPE_CHECKING:
    from pourwright.cli.common import Commands
    from pourwright.plan.job import Job


def add_to(commands: Commands) -> argparse.ArgumentParser:
    """Add the command and return its parser."""
    command = commands.add_parser(
        "pose", help="search for the best way up to pour a figure", allow_abbrev=False
    )
    common.add_models(command)
    command.add_argument(
        "--axis", metavar="X,Y,Z", type=common.direction,
        help="middle of the directions tried, points up in the pour (default 0,0,-1)",
    )  # fmt: skip
    command.add_argument(
        "--cone", metavar="DEG", type=common.number,
        help="try directions up to this angle from the axis (default 180: all)",
    )  # fmt: skip
    command.add_argument(
        "--directions", metavar="N", type=common.whole_number,
        help="how many to try at first (default 500)",
    )  # fmt: skip
    command.add_argument(
        "--keep", metavar="N", type=common.whole_number, help="poses in the ranking (default 8)"
    )
    command.add_argument("--process", metavar="NAME", help="how it is poured")
    command.add_argument(
        "--pot-height", metavar="MM", type=common.number,
        help="room for the figure in the pressure pot",
    )  # fmt: skip
    command.add_argument(
        "--pot-diameter", metavar="MM", type=common.number, help="the same, across"
    )
    command.add_argument("--job", metavar="JOB.toml", type=Path, help="file of settings")
    common.add_protect(command)
    command.add_argument(
        "--picture", metavar="FILE.svg", type=Path, help="draw the directions by their points"
    )
    command.set_defaults(command=run)
    return command


def run(options: argparse.Namespace) -> int:
    """Search, write and print the ranking, and return the exit status."""
    job = _job(options)
    common.check_models(options.models)
    targets = [path for path in (options.json, options.picture) if path is not None]
    common.check_outputs(targets, common.read_files(options), options.force)
    if options.picture is not None and options.picture.suffix.lower() != ".svg":
        raise InputError(
            f"--picture {options.picture}: the picture is an SVG file", hint="end its name in .svg"
        )
    with progress_line() as progress:
        from pourwright.pose.search import search

        solid = common.read_protected_solid(options, progress, 0.2)
        poses = search(
            solid, job.process, job.pose, job.base.embed_mm, part(progress, 0.2, 1.0)
        )
    from pourwright.files.plan_json import to_json
    from pourwright.files.pose_json import pose_to_dict
    from pourwright.files.pose_svg import pose_svg
    from pourwright.report import pose_report

    names = common.names(options.models)
    contents: dict[Path | None, bytes] = {options.json: to_json(pose_to_dict(poses))}
    if options.picture is not None:
        contents[options.picture] = pose_svg(poses, ", ".join(names))
    common.write_all(options, contents)
    say(pose_report(poses, solid, names, targets))
    return DONE


def _job(options: argparse.Namespace) -> Job:
    from dataclasses import replace

    from pourwright.plan.job import Job
    from pourwright.plan.job_file import read_job, with_options

    job = with_options(
        read_job(options.job) if options.job else Job(), process=options.process
    )
    chosen = {
        "axis": options.axis,
        "cone_deg": options.cone,
        "directions": options.directions,
        "keep": options.keep,
        "pot_height_mm": options.pot_height,
        "pot_diameter_mm": options.pot_diameter,
    }
    given = {name: value for name, value in chosen.items() if value is not None}
    return replace(job, pose=replace(job.pose, **given))
