"""Which vertices share an edge, laid out so that a higher neighbour is found at the first try."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array

from pourwright.solid.mesh import Floats, Ints


@dataclass(frozen=True, eq=False)
class Neighbours:
    """The vertices next to each vertex.

    ring, start : those of vertex v are ring[start[v] : start[v + 1]].
    farthest : (6, n) of these the one that lies farthest towards +x, -x, +y, -y, +z and -z, as
        far as a grid of a millionth of the whole tells them apart.
    """

    ring: NDArray[np.int32]
    start: NDArray[np.int32]
    farthest: Ints

    def towards(self, direction: Floats) -> list[Ints]:
        """For each vertex three neighbours, (n,) each, the likeliest to lie along it first."""
        steepest_first = np.argsort(-np.abs(direction))
        return [self.farthest[2 * axis + int(direction[axis] < 0)] for axis in steepest_first]

    def of(self, vertices: Ints) -> tuple[Ints, Ints]:
        """All neighbours of some vertices: the place in `vertices` of each one's owner, and it."""
        first = self.start[vertices].astype(np.int64)
        count = self.start[vertices + 1] - first
        owner = np.repeat(np.arange(len(vertices)), count)
        before = np.cumsum(count) - count
        place = np.arange(len(owner)) + (first - before)[owner]
        return owner, self.ring[place].astype(np.int64)


def half_edge_table(faces: Ints, n_vertices: int) -> Any:
    """Return a sparse matrix, (n, n): row and column are a half-edge's ends, the entry its number.

    Half-edges are numbered 3 * face + corner. Where two run the same way between the same ends
    they become one entry with a number that means nothing.
    """
    a, b, c = (f.astype(np.int32) for f in faces.T)
    start, end = np.concatenate([a, b, c]), np.concatenate([b, c, a])
    number = np.arange(3 * len(faces), dtype=np.int32).reshape(-1, 3).T.ravel()
    return coo_array((number, (start, end)), shape=(n_vertices, n_vertices)).tocsr()


def plain_twins(table: Any, n_half_edges: int) -> Ints | None:
    """Return the twin of each half-edge where each has exactly one, else None.

    Turning the table over sorts it by counting, several times faster than sorting edges.
    """
    turned = table.T.tocsr()
    if (
        table.nnz != n_half_edges
        or not np.array_equal(table.indptr, turned.indptr)
        or not np.array_equal(table.indices, turned.indices)
    ):
        return None
    twin = np.empty(n_half_edges, dtype=np.int64)
    twin[table.data] = turned.data
    return twin


def neighbours(vertices: Floats, table: Any) -> Neighbours:
    """Lay out the neighbours of the vertices, (n, 3), of a closed surface's half-edge table."""
    start, ring = table.indptr, table.indices
    low = vertices.min(axis=0)
    scale = 2.0**20 / np.maximum(vertices.max(axis=0) - low, 1e-300)
    farthest = np.empty((6, len(vertices)), dtype=np.int64)
    for axis in range(3):
        # Place above, vertex number below, in one integer: the greatest names its vertex.
        place = ((vertices[:, axis] - low[axis]) * scale[axis]).astype(np.int64)
        key = ((place << 32) | np.arange(len(vertices))).take(ring)
        for i, best in ((0, np.maximum), (1, np.minimum)):
            farthest[2 * axis + i] = best.reduceat(key, start[:-1]) & 0xFFFFFFFF
    return Neighbours(ring, start, farthest)
