"""A figure's outline seen along any direction, from its convex hull made once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from pourwright.air.arrays import across
from pourwright.solid.mesh import Floats, Ints

# An outline of more edges than this is smooth, and the best of this many turns is as good.
_MAX_TURNS = 180


@dataclass(frozen=True, eq=False)
class Hull:
    """Convex hull of a figure, ready to be looked at from any side.

    points : (k, 3) its corners, mm. normals : (f, 3) of its faces. ends : (e, 2) corners of each
    edge, sides : (e, 2) the faces on either side of it.
    """

    points: Floats
    normals: Floats
    ends: Ints
    sides: Ints


def hull_of(points: Floats) -> Hull:
    """Return the convex hull of (n, 3) points that do not lie in one plane."""
    try:
        hull = ConvexHull(points)
    except QhullError:  # as flat as rounding; Qhull then asks for its points to be joggled
        hull = ConvexHull(points, qhull_options="QJ")
    # Neighbour i of a face lies across the edge of the two corners other than corner i.
    ends = np.concatenate([np.delete(hull.simplices, i, axis=1) for i in range(3)])
    face = np.tile(np.arange(len(hull.simplices)), 3)
    sides = np.stack([face, hull.neighbors.T.ravel()], axis=1)
    once = sides[:, 0] < sides[:, 1]
    corners, number = np.unique(ends[once], return_inverse=True)
    return Hull(
        points=np.ascontiguousarray(points[corners]),
        normals=np.ascontiguousarray(hull.equations[:, :3]),
        ends=number.reshape(-1, 2).astype(np.int64),
        sides=sides[once].astype(np.int64),
    )


def height_mm(hull: Hull, up: Floats) -> float:
    """Return the extent along a unit vector."""
    return float(np.ptp(hull.points @ up))


def outline(hull: Hull, up: Floats) -> tuple[Floats, Floats]:
    """Return the outline square to `up` as edges in a level plane: starts and ends, (e, 2), mm.

    The edges stand in no order and run either way, so that a corner may be among the starts, the
    ends, or both.
    """
    front = hull.normals @ up > 0
    edge = front[hull.sides[:, 0]] != front[hull.sides[:, 1]]
    level = np.stack(across(up), axis=1)
    start, end = hull.ends[edge].T
    return hull.points[start] @ level, hull.points[end] @ level


def footprint_mm2(starts: Floats, ends: Floats) -> float:
    """Return the area of the smallest rectangle round an outline, mm2.

    One of its sides lies along an edge of the outline (H. Freeman, R. Shapira, Comm. ACM 18(7),
    1975, from memory), so each edge's direction is tried.
    """
    along = ends - starts
    turn = np.sort(np.arctan2(along[:, 1], along[:, 0]) % (math.pi / 2))
    if len(turn) > _MAX_TURNS:
        turn = turn[np.linspace(0, len(turn) - 1, _MAX_TURNS).astype(np.int64)]
    cos, sin = np.cos(turn), np.sin(turn)
    x, y = np.concatenate([starts, ends]).T
    width = np.ptp(np.outer(x, cos) + np.outer(y, sin), axis=0)
    depth = np.ptp(np.outer(y, cos) - np.outer(x, sin), axis=0)
    return float((width * depth).min())


def diameter_mm(points: Floats) -> float:
    """Return the diameter of the smallest circle round (n, 2) points, mm.

    The point furthest out is taken in, one after the other: the circle through two or three of
    the points that held the last one and of the new one grows until none is outside.
    """
    held = points[:1]
    centre, radius = points[0], 0.0
    slack = 1.0 + 1e-9
    for _ in range(len(points) + 10):
        distance = np.linalg.norm(points - centre, axis=1)
        furthest = int(np.argmax(distance))
        if distance[furthest] <= radius * slack + 1e-12:
            break
        centre, radius, held = _circle_with(held, points[furthest])
    return 2.0 * radius


def _circle_with(held: Floats, new: Floats) -> tuple[Floats, float, Floats]:
    """Return the smallest circle round a few points that has the new one on its rim."""
    every = np.vstack([held, new])
    best: tuple[Floats, float, Floats] | None = None
    groups = [[i] for i in range(len(held))]
    groups += [[i, j] for i in range(len(held)) for j in range(i)]
    for group in groups:
        rim = np.vstack([held[group], new])
        centre = rim.mean(axis=0) if len(rim) == 2 else _centre_of_three(rim)
        if centre is None:
            continue
        radius = float(np.linalg.norm(rim - centre, axis=1).max())
        reaches = np.linalg.norm(every - centre, axis=1).max() <= radius * (1.0 + 1e-9) + 1e-12
        if reaches and (best is None or radius < best[1]):
            best = centre, radius, rim
    if best is None:  # three points in a line, by rounding
        centre = (every.min(axis=0) + every.max(axis=0)) / 2
        best = centre, float(np.linalg.norm(every - centre, axis=1).max()), every[-3:]
    return best


def _centre_of_three(corners: Floats) -> Floats | None:
    a, b, c = corners
    sides = np.stack([b - a, c - a])
    if abs(np.linalg.det(sides)) < 1e-14 * max(float((sides**2).sum()), 1e-300):
        return None
    centre: Floats = a + np.linalg.solve(2 * sides, (sides**2).sum(axis=1))
    return centre
