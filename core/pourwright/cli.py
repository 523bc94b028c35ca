"""The command `pourwright`: figures in, air checks and pour plans out.

Exit status: 0 done; 1 done, but something remains that the user must decide; 2 bad input, with
one line on standard error and nothing written; 130 stopped by the user.

What is heavy to import is imported inside the commands, after the cheap checks of their input.
"""

from __future__ import annotations

import argparse
import contextlib
import math
import os
import re
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from pourwright import __version__
from pourwright.errors import Cancelled, InputError, Point, PourwrightError
from pourwright.progress import Progress, part
from pourwright.terminal import (
    abandon_output,
    complain,
    flush_output,
    progress_line,
    quiet_libraries,
    say,
)

if TYPE_CHECKING:
    from pourwright.plan.job import Job
    from pourwright.solid.protect import Protection
    from pourwright.solid.solid import Solid

DONE, UNDECIDED, BAD_INPUT, STOPPED = 0, 1, 2, 130
UNITS = ("mm", "cm", "m", "in", "ft", "micron")
TRACEBACK_VARIABLE = "POURWRIGHT_TRACEBACK"
_POINT_OPTIONS = ("--up", "--vent")
_NEGATIVE_START = re.compile(r"-[\d.]")


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line on `argv` (default: the process's own) and return the exit status."""
    arguments = sys.argv[1:] if argv is None else list(argv)
    try:
        with quiet_libraries():
            options = _parser().parse_args(_bind_points(arguments))
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
        return _bad_input("not enough memory; close other programs or give a coarser model")
    except Exception as error:  # the last resort: one line, whatever a library throws
        detail = " ".join(f"{type(error).__name__}: {error}".split())[:300]
        return _bad_input(
            f"this is a bug: {detail}; set {TRACEBACK_VARIABLE}=1 to see where it happened"
        )


def _bad_input(text: str) -> int:
    """Complain in one line; called while an exception is handled, for its traceback."""
    if os.environ.get(TRACEBACK_VARIABLE, "0") not in ("", "0"):
        traceback.print_exc()
    complain(text)
    return BAD_INPUT


class _Parser(argparse.ArgumentParser):
    """Reports wrong options as every other bad input: by an InputError, in one line."""

    def error(self, message: str) -> NoReturn:
        raise InputError(message, hint=f"see {self.prog} --help")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="pourwright",
        description="From a sculpted figure to a vented, sprued master for resin casting.",
        epilog="Exit status: 0 done, 1 something remains to decide, 2 bad input.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"pourwright {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    air = commands.add_parser(
        "air", help="find the air pockets of a figure as it is", allow_abbrev=False
    )
    _add_models(air)
    air.add_argument(
        "--vent", metavar="X,Y,Z", type=_point, action="append", default=[],
        help="open the cavity at the surface point nearest to this one, mm; "
        "without any, the highest point is open",
    )  # fmt: skip
    air.add_argument("--process", metavar="NAME", help="how it is poured")
    air.set_defaults(command=_air)

    plan = commands.add_parser(
        "plan", help="plan base, funnel and vents, and write the master", allow_abbrev=False
    )
    _add_models(plan)
    plan.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder to write to")
    plan.add_argument("--job", metavar="JOB.toml", type=Path, help="file of settings")
    plan.add_argument("--base", metavar="NAME", help="sprue base, see 'pourwright bases'")
    plan.add_argument("--process", metavar="NAME", help="how it is poured")
    plan.add_argument("--material", metavar="NAME", help="resin, see 'pourwright materials'")
    plan.add_argument(
        "--protect", metavar="FILE", type=Path,
        help="surface to leave alone: PLY with weights, piece of the figure, or lines x,y,z,weight",
    )  # fmt: skip
    plan.add_argument("--quiet", action="store_true", help="print no report")
    plan.set_defaults(command=_plan)

    bases = commands.add_parser("bases", help="list the sprue bases", allow_abbrev=False)
    bases.set_defaults(command=_bases)
    materials = commands.add_parser("materials", help="list the resins", allow_abbrev=False)
    materials.set_defaults(command=_materials)

    for command in (air, plan, bases, materials):
        command.add_argument(
            "--json", metavar="FILE", type=Path, help="write the result as JSON too"
        )
        command.add_argument(
            "--force", action="store_true", help="replace files that are there already"
        )
    return parser


def _add_models(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "models", metavar="MODEL", nargs="+", type=Path,
        help="mesh file; several are one figure",
    )  # fmt: skip
    command.add_argument(
        "--up", metavar="X,Y,Z", type=_up,
        help="direction that points up while resin is poured (default 0,0,-1)",
    )  # fmt: skip
    command.add_argument(
        "--unit", choices=UNITS, help="unit of the files, whatever they say themselves"
    )


def _bind_points(arguments: list[str]) -> list[str]:
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


def _point(text: str) -> Point:
    try:
        x, y, z = (float(part) for part in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"'{text}' is not three numbers with commas, like 0,0,-1"
        ) from None
    if not (math.isfinite(x) and math.isfinite(y) and math.isfinite(z)):
        raise argparse.ArgumentTypeError(f"'{text}' is not finite")
    return x, y, z


def _up(text: str) -> Point:
    from pourwright.checks import check_direction

    try:
        return check_direction(f"'{text}'", _point(text))
    except InputError as error:
        raise argparse.ArgumentTypeError(error.one_line()) from None


def _air(options: argparse.Namespace) -> int:
    from pourwright.shop.process import DEFAULT_PROCESS, process_named

    process = process_named(options.process) if options.process else DEFAULT_PROCESS
    _check_models(options.models)
    targets = [options.json] if options.json else []
    _check_outputs(targets, options.models, options.force)
    with progress_line() as progress:
        from pourwright.plan.pipeline import check_air

        solid = _solid(options, progress, 0.4)
        check = check_air(
            solid, options.up or (0.0, 0.0, -1.0), options.vent, process,
            part(progress, 0.4, 1.0),
        )  # fmt: skip
    from pourwright.files.plan_json import air_to_dict
    from pourwright.report import air_report

    _write_json(options, air_to_dict(check))
    say(air_report(check, _names(options.models)))
    return UNDECIDED if any(p.matters for p in check.pockets) else DONE


def _plan(options: argparse.Namespace) -> int:
    from pourwright.files.plan_files import plan_targets

    job = _job(options)
    _check_models(options.models)
    json_path = _json_beside_plan(options)
    targets = plan_targets(options.out) + ([json_path] if json_path else [])
    sources = [*options.models, *(p for p in (options.job, options.protect) if p is not None)]
    _check_outputs(targets, sources, options.force)
    with progress_line() as progress:
        from pourwright.plan.pipeline import plan_pour

        protection = _protection(options)
        solid = _protected(_solid(options, progress, 0.2), protection, options.protect)
        plan = plan_pour(solid, job, part(progress, 0.2, 1.0))
    from pourwright.files.plan_files import write_plan
    from pourwright.files.plan_json import plan_to_dict, to_json
    from pourwright.report import plan_report

    also = {json_path: to_json(plan_to_dict(plan))} if json_path else {}
    written = write_plan(plan, options.out, options.force, also)
    if not options.quiet:
        say(plan_report(plan, _names(options.models), written))
    return UNDECIDED if plan.undecided else DONE


def _bases(options: argparse.Namespace) -> int:
    from pourwright.report import bases_report
    from pourwright.sprue.settings import BASE_KINDS

    _write_json(
        options,
        {"bases": [{"name": name, "title": title} for name, title in BASE_KINDS.items()]},
    )
    say(bases_report(BASE_KINDS))
    return DONE


def _materials(options: argparse.Namespace) -> int:
    from dataclasses import asdict

    from pourwright.report import materials_report
    from pourwright.shop.resin import resins

    found = list(resins().values())
    _write_json(options, {"materials": [asdict(resin) for resin in found]})
    say(materials_report(found))
    return DONE


def _job(options: argparse.Namespace) -> Job:
    from pourwright.plan.job import Job
    from pourwright.plan.job_file import read_job, with_options

    return with_options(
        read_job(options.job) if options.job else Job(),
        up=options.up,
        base=options.base,
        process=options.process,
        material=options.material,
    )


def _solid(options: argparse.Namespace, progress: Progress, share: float) -> Solid:
    from pourwright.solid import intake, read_models

    progress(0.0, "Reading")
    meshes, findings = read_models(options.models, options.unit)
    return intake(meshes, findings, part(progress, 0.0, share))


def _protection(options: argparse.Namespace) -> Protection | None:
    if options.protect is None:
        return None
    from pourwright.solid.read_protect import read_protection

    return read_protection(options.protect, options.unit)


def _protected(solid: Solid, protection: Protection | None, path: Path) -> Solid:
    """Return the solid with the protection of its file added to what its models bring."""
    if protection is None:
        return solid
    from dataclasses import replace

    from pourwright.solid.protect import merged
    from pourwright.solid.read_protect import check_reaches

    check_reaches(protection, solid.mesh, path)
    return replace(solid, protection=merged(solid.protection, protection))


def _check_models(models: Sequence[Path]) -> None:
    """Raise InputError unless every model is a file that can be opened and is not empty."""
    for path in models:
        try:
            if path.is_dir():
                raise InputError(f"{path} is a folder", hint="give a mesh file")
            if not path.exists():
                raise InputError(f"There is no file {path}", hint="check the name")
            if not path.is_file():
                raise InputError(f"{path} is not a file", hint="give a mesh file")
            with path.open("rb") as stream:
                if not stream.read(1):
                    raise InputError(f"{path} is empty", hint="export the model again")
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            raise InputError(f"Cannot read {path}: {reason}") from error


def _check_outputs(targets: Sequence[Path], sources: Sequence[Path], force: bool) -> None:
    """Raise unless the targets could be written now and none is a file that is read."""
    from pourwright.files.atomic import check_targets

    for target in targets:
        for source in sources:
            with contextlib.suppress(OSError):
                if target.samefile(source):
                    raise InputError(
                        f"{target} is read and cannot be written over", hint="choose another name"
                    )
    check_targets(targets, force)


def _json_beside_plan(options: argparse.Namespace) -> Path | None:
    """Return where a second copy of the plan goes; None if it is the plan's own plan.json."""
    from pourwright.files.plan_files import plan_targets

    if options.json is None:
        return None
    wanted = Path(os.path.realpath(options.json))
    for target in plan_targets(options.out):
        if wanted == Path(os.path.realpath(target)):
            if target.suffix == ".json":
                return None
            raise InputError(
                f"{options.json} is one of the plan's own files",
                hint="choose another name for --json",
            )
    json_path: Path = options.json
    return json_path


def _write_json(options: argparse.Namespace, data: object) -> None:
    if options.json is not None:
        from pourwright.files.atomic import write_files
        from pourwright.files.plan_json import to_json

        write_files({options.json: to_json(data)}, force=options.force)


def _names(models: Sequence[Path]) -> list[str]:
    return [path.name for path in models]
