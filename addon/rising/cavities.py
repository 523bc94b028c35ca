"""The arrays of a cavity that the view draws, read once and kept while they are the same."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from ..bridge import FAR_MM, cavity_arrays, mm_per_unit
from .settings import cavity


@dataclass(frozen=True, eq=False)
class Cavity:
    """Corners of the faces of a cavity, three in a row for each face.

    places : (3 m, 3) float32 in Blender units. heights : (3 m, 2) float32 mm along up: the
    corner's own, and the level that closes the air of its face in, FAR_MM where nothing does and
    its opposite where nothing opens it.
    low_mm, high_mm : between which resin rises. closing_mm : (k,) those levels, rising.
    """

    places: Any
    heights: Any
    low_mm: float
    high_mm: float
    closing_mm: Any


_known: dict[str, tuple[Any, Cavity]] = {}


def cavity_of(scene: bpy.types.Scene) -> Cavity | None:
    """Return the cavity that is to be coloured, or None; read anew only when it changed."""
    obj = cavity(scene)
    if obj is None:
        return None
    mesh, up = obj.data, tuple(scene.pourwright.rising.up)
    key = (
        mesh.name, mesh.as_pointer(), len(mesh.polygons), up, mm_per_unit(scene),
        tuple(tuple(row) for row in obj.matrix_basis),
    )  # fmt: skip
    known = _known.get("cavity")  # one at a time, for they are large
    if known is None or known[0] != key:
        known = _known["cavity"] = (key, _read(obj, up, mm_per_unit(scene)))
    return known[1]


def closing_percent(scene: bpy.types.Scene) -> list[float]:
    """Return the levels that close air in, as a percentage of the way resin rises."""
    held = cavity_of(scene)
    if held is None:
        return []
    span = max(held.high_mm - held.low_mm, 1e-9)
    return [100.0 * (float(level) - held.low_mm) / span for level in held.closing_mm]


def level_mm(scene: bpy.types.Scene, held: Cavity) -> float:
    """Return the height of the resin along up."""
    share = scene.pourwright.rising.level / 100.0
    return held.low_mm + share * (held.high_mm - held.low_mm)


def forget() -> None:
    """Drop what is kept."""
    _known.clear()


def _read(obj: bpy.types.Object, up: tuple[float, ...], scale: float) -> Cavity:
    import numpy as np

    places, faces, closes = cavity_arrays(obj)
    height = places @ np.array(up) * scale
    corner = np.column_stack([height[faces.ravel()], np.repeat(closes, 3)])
    levels = np.unique(closes)
    return Cavity(
        places=np.ascontiguousarray(places[faces.ravel()], dtype=np.float32),
        heights=np.ascontiguousarray(corner, dtype=np.float32),
        low_mm=float(height.min()),
        high_mm=float(height.max()),
        closing_mm=levels[np.abs(levels) < FAR_MM / 2],
    )
