"""The arrays of a cavity that the view draws, read once and kept while they are the same."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from ..bridge import FAR_MM, cavity_arrays, mm_per_unit
from .settings import cavity


@dataclass(frozen=True, eq=False)
class Cavity:
    """The faces of a cavity, and where the air of each is closed in.

    places : (n, 3) float32 in Blender units. faces : (m, 3) uint32. closes : (n,) float32, for
    all corners of a face the level, mm along up, that closes its air in; FAR_MM where nothing does
    and its opposite where nothing opens it. Vertices between two levels are there twice.
    up : mm of height per Blender unit along each axis.
    low_mm, high_mm : between which resin rises. closing_mm : (k,) those levels, rising.
    """

    places: Any
    faces: Any
    closes: Any
    up: tuple[float, float, float]
    low_mm: float
    high_mm: float
    closing_mm: Any


_known: dict[int, tuple[Any, Cavity]] = {}


def cavity_of(scene: bpy.types.Scene) -> Cavity | None:
    """Return the cavity that is to be coloured, or None; read anew only when it changed."""
    obj = cavity(scene)
    if obj is None:
        return None
    mesh, up = obj.data, tuple(scene.pourwright.rising.up)
    key = (
        mesh.session_uid, len(mesh.polygons), up, mm_per_unit(scene),
        tuple(tuple(row) for row in obj.matrix_basis),
    )  # fmt: skip
    known = _known.get(scene.session_uid)  # one for each scene, for they are large
    if known is None or known[0] != key:
        known = _known[scene.session_uid] = (key, _read(obj, up, mm_per_unit(scene)))
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
    places, faces, of_vertex = _apart(places, faces, closes)
    levels = np.unique(closes)
    return Cavity(
        places=np.ascontiguousarray(places, dtype=np.float32),
        faces=np.ascontiguousarray(faces, dtype=np.uint32),
        closes=np.ascontiguousarray(of_vertex, dtype=np.float32),
        up=tuple(c * scale for c in up),
        low_mm=float(height.min()),
        high_mm=float(height.max()),
        closing_mm=levels[np.abs(levels) < FAR_MM / 2],
    )


def _apart(places: Any, faces: Any, closes: Any) -> tuple[Any, Any, Any]:
    """Return vertices, faces and the vertices' levels, vertices between levels once for each."""
    import numpy as np

    corners, levels = faces.ravel(), np.repeat(closes, 3)
    of_vertex = np.zeros(len(places), dtype=closes.dtype)
    of_vertex[corners] = levels
    (other,) = np.nonzero(of_vertex[corners] != levels)
    pairs = np.empty(len(other), dtype=[("vertex", np.int64), ("level", closes.dtype)])
    pairs["vertex"], pairs["level"] = corners[other], levels[other]
    new, numbers = np.unique(pairs, return_inverse=True)
    corners = corners.copy()
    corners[other] = len(places) + numbers
    return (
        np.concatenate([places, places[new["vertex"]]]),
        corners.reshape(-1, 3),
        np.concatenate([of_vertex, new["level"]]),
    )
