"""A file that says which surface to leave alone: painted mesh, cut-off piece, or list of points."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from pourwright.errors import InputError
from pourwright.solid.mesh import TriMesh
from pourwright.solid.protect import Protection, painted
from pourwright.solid.read import MM_PER_UNIT, MODEL_FORMATS, read_models

MAX_BYTES = 100_000_000
_HINT = "give x,y,z,weight in every line, the weight from 0 to 1 or left out for 1"
_BETWEEN = re.compile(r"\s*,\s*|\s+")
_FAR = 1e9
_HEADS = (["x", "y", "z"], ["x", "y", "z", "weight"])


def read_protection(path: Path, unit: str | None = None) -> Protection:
    """Read what to protect.

    path : a PLY with the vertex property `protect`; any other model file, all of whose surface
        counts with weight 1; or a text of lines `x,y,z,weight`, with commas or blanks, # before
        comments, and the weight left out for 1.
    unit : one of `MM_PER_UNIT`, or None: what the file says, else mm. The frame is that of the
        figure as it stands.

    Raises InputError or MeshError for a file that is missing, damaged, holds numbers out of range,
    or protects nothing.
    """
    _check_file(path)
    if path.suffix.lower() in MODEL_FORMATS:
        meshes, _ = read_models([path], unit)
        if all(m.protect is None for m in meshes):
            meshes = [
                TriMesh(m.vertices, m.faces, m.name, np.ones(len(m.vertices))) for m in meshes
            ]
        found = painted(meshes)
    else:
        points, weights = _points(path, _text(path))
        scale = MM_PER_UNIT[_known(unit or "mm")]
        found = Protection(points * scale, weights) if weights.any() else None
    if found is None:
        raise InputError(f"{path} protects nothing", hint="give some weight above 0")
    return found


def check_reaches(protection: Protection, mesh: TriMesh, path: Path) -> None:
    """Raise InputError if nothing that `path` protects comes near the mesh: the unit is wrong."""
    low, high = mesh.bounds_mm
    points = protection.points_mm[protection.weights > 0]
    outside = np.maximum(low - points, points - high).max(axis=1)
    if outside.min() > protection.reach_mm:
        raise InputError(
            f"{path} protects nothing of the figure: the nearest point is "
            f"{outside.min():.3g} mm away",
            hint="check its unit and frame",
        )


def _known(unit: str) -> str:
    if unit not in MM_PER_UNIT:
        raise InputError(
            f"There is no unit '{unit}'", hint="choose one of " + ", ".join(MM_PER_UNIT)
        )
    return unit


def _check_file(path: Path) -> None:
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder", hint="give a file")
        if not path.exists():
            raise InputError(f"There is no file {path}", hint="check the name")
        if not path.is_file():
            raise InputError(f"{path} is not a file", hint="give a file")
    except (OSError, ValueError) as error:  # such as a name that is too long
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"Cannot read {path}: {reason}") from error


def _text(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except OSError as error:
        raise InputError(f"Cannot read {path}: {error.strerror}") from error
    if len(data) > MAX_BYTES:
        raise InputError(f"{path} is too big for a list of points", hint="give fewer points")
    try:
        return data.decode("utf-8-sig")  # spreadsheets put a mark in front
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path} is neither a model nor a text", hint="give a model file or lines of x,y,z"
        ) from error


def _points(path: Path, text: str) -> tuple[np.ndarray, np.ndarray]:
    """Points (k, 3) in the file's unit and weights (k,)."""
    rows: list[list[float]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        cells = _BETWEEN.split(line.partition("#")[0].strip())
        if cells == [""] or (not rows and [c.strip('"').lower() for c in cells] in _HEADS):
            continue
        try:
            row = [float(cell) for cell in cells]
        except ValueError:
            row = []
        if len(row) == 3:
            row.append(1.0)
        if len(row) != 4 or not all(abs(c) <= _FAR for c in row):  # false of NaN as well
            raise InputError(f"{path}, line {number}: {line.strip()[:60]!r}", hint=_HINT)
        if not 0.0 <= row[3] <= 1.0:
            raise InputError(f"{path}, line {number}: the weight is {row[3]:g}", hint=_HINT)
        rows.append(row)
    if not rows:
        raise InputError(f"{path} has no points", hint=_HINT)
    table = np.array(rows)
    return table[:, :3], table[:, 3]
