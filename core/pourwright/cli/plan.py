"""`pourwright plan`: the whole job, from figure to master."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from pourwright.cli import common, materials
from pourwright.cli.common import DONE, UNDECIDED
from pourwright.errors import InputError
from pourwright.progress import part
from pourwright.terminal import progress_line, say

if TYPE_CHECKING:
    from pourwright.cli.common import Commands
    from pourwright.plan.job import Job
    from pourwright.solid.mesh import TriMesh


SHEET_NAME = "sheet.html"


def add_to(commands: Commands) -> argparse.ArgumentParser:
    """Add the command and return its parser."""
    command = commands.add_parser(
        "plan", help="plan base, funnel and vents, and write the master", allow_abbrev=False
    )
    common.add_models(command)
    way = command.add_mutually_exclusive_group()
    common.add_up(way)
    way.add_argument(
        "--find-pose", action="store_true",
        help="search for the best way up first and use it, see 'pourwright pose'",
    )  # fmt: skip
    command.add_argument(
        "--out", metavar="DIR", type=common.folder, required=True, help="folder to write to"
    )
    command.add_argument("--job", metavar="JOB.toml", type=Path, help="file of settings")
    command.add_argument(
        "--save-job", metavar="FILE", type=Path,
        help="write the settings that were used, options and the way up included, as a job file",
    )  # fmt: skip
    base = command.add_mutually_exclusive_group()
    base.add_argument("--base", metavar="NAME", help="sprue base, see 'pourwright bases'")
    base.add_argument(
        "--base-model", metavar="FILE", type=Path, help="a closed body of your own as the base"
    )
    command.add_argument("--process", metavar="NAME", help="how it is poured")
    command.add_argument("--material", metavar="NAME", help="resin, see 'pourwright materials'")
    materials.add_folder(command)
    command.add_argument("--printer", metavar="NAME", help="see 'pourwright printers'")
    command.add_argument(
        "--socket", action="store_true",
        help="the figure exists: base and rods are a part of their own, base.stl, to put it into",
    )  # fmt: skip
    command.add_argument(
        "--scale", action="store_true",
        help="make the master larger by what resin and rubber shrink",
    )  # fmt: skip
    command.add_argument(
        "--no-mould", dest="mould", action="store_false",
        help="plan no rubber mould, which is quicker",
    )  # fmt: skip
    common.add_protect(command)
    command.add_argument("--quiet", action="store_true", help="print no report")
    command.set_defaults(command=run)
    return command


def run(options: argparse.Namespace) -> int:
    """Plan the pour, write its folder, print it, and return the exit status."""
    job = _job(options)
    common.check_models([*options.models, *([options.base_model] if options.base_model else [])])
    json_path = _json_beside_plan(options, job)
    sheet_path = options.out / SHEET_NAME
    targets = [*_plan_targets(options, job), sheet_path]
    targets += [path for path in (json_path, options.save_job) if path]
    sources = [*common.read_files(options), *([options.base_model] if options.base_model else [])]
    common.check_outputs(targets, sources, options.force)
    with progress_line() as progress:
        from pourwright.plan.pipeline import plan_pour

        solid = common.read_protected_solid(options, progress, 0.2)
        own_base = _own_base(options)
        poses, begun = None, 0.2
        if options.find_pose:
            from dataclasses import replace

            from pourwright.pose.search import search

            begun = 0.5
            poses = search(
                solid, job.process, job.pose, job.base.embed_mm, part(progress, 0.2, begun)
            )
            job = replace(job, up=poses.poses[0].up)
        plan = plan_pour(solid, job, part(progress, begun, 1.0), None, own_base)
    from pourwright.files.plan_files import write_plan
    from pourwright.files.plan_json import plan_to_dict, to_json
    from pourwright.plan.job_text import job_text
    from pourwright.report import plan_report
    from pourwright.sheet import sheet_html

    data = plan_to_dict(plan, poses)
    also = {json_path: to_json(data)} if json_path else {}
    also[sheet_path] = sheet_html(data, plan.master.mesh, materials=job.materials).encode("utf-8")
    if options.save_job:
        also[options.save_job] = job_text(job).encode("utf-8")
    written = write_plan(plan, options.out, options.force, also, poses)
    if not options.quiet:
        say(plan_report(plan, common.names(options.models), written, poses))
    return UNDECIDED if plan.undecided else DONE


def _job(options: argparse.Namespace) -> Job:
    from pourwright.plan.job import Job
    from pourwright.plan.job_file import read_job, with_options

    presets = materials.known(options)
    return with_options(
        read_job(options.job, presets) if options.job else Job(materials=presets),
        up=options.up,
        base=options.base,
        process=options.process,
        material=options.material,
        printer=options.printer,
        socket=options.socket,
        scale_master=options.scale,
        mould=options.mould,
    )


def _plan_targets(options: argparse.Namespace, job: Job) -> list[Path]:
    from pourwright.files.plan_files import plan_targets

    return plan_targets(options.out, job.socket.enabled, job.mould.enabled)


def _own_base(options: argparse.Namespace) -> TriMesh | None:
    """Return the body of --base-model as one mesh, in the figure's frame; None without."""
    if options.base_model is None:
        return None
    from pourwright.solid import intake, read_models

    meshes, findings = read_models([options.base_model], options.unit)
    return intake(meshes, findings).mesh


def _json_beside_plan(options: argparse.Namespace, job: Job) -> Path | None:
    """Return where a second copy of the plan goes; None if it is the plan's own plan.json."""
    if options.json is None:
        return None
    wanted = Path(os.path.realpath(options.json))
    for target in [*_plan_targets(options, job), options.out / SHEET_NAME]:
        if wanted == Path(os.path.realpath(target)):
            if target.suffix == ".json":
                return None
            raise InputError(
                f"{options.json} is one of the plan's own files",
                hint="choose another name for --json",
            )
    json_path: Path = options.json
    return json_path
