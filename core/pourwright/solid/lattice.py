"""Vertical lines on a square lattice through triangles: what grids are filled by.

`columns` takes any points, looks at more pairs of triangle and line than meet, and counts edges for
both triangles. On a lattice each row of lines cuts a triangle in one stretch, known from two edges
(scan conversion), so that what is looked at is what meets. Lines on an edge count for one of its
triangles: along each line through a closed surface, as many triangles face up as down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.mesh import Floats, Ints

# Triangles that are looked at together; bounds memory.
_CHUNK = 200_000


@dataclass(frozen=True, eq=False)
class LatticeHits:
    """Where lines of a lattice meet triangles; rows belong together.

    line : row * columns + column. z : height of the meeting point. up : +1 where the triangle
    faces up, else -1. triangle : its number.
    """

    line: NDArray[np.int32]
    z: Floats
    up: NDArray[np.int8]
    triangle: NDArray[np.int32]


def lattice_hits(
    vertices: Floats, faces: Ints, low_mm: Floats, pitch_mm: float, shape: tuple[int, int]
) -> LatticeHits:
    """Return where the lines of a lattice, along z, meet triangles.

    vertices : (n, 3). faces : (m, 3). low_mm : (2,) x and y of the first line. pitch_mm : between
    lines. shape : number of rows (along y) and columns (along x).
    """
    rows, columns = shape
    u = (vertices[:, 0] - low_mm[0]) / pitch_mm
    v = (vertices[:, 1] - low_mm[1]) / pitch_mm
    z = np.ascontiguousarray(vertices[:, 2])
    # The first row that is not below a vertex; an edge meets the rows from its lower to its
    # upper end's, alike for both of its triangles.
    first = np.clip(np.ceil(v), 0, rows).astype(np.int32)
    found = [
        _met(u, v, z, first, faces[i : i + _CHUNK], i, columns)
        for i in range(0, len(faces), _CHUNK)
    ]
    return LatticeHits(*(np.concatenate(x) for x in zip(*found, strict=True)))


def _met(
    u: Floats, v: Floats, z: Floats, first: NDArray[np.int32], faces: Ints, start: int, columns: int
) -> tuple[NDArray[np.int32], Floats, NDArray[np.int8], NDArray[np.int32]]:
    """Lines, heights, signs and triangles of some faces, the first of which is number `start`."""
    begin, end = _lowest_and_highest(first, faces)
    some = np.flatnonzero(end > begin)
    corners, begin = faces[some], begin[some]
    height = first.take(corners)
    low, high = height.argmin(axis=1), height.argmax(axis=1)
    middle = 3 - low - high
    each = 3 * np.arange(len(some))
    corners = corners.reshape(-1)
    low_v, high_v, middle_v = (corners.take(each + c) for c in (low, high, middle))
    # The two shorter edges run up the right side of a triangle that faces up, if its corners
    # follow each other from low over middle to high.
    turns = np.where((middle - low) % 3 == 1, 1, -1).astype(np.int8)
    owner, row = _runs(begin, end[some] - begin)
    under = row < first.take(middle_v).take(owner)
    low_v, high_v, middle_v = (c.take(owner) for c in (low_v, high_v, middle_v))
    long_u, long_z = _crossing(u, v, z, low_v, high_v, row)
    short_u, short_z = _crossing(
        u, v, z, np.where(under, low_v, middle_v), np.where(under, middle_v, high_v), row
    )
    long_c, short_c = (np.clip(np.ceil(c), 0, columns).astype(np.int32) for c in (long_u, short_u))
    some_too = np.flatnonzero(long_c != short_c)
    long_c, short_c = long_c[some_too], short_c[some_too]
    sign = np.where(short_c > long_c, np.int8(1), np.int8(-1)) * turns.take(owner[some_too])
    pair, column = _runs(np.minimum(long_c, short_c), np.abs(short_c - long_c))
    pair_of = some_too[pair]
    long_u, short_u = long_u[pair_of], short_u[pair_of]
    long_z, short_z = long_z[pair_of], short_z[pair_of]
    meets = long_z + (column - long_u) / (short_u - long_u) * (short_z - long_z)
    line = row[pair_of] * np.int32(columns) + column
    triangle = (some[owner[pair_of]] + start).astype(np.int32)
    return line, meets, sign[pair], triangle


def _lowest_and_highest(
    first: NDArray[np.int32], faces: Ints
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    a, b, c = (first.take(faces[:, i]) for i in range(3))
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _runs(start: NDArray[np.int32], count: NDArray[np.int32]) -> tuple[Ints, NDArray[np.int32]]:
    """Expand runs: owner of each element, and start + 0..count-1 of its run."""
    owner = np.repeat(np.arange(len(count)), count)
    before = np.cumsum(count) - count
    element = np.arange(len(owner)) + (start - before).take(owner)
    return owner, element.astype(np.int32)


def _crossing(
    u: Floats, v: Floats, z: Floats, low: Ints, high: Ints, row: NDArray[np.int32]
) -> tuple[Floats, Floats]:
    """Where edges from low to high cross rows: u and height."""
    from_u, from_v, from_z = u.take(low), v.take(low), z.take(low)
    share = (row - from_v) / (v.take(high) - from_v)
    return from_u + share * (u.take(high) - from_u), from_z + share * (z.take(high) - from_z)
