"""The trapped air itself as closed meshes, for drawing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pourwright.air.pockets import unit_vector
from pourwright.errors import Point
from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, TriMesh, tri_mesh

# Cut this far above the saddle, so that pockets that meet there come apart.
_ABOVE_MM = 1e-4


def pocket_shapes(
    mesh: TriMesh, up: Sequence[float], pockets: Sequence[tuple[Point, float | None]]
) -> list[TriMesh]:
    """Return the air of each pocket as a closed mesh, standing frame, mm.

    mesh : the closed surface the pockets were found in. pockets : peak and saddle height of each.
    Pockets that touch along an edge may be drawn as one; pockets flatter than a ten-thousandth
    of a millimetre come as an empty mesh.
    """
    direction = unit_vector(up)
    result: list[TriMesh] = []
    by_level: dict[float, list[TriMesh]] = {}
    for number, (peak, saddle) in enumerate(pockets, start=1):
        name = f"air pocket {number}"
        heights = mesh.vertices @ direction
        level = float(heights.min()) - 1.0 if saddle is None else saddle + _ABOVE_MM
        if float(np.dot(peak, direction)) <= level:
            result.append(TriMesh(np.empty((0, 3)), np.empty((0, 3), np.int64), name))
            continue
        if level not in by_level:
            above = boolean.above(mesh, direction, level)
            by_level[level] = [p for p in above if p.volume_mm3 > 0]
        parts = by_level[level]
        distance = [_squared_distance(p, np.asarray(peak)) for p in parts]
        part = parts[int(np.argmin(distance))]
        result.append(tri_mesh(part.vertices, part.faces, name))
    return result


def _squared_distance(mesh: TriMesh, point: Floats) -> float:
    return float(((mesh.vertices - point) ** 2).sum(axis=1).min())
