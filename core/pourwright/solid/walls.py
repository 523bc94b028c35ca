"""How thin a solid's walls are: from points of its surface straight inwards to the other side."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pourwright.errors import Point
from pourwright.solid.boolean import to_manifold
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.vectors import cross

# Two faces make a wall where their normals are opposite within this; at a sharper edge they do
# not face each other.
_OPPOSITE = math.cos(math.radians(30.0))
# Points of the surface: as dense as this share of the asked wall, within these numbers.
_DENSITY, _FEWEST, _MOST = 0.75, 2_000, 40_000
# Rays start this share of the diagonal inside, to miss the face that they start on.
_INSIDE = 1e-7
# Thin places this many walls apart are told one by one.
_APART = 8.0
_PLACES = 8


@dataclass(frozen=True)
class Walls:
    """Walls of a solid.

    smallest_mm : of the walls that were met, at most what was asked for. at_mm : there, or None.
    thin_mm2 : surface under which the wall is thinner than asked, to the sampling's precision.
    places_mm : thin places, the thinnest first, some way apart.
    """

    smallest_mm: float
    at_mm: Point | None
    thin_mm2: float
    places_mm: tuple[Point, ...]


def thin_walls(mesh: TriMesh, asked_mm: float) -> Walls:
    """Look for walls of a closed mesh thinner than `asked_mm`.

    From points spread evenly over the surface a ray goes straight in; where it comes out through
    a face that looks the opposite way within 30 degrees, its length is the wall. That is exact on
    plates and right to the facets on round rods; what is smaller than the spread of the points,
    three quarters of the asked wall unless the surface is very large, may be missed.
    """
    points, normals, each_mm2 = _spread(mesh, asked_mm)
    body = to_manifold(mesh)
    inside = _INSIDE * mesh.diagonal_mm
    starts = points - inside * normals
    ends = points - asked_mm * normals
    reach = asked_mm - inside
    wall = np.full(len(points), np.inf)
    for i, (start, end) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
        hits = body.ray_cast(tuple(start), tuple(end))
        if hits and -float(np.dot(hits[0].normal, normals[i])) >= _OPPOSITE:
            wall[i] = inside + hits[0].distance * reach
    thin = np.flatnonzero(wall < asked_mm * (1 - 1e-6))
    if len(thin) == 0:
        return Walls(asked_mm, None, 0.0, ())
    order = thin[np.argsort(wall[thin], kind="stable")]
    places: list[Point] = []
    left = order
    while len(left) and len(places) < _PLACES:
        places.append(_point(points[left[0]]))
        left = left[np.linalg.norm(points[left] - points[left[0]], axis=1) > _APART * asked_mm]
    return Walls(
        smallest_mm=float(wall[order[0]]),
        at_mm=places[0],
        thin_mm2=each_mm2 * len(thin),
        places_mm=tuple(places),
    )


def _spread(mesh: TriMesh, asked_mm: float) -> tuple[Floats, Floats, float]:
    """Points spread evenly over the surface, the normals there, and the area of each."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    normal = cross(b - a, c - a)
    double = np.linalg.norm(normal, axis=1)
    total = np.cumsum(double / 2)
    count = int(np.clip(total[-1] / (_DENSITY * asked_mm) ** 2, _FEWEST, _MOST))
    step = float(total[-1]) / count
    face = np.searchsorted(total, (np.arange(count) + 0.5) * step)
    face = np.minimum(face, len(mesh.faces) - 1)
    # Within the faces by a sequence that fills the square evenly: the same points every time.
    one, two = (_halton(count, base) for base in (2, 3))
    root = np.sqrt(one)
    weights = (1 - root, root * (1 - two), root * two)
    points = sum(w[:, None] * p[face] for w, p in zip(weights, (a, b, c), strict=True))
    return points, normal[face] / double[face][:, None], step


def _halton(count: int, base: int) -> Floats:
    """Van der Corput's sequence: digits of 1, 2, 3 ... in a base, mirrored at the point."""
    number: Ints = np.arange(1, count + 1)
    result, share = np.zeros(count), 1.0
    while number.any():
        share /= base
        number, digit = np.divmod(number, base)
        result += share * digit
    return result


def _point(values: Floats) -> Point:
    x, y, z = (float(c) for c in values)
    return (x, y, z)
