"""Vertical lines through triangles, many at once: the tool behind rays, insides and cross-checks.

Each line is a point in the plane. Points are put into a square grid, sorted by row, so that the
candidates of a triangle are a few contiguous runs; nothing is stored per cell and triangle.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pourwright.solid.mesh import Floats, Ints

# Pairs of triangle and point that are looked at together; bounds memory to about 300 MB.
_CHUNK = 2_000_000


@dataclass(frozen=True, eq=False)
class Hits:
    """Where lines meet triangles; rows belong together.

    line : number of the line. triangle : number of the triangle.
    z : height of the meeting point. up : +1 where the triangle's normal points up, else -1.
    """

    line: Ints
    triangle: Ints
    z: Floats
    up: Ints


def _runs(start: Ints, count: Ints) -> tuple[Ints, Ints]:
    """Expand runs: owner of each element, and start + 0..count-1 of its run."""
    owner = np.repeat(np.arange(len(count)), count)
    first = np.cumsum(count) - count
    return owner, np.arange(len(owner)) - first[owner] + start[owner]


def _candidates(low: Floats, high: Floats, points: Floats) -> Iterator[tuple[Ints, Ints]]:
    """Yield (triangle, point) for points in the triangles' boxes low..high, (m, 2) each."""
    origin, end = points.min(axis=0), points.max(axis=0)
    side = int(np.clip(2 * np.sqrt(len(points)), 64, 1024))
    scale = side / np.maximum(end - origin, 1e-300)
    cell = np.clip(((points - origin) * scale).astype(np.int64), 0, side - 1)
    key = cell[:, 1] * side + cell[:, 0]
    order = np.argsort(key, kind="stable")
    starts = np.searchsorted(key[order], np.arange(side * side + 1))
    alive = np.flatnonzero((high >= origin).all(axis=1) & (low <= end).all(axis=1))
    first = np.clip((low[alive] - origin) * scale, 0, side - 1).astype(np.int64)
    last = np.clip((high[alive] - origin) * scale, 0, side - 1).astype(np.int64)
    rows = last[:, 1] - first[:, 1] + 1
    for begin, stop in _chunks(rows):
        owner, row = _runs(first[begin:stop, 1], rows[begin:stop])
        owner += begin
        run = starts[row * side + first[owner, 0]]
        count = starts[row * side + last[owner, 0] + 1] - run
        keep = np.flatnonzero(count)
        owner, run, count = owner[keep], run[keep], count[keep]
        for a, b in _chunks(count):
            pair, place = _runs(run[a:b], count[a:b])
            yield alive[owner[a:b][pair]], order[place]


def _chunks(counts: Ints) -> Iterator[tuple[int, int]]:
    """Split a list of counts into ranges whose sum stays near the chunk size."""
    total = np.cumsum(counts)
    begin = 0
    while begin < len(counts):
        done = total[begin - 1] if begin else 0
        stop = max(int(np.searchsorted(total, done + _CHUNK, side="right")), begin + 1)
        yield begin, stop
        begin = stop


def hits(vertices: Floats, faces: Ints, points: Floats, *, only_up: bool = False) -> Hits:
    """Return where the lines through `points`, along z, meet the triangles.

    vertices : (n, 3); faces : (m, 3) int; points : (k, 2). Edges and corners count for every
    triangle that has them: each side test uses the edge's end points in the same order whichever
    triangle asks, so no line slips between two neighbours. Triangles seen edge-on are passed over.
    """
    empty = Hits(*(np.empty(0, np.int64),) * 2, np.empty(0), np.empty(0, np.int64))
    if len(points) == 0 or len(faces) == 0:
        return empty
    xy = vertices[:, :2]
    a, b, c = xy[faces[:, 0]], xy[faces[:, 1]], xy[faces[:, 2]]
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    chosen = np.flatnonzero(area > 0 if only_up else area != 0)
    a, b, c = a[chosen], b[chosen], c[chosen]
    found: list[tuple[Ints, Ints, Floats]] = []
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    for tri, line in _candidates(low, high, points):
        t, p = chosen[tri], points[line]
        box = ((p >= low[tri]) & (p <= high[tri])).all(axis=1)
        t, line, p = t[box], line[box], p[box]
        corner = faces[t]
        sign = np.sign(area[t])
        sides = [
            _side(xy, corner[:, i], corner[:, (i + 1) % 3], p) * sign for i in range(3)
        ]
        inside = (sides[0] >= 0) & (sides[1] >= 0) & (sides[2] >= 0)
        t, line = t[inside], line[inside]
        weight = np.stack([sides[1][inside], sides[2][inside], sides[0][inside]], axis=1)
        total = weight.sum(axis=1)
        z3 = vertices[faces[t], 2]
        # A sliver may have three zero weights at a point on it: take its middle.
        flat = total <= 0
        weight[flat], total[flat] = 1.0, 3.0
        found.append((line, t, (weight * z3).sum(axis=1) / total))
    if not found:
        return empty
    line_, tri_, z_ = (np.concatenate(x) for x in zip(*found, strict=True))
    return Hits(line_, tri_, z_, np.sign(area[tri_]).astype(np.int64))


def _side(xy: Floats, start: Ints, end: Ints, p: Floats) -> Floats:
    """Which side of the edge start-end the points lie on, computed alike for both neighbours."""
    swap = start > end
    s, e = np.where(swap, end, start), np.where(swap, start, end)
    a, b = xy[s], xy[e]
    value = (b[:, 0] - a[:, 0]) * (p[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (p[:, 0] - a[:, 0])
    return np.where(swap, -value, value)


def frame(up: Floats) -> Floats:
    """Return a (3, 3) rotation whose rows are two level axes and `up`; (x @ frame.T)[2] = x . up.

    The level axes are turned by an odd angle, so that lines do not run along a model's own edges.
    """
    up = up / np.linalg.norm(up)
    helper = np.eye(3)[np.argmin(np.abs(up))]
    x = np.cross(helper, up)
    x /= np.linalg.norm(x)
    y = np.cross(up, x)
    angle = 0.5417
    u = np.cos(angle) * x + np.sin(angle) * y
    return np.stack([u, np.cross(up, u), up])
