"""Rays through the inside of a surface, from its own vertices to where they first leave it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pourwright.air.arrays import across, dot_rows
from pourwright.air.surface import Surface
from pourwright.solid.mesh import Floats, Ints


def first_exits(surface: Surface, starts: Ints, ray: Floats) -> tuple[Ints, Ints]:
    """Which rays from vertices `starts` (k,) along the unit vector `ray` leave, and by which face.

    Faces count that look along the ray and do not hold its own start. Edges and corners count for
    every face that has them. Seen from the start, the two faces of an edge find the same number
    for the side it lies on but for the sign, so no ray slips between two neighbours.
    """
    line, face = surface.spheres.near(surface.vertices[starts], ray)
    facing = np.flatnonzero(dot_rows(surface.area_vectors, face, ray) > 0)
    line, face = line[facing], face[facing]
    start = starts.take(line)
    corners = [corner.take(face) for corner in surface.faces.T]
    # Where each corner lies as seen from the start: two level coordinates, and height above it.
    axes = (*across(ray), ray)
    from_start = [_seen_from(surface.vertices, corner, start, axes) for corner in corners]
    weights = []
    for i, j in ((1, 2), (2, 0), (0, 1)):
        (xi, yi, _), (xj, yj, _) = from_start[i], from_start[j]
        weights.append(xi * yj - yi * xj)
    met = (weights[0] >= 0) & (weights[1] >= 0) & (weights[2] >= 0)
    for corner in corners:
        met &= corner != start
    total = weights[0] + weights[1] + weights[2]
    # On a sliver all three may round to zero: then its middle is as good a place as any.
    flat = total <= 0
    height = np.zeros(len(face))
    for weight, (_, _, z) in zip(weights, from_start, strict=True):
        height += np.where(flat, 1.0, weight) * z
    height /= np.where(flat, 3.0, total)
    # Rounding may put a touching surface a hair below the vertex it touches.
    good = np.flatnonzero(met & (height >= -1e-3 * surface.tolerance_mm))
    good = good[np.lexsort((face[good], height[good], line[good]))]
    leaving, first = np.unique(line[good], return_index=True)
    return leaving, face[good[first]]


def _seen_from(
    vertices: Floats, corner: Ints, start: Ints, axes: Sequence[Floats]
) -> tuple[Floats, Floats, Floats]:
    """Coordinates of vertices about others along three axes, rounded alike for equal pairs."""
    dx, dy, dz = (c.take(corner) - c.take(start) for c in vertices.T)
    along = [dx * axis[0] + dy * axis[1] + dz * axis[2] for axis in axes]
    return along[0], along[1], along[2]
