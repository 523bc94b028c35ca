"""Vertical lines through triangles, many at once: the tool behind rays, insides and cross-checks.

Each line is a point in the plane. Points are put into a square grid, sorted by row, so that the
candidates of a triangle are a few contiguous runs; nothing is stored per cell and triangle.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pourwright.solid.mesh import Floats, Ints

# Pairs of triangle and point that are looked at together; bounds memory to about 80 MB.
_CHUNK = 500_000


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
    """Yield (triangle, point) for points near the triangles' boxes low..high, (2, m) each."""
    origin, end = points.min(axis=0), points.max(axis=0)
    side = int(np.clip(2 * np.sqrt(len(points)), 64, 1024))
    scale = side / np.maximum(end - origin, 1e-300)
    cell = np.clip(((points - origin) * scale).astype(np.int64), 0, side - 1)
    key = cell[:, 1] * side + cell[:, 0]
    order = np.argsort(key, kind="stable")
    starts = np.searchsorted(key[order], np.arange(side * side + 1))
    alive = np.flatnonzero(
        (high[0] >= origin[0]) & (high[1] >= origin[1]) & (low[0] <= end[0]) & (low[1] <= end[1])
    )
    first, last = (
        [np.clip((v[i][alive] - origin[i]) * scale[i], 0, side - 1).astype(np.int64)
         for i in range(2)]
        for v in (low, high)
    )
    rows = last[1] - first[1] + 1
    for begin, stop in _chunks(rows):
        owner, row = _runs(first[1][begin:stop], rows[begin:stop])
        owner += begin
        run = starts[row * side + first[0][owner]]
        count = starts[row * side + last[0][owner] + 1] - run
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


class Columns:
    """Triangles made ready for sets of vertical lines; what lines do not ask for is done once.

    vertices : (n, 3); faces : (m, 3) int. only_up : leave out triangles that face down.
    Triangles seen edge-on are passed over.
    """

    def __init__(self, vertices: Floats, faces: Ints, *, only_up: bool = False):
        self._x, self._y, self._z = (np.ascontiguousarray(c) for c in vertices.T)
        self.faces = faces
        x, y = self._x, self._y
        i, j, k = (np.ascontiguousarray(faces[:, c]) for c in range(3))
        xa, xb, xc, ya, yb, yc = x[i], x[j], x[k], y[i], y[j], y[k]
        area = (xb - xa) * (yc - ya) - (yb - ya) * (xc - xa)
        self._chosen = np.flatnonzero(area > 0 if only_up else area != 0)
        self._sign = np.sign(area).astype(np.int8)
        low = [np.minimum(np.minimum(a, b), c) for a, b, c in ((xa, xb, xc), (ya, yb, yc))]
        high = [np.maximum(np.maximum(a, b), c) for a, b, c in ((xa, xb, xc), (ya, yb, yc))]
        self._low = np.stack([v[self._chosen] for v in low])
        self._high = np.stack([v[self._chosen] for v in high])

    def hits(self, points: Floats) -> Hits:
        """Return where the lines through `points` (k, 2), along z, meet the triangles.

        Edges and corners count for every triangle that has them: each side test uses the edge's
        end points in the same order whichever triangle asks, so no line slips between two
        neighbours.
        """
        found: list[tuple[Ints, Ints, Floats]] = []
        if len(points) and len(self._chosen):
            for tri, line in _candidates(self._low, self._high, points):
                found.append(self._met(tri, line, points))
        if not found:
            return Hits(*(np.empty(0, np.int64),) * 2, np.empty(0), np.empty(0, np.int64))
        line_, tri_, z_ = (np.concatenate(x) for x in zip(*found, strict=True))
        return Hits(line_, tri_, z_, self._sign[tri_].astype(np.int64))

    def _met(self, tri: Ints, line: Ints, points: Floats) -> tuple[Ints, Ints, Floats]:
        """Of pairs of triangle and line those that meet: line, triangle and height."""
        px, py = points[:, 0].take(line), points[:, 1].take(line)
        box = np.flatnonzero(
            (px >= self._low[0].take(tri)) & (py >= self._low[1].take(tri))
            & (px <= self._high[0].take(tri)) & (py <= self._high[1].take(tri))
        )  # fmt: skip
        t, line, px, py = self._chosen[tri[box]], line[box], px[box], py[box]
        corner = [self.faces[:, i].take(t) for i in range(3)]
        sign = self._sign[t]
        sides = [self._side(corner[i], corner[i - 2], px, py) * sign for i in range(3)]
        inside = np.flatnonzero((sides[0] >= 0) & (sides[1] >= 0) & (sides[2] >= 0))
        t, line = t[inside], line[inside]
        weight = [sides[i][inside] for i in (1, 2, 0)]
        total = weight[0] + weight[1] + weight[2]
        # A sliver may have three zero weights at a point on it: take its middle.
        flat = total <= 0
        height = np.zeros(len(t))
        for i in range(3):
            height += np.where(flat, 1.0, weight[i]) * self._z[corner[i][inside]]
        return line, t, height / np.where(flat, 3.0, total)

    def _side(self, start: Ints, end: Ints, px: Floats, py: Floats) -> Floats:
        """Which side of the edge start-end the points lie on, alike for both its triangles."""
        swap = start > end
        s, e = np.where(swap, end, start), np.where(swap, start, end)
        ax, ay = self._x.take(s), self._y.take(s)
        value = (self._x.take(e) - ax) * (py - ay) - (self._y.take(e) - ay) * (px - ax)
        return np.where(swap, -value, value)


def hits(vertices: Floats, faces: Ints, points: Floats, *, only_up: bool = False) -> Hits:
    """Return where the lines through `points`, along z, meet the triangles; see `Columns`."""
    return Columns(vertices, faces, only_up=only_up).hits(points)


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
