"""What several commands share: exit statuses, options, reading figures, checking files."""

from __future__ import annotations

import argparse
import contextlib
import math
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourwright.errors import InputError, Point
from pourwright.progress import Progress, part

if TYPE_CHECKING:
    from pourwright.solid.protect import Protection
    from pourwright.solid.solid import Solid

    Commands = argparse._SubParsersAction[Any]

DONE, UNDECIDED, BAD_INPUT, STOPPED = 0, 1, 2, 130
UNITS = ("mm", "cm", "m", "in", "ft", "micron")


def add_models(command: argparse.ArgumentParser) -> None:
    """Add the model files and their unit."""
    command.add_argument(
        "models", metavar="MODEL", nargs="+", type=Path,
        help="mesh file; several are one figure",
    )  # fmt: skip
    command.add_argument(
        "--unit", choices=UNITS, help="unit of the files, whatever they say themselves"
    )


def add_up(command: argparse._ActionsContainer) -> None:
    """Add the pour direction."""
    command.add_argument(
        "--up", metavar="X,Y,Z", type=direction,
        help="direction that points up while resin is poured (default 0,0,-1)",
    )  # fmt: skip


def add_protect(command: argparse.ArgumentParser) -> None:
    """Add the file of protected surface."""
    command.add_argument(
        "--protect", metavar="FILE", type=Path,
        help="surface to leave alone: PLY with weights, piece of the figure, or lines x,y,z,weight",
    )  # fmt: skip


def point(text: str) -> Point:
    """Return the three numbers of an option; an argparse type."""
    try:
        x, y, z = (float(part) for part in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"'{text}' is not three numbers with commas, like 0,0,-1"
        ) from None
    if not (math.isfinite(x) and math.isfinite(y) and math.isfinite(z)):
        raise argparse.ArgumentTypeError(f"'{text}' is not finite")
    return x, y, z


def number(text: str) -> float:
    """Return the number of an option; an argparse type."""
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number") from None


def whole_number(text: str) -> int:
    """Return the whole number of an option; an argparse type."""
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number") from None


def folder(text: str) -> Path:
    """Return a folder; an argparse type, so that an empty name is not the folder one is in."""
    if not text.strip():
        raise argparse.ArgumentTypeError("the name is empty; give a folder, . for this one")
    return Path(text)


def direction(text: str) -> Point:
    """Return three numbers that point somewhere; an argparse type."""
    from pourwright.checks import check_direction

    try:
        return check_direction(f"'{text}'", point(text))
    except InputError as error:
        raise argparse.ArgumentTypeError(error.one_line()) from None


def read_solid(options: argparse.Namespace, progress: Progress, share: float) -> Solid:
    """Read and unite the models; takes the first `share` of the progress."""
    from pourwright.solid import intake, read_models

    progress(0.0, "Reading")
    meshes, findings = read_models(options.models, options.unit)
    return intake(meshes, findings, part(progress, 0.0, share))


def read_protected_solid(options: argparse.Namespace, progress: Progress, share: float) -> Solid:
    """Return the solid with the protection of --protect added to what its models bring."""
    protection = _protection(options)
    solid = read_solid(options, progress, share)
    if protection is None:
        return solid
    from dataclasses import replace

    from pourwright.solid.protect import merged
    from pourwright.solid.read_protect import check_reaches

    check_reaches(protection, solid.mesh, options.protect)
    return replace(solid, protection=merged(solid.protection, protection))


def _protection(options: argparse.Namespace) -> Protection | None:
    if options.protect is None:
        return None
    from pourwright.solid.read_protect import read_protection

    return read_protection(options.protect, options.unit)


def check_models(models: Sequence[Path]) -> None:
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


def read_files(options: argparse.Namespace) -> list[Path]:
    """Return every file that a command with models, a job and protection reads."""
    also = (options.job, options.protect)
    return [*options.models, *(path for path in also if path is not None)]


def check_outputs(targets: Sequence[Path], sources: Sequence[Path], force: bool) -> None:
    """Raise unless the targets are apart, could be written now, and none is a file that is read."""
    from pourwright.files.atomic import check_targets

    places = [os.path.realpath(target) for target in targets]
    for i, target in enumerate(targets):
        if places[i] in places[:i]:
            raise InputError(f"{target} is asked for twice", hint="choose another name")
        for source in sources:
            with contextlib.suppress(OSError):
                if target.samefile(source):
                    raise InputError(
                        f"{target} is read and cannot be written over", hint="choose another name"
                    )
    check_targets(targets, force)


def write_all(options: argparse.Namespace, contents: Mapping[Path | None, bytes]) -> None:
    """Write files, all or none; those without a path were not asked for."""
    from pourwright.files.atomic import write_files

    wanted = {path: content for path, content in contents.items() if path is not None}
    if wanted:
        write_files(wanted, force=options.force)


def write_json(options: argparse.Namespace, data: object) -> None:
    """Write the data where --json says, if it does."""
    if options.json is not None:
        from pourwright.files.plan_json import to_json

        write_all(options, {options.json: to_json(data)})


def names(models: Sequence[Path]) -> list[str]:
    """Return the models' file names."""
    return [path.name for path in models]
