"""A second opinion on volume: winding numbers along many vertical lines.

Signed volume counts space that a surface wraps twice twice, and boolean operations pass such a
surface on. Along a line the winding number of a sound body is 0 or 1; where it is anything else
the body overlaps itself. The same lines through the finished union must find the same lengths.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pourwright.errors import Point
from pourwright.solid.columns import hits
from pourwright.solid.mesh import Floats, TriMesh, concatenate

# Faces and bodies that lines are drawn through at once.
_GROUP_FACES, _GROUP_BODIES = 200_000, 64
_GOLDEN = (np.sqrt(5) - 1) / 2


@dataclass(frozen=True, eq=False)
class Lengths:
    """Pieces of lines inside a body: line number, from and to (heights), winding number."""

    line: np.ndarray
    bottom: Floats
    top: Floats
    winding: np.ndarray


@dataclass(frozen=True)
class Difference:
    """How far two measures are apart, as a share of the sound one, and where it is worst."""

    share: float
    at_mm: Point


def columns(bounds_mm: Floats, side: int) -> Floats:
    """Return (side * side, 2) points over the bounds, evenly spread and in no rows.

    A model made of boxes would be met in step by the rows of a grid, and a thin fold between two
    rows by none of them; so this is the lattice of the golden ratio.
    """
    low, high = bounds_mm[0, :2], bounds_mm[1, :2]
    count = side * side
    step = np.arange(count)
    shares = np.stack([(step + 0.5) / count, (step * _GOLDEN + np.sqrt(2) - 1) % 1.0], axis=1)
    return low + shares * (high - low)


def inside_lengths(mesh: TriMesh, points: Floats) -> Lengths:
    """Measure where the lines run inside a closed mesh, with the winding number of each piece."""
    found = hits(mesh.vertices, mesh.faces, points)
    # Going up, a down-facing triangle is entered and an up-facing one is left.
    return _pieces(found.line, found.z, -found.up)


def _pieces(line: np.ndarray, z: Floats, step: np.ndarray) -> Lengths:
    order = np.lexsort((z, line))
    line, z, step = line[order], z[order], step[order]
    if len(line) == 0:
        return Lengths(line, z, z, step)
    total = np.cumsum(step)
    first = np.concatenate([[True], line[1:] != line[:-1]])
    start = np.maximum.accumulate(np.where(first, np.arange(len(line)), 0))
    winding = total - (total - step)[start]
    same = line[1:] == line[:-1]
    # A line that grazes an edge may end unbalanced; it says nothing and is left out.
    last = np.concatenate([line[1:] != line[:-1], [True]])
    bad = np.unique(line[last & (winding != 0)])
    keep = np.flatnonzero(same & (winding[:-1] != 0) & ~np.isin(line[:-1], bad))
    return Lengths(line[keep], z[keep], z[keep + 1], winding[keep])


def self_overlaps(bodies: Sequence[TriMesh], side: int) -> list[Difference]:
    """Share of each body's volume that its own surface wraps other than once."""
    unit = np.array([[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]])
    points = columns(unit, side)
    found: list[Difference] = []
    for group in _groups(bodies):
        # Each body fills the unit square, so the same lines go through all of them.
        boxes = [(b.bounds_mm[0, :2], np.ptp(b.bounds_mm[:, :2], axis=0)) for b in group]
        fitted = [
            TriMesh(np.column_stack([(b.vertices[:, :2] - low) / size, b.vertices[:, 2]]), b.faces)
            for b, (low, size) in zip(group, boxes, strict=True)
        ]
        got = _lengths_each(fitted, points)
        first = np.searchsorted(got.line, np.arange(len(group) + 1) * len(points))
        for i, (low, size) in enumerate(boxes):
            of = slice(first[i], first[i + 1])
            length, winding = (got.top - got.bottom)[of], got.winding[of]
            sound = float(length[winding > 0].sum())
            wrong = np.where(winding == 1, 0.0, length * np.abs(winding - (winding > 0)))
            middle = (got.top + got.bottom)[of] / 2
            lines = got.line[of] - i * len(points)
            found.append(_difference(wrong, sound, lines, middle, low + points * size))
    return found


def union_error(bodies: Sequence[TriMesh], united: TriMesh, side: int) -> Difference:
    """Share by which the united body differs from the bodies along the same lines."""
    bounds = np.concatenate([m.bounds_mm for m in (*bodies, united)])
    points = columns(np.array([bounds.min(axis=0), bounds.max(axis=0)]), side)
    n = len(points)
    pieces = [_lengths_each(group, points) for group in _groups(bodies)]
    line = np.concatenate([p.line[p.winding > 0] % n for p in pieces])
    bottom = np.concatenate([p.bottom[p.winding > 0] for p in pieces])
    top = np.concatenate([p.top[p.winding > 0] for p in pieces])
    ones = np.ones(len(line), dtype=np.int64)
    got = inside_lengths(united, points)
    solid = got.winding > 0
    want = _pieces(np.r_[line, line], np.r_[bottom, top], np.r_[ones, -ones])
    want_mm = np.bincount(want.line, weights=want.top - want.bottom, minlength=n)
    got_mm = np.bincount(
        got.line[solid], weights=(got.top - got.bottom)[solid], minlength=n
    )
    middle = np.bincount(
        want.line, weights=(want.top + want.bottom) / 2, minlength=n
    ) / np.maximum(np.bincount(want.line, minlength=n), 1)
    return _difference(
        np.abs(want_mm - got_mm), float(want_mm.sum()), np.arange(n), middle, points
    )


def _groups(bodies: Sequence[TriMesh]) -> Iterator[Sequence[TriMesh]]:
    """Bodies to look at together: enough to be quick, few enough to bound the memory."""
    first = faces = 0
    for i, body in enumerate(bodies):
        if i > first and (faces + len(body.faces) > _GROUP_FACES or i - first >= _GROUP_BODIES):
            yield bodies[first:i]
            first, faces = i, 0
        faces += len(body.faces)
    if bodies:
        yield bodies[first:]


def _lengths_each(bodies: Sequence[TriMesh], points: Floats) -> Lengths:
    """As `inside_lengths`, each body for itself: line number + len(points) * number of the body."""
    together = concatenate(list(bodies))
    found = hits(together.vertices, together.faces, points)
    body = np.repeat(np.arange(len(bodies)), [len(b.faces) for b in bodies])
    return _pieces(body[found.triangle] * len(points) + found.line, found.z, -found.up)


def _difference(
    wrong: Floats, sound: float, line: np.ndarray, height: Floats, points: Floats
) -> Difference:
    if len(wrong) == 0 or sound <= 0:
        return Difference(0.0, (0.0, 0.0, 0.0))
    worst = int(np.argmax(wrong))
    x, y = points[line[worst]]
    return Difference(float(wrong.sum()) / sound, (float(x), float(y), float(height[worst])))
