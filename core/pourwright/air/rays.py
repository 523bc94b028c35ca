"""Rays through the inside of a surface, from its own vertices to where they first leave it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pourwright.air.arrays import across, dot_rows
from pourwright.air.surface import Surface
from pourwright.solid.mesh import Floats, Ints


def first_exits(
    surface: Surface, starts: Ints, ray: Floats, *, known_inside: bool = False
) -> tuple[Ints, Ints]:
    """Which rays from vertices `starts` (k,) along the unit vector `ray` leave, and by which face.

    Faces count that look along the ray and do not hold its own start. Edges and corners count for
    every face that has them. Seen from the start, the two faces of an edge find the same number
    for the side it lies on but for the sign, so no ray slips between two neighbours. A ray that
    enters before it leaves did not start inside, as from a tip that is folded inside out: it does
    not count unless the start is `known_inside`.
    """
    line, face = surface.spheres.near(surface.vertices[starts], ray)
    facing = dot_rows(surface.area_vectors, face, ray)
    met, height = _meets(surface, starts.take(line), face, ray, facing)
    # Rounding may put a touching surface a hair below the vertex it touches.
    good = np.flatnonzero(met & (facing > 0) & (height >= -1e-3 * surface.tolerance_mm))
    good = good[np.lexsort((face[good], height[good], line[good]))]
    leaving, first = np.unique(line[good], return_index=True)
    first = good[first]
    exits = np.full(len(starts), -np.inf)
    exits[leaving] = height[first] - surface.tolerance_mm
    early = met & (facing < 0) & (height > surface.tolerance_mm) & (height < exits[line])
    inside = np.full(len(leaving), known_inside) | ~np.isin(leaving, line[early])
    return leaving[inside], face[first[inside]]


def _meets(
    surface: Surface, start: Ints, face: Ints, ray: Floats, facing: Floats
) -> tuple[NDArray[np.bool_], Floats]:
    """Whether the ray from each vertex meets each face, and how far on; (k,) each.

    facing : the face's side, above 0 where it looks along the ray. Those that look back count
    where the ray meets their inside only.
    """
    corners = [corner.take(face) for corner in surface.faces.T]
    # Where each corner lies as seen from the start: two level coordinates, and height above it.
    axes = (*across(ray), ray)
    from_start = [_seen_from(surface.vertices, corner, start, axes) for corner in corners]
    weights = []
    for i, j in ((1, 2), (2, 0), (0, 1)):
        (xi, yi, _), (xj, yj, _) = from_start[i], from_start[j]
        weights.append(xi * yj - yi * xj)
    along = (weights[0] >= 0) & (weights[1] >= 0) & (weights[2] >= 0)
    back = (weights[0] < 0) & (weights[1] < 0) & (weights[2] < 0)
    met = np.where(facing > 0, along, back)
    for corner in corners:
        met &= corner != start
    total = weights[0] + weights[1] + weights[2]
    # On a sliver all three may round to zero: then its middle is as good a place as any.
    flat = np.where(facing > 0, total <= 0, total >= 0)
    height = np.zeros(len(face))
    for weight, (_, _, z) in zip(weights, from_start, strict=True):
        height += np.where(flat, 1.0, weight) * z
    height /= np.where(flat, 3.0, total)
    return met, height


def winding_number(surface: Surface, point: Floats) -> float:
    """How often the surface wraps a point off it, 1 inside: the sum of solid angles over 4 pi.

    A. Van Oosterom, J. Strackee: The solid angle of a plane triangle, IEEE TBME 30(2), 1983.
    """
    a, b, c = (surface.vertices[corner] - point for corner in surface.faces.T)
    la, lb, lc = (np.sqrt((x * x).sum(axis=1)) for x in (a, b, c))
    top = (a * np.cross(b, c)).sum(axis=1)
    bottom = (
        la * lb * lc
        + (a * b).sum(axis=1) * lc + (b * c).sum(axis=1) * la + (c * a).sum(axis=1) * lb
    )  # fmt: skip
    return float(np.arctan2(top, bottom).sum() / (2 * np.pi))


def _seen_from(
    vertices: Floats, corner: Ints, start: Ints, axes: Sequence[Floats]
) -> tuple[Floats, Floats, Floats]:
    """Coordinates of vertices about others along three axes, rounded alike for equal pairs."""
    dx, dy, dz = (c.take(corner) - c.take(start) for c in vertices.T)
    along = [dx * axis[0] + dy * axis[1] + dz * axis[2] for axis in axes]
    return along[0], along[1], along[2]
