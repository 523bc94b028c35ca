"""Graphs of places joined at heights: where paths that stay as high as they can lead."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

from pourwright.solid.mesh import Floats, Ints


def highest_forest(a: Ints, b: Ints, height: Floats, count: int) -> Ints:
    """Rows of the edges a-b that connect all that is connected, as high as can be, highest first.

    a, b : (e,) nodes, of `count`; height : (e,). Among equal edges earlier rows are preferred.
    """
    order = np.argsort(-height, kind="stable")
    order = order[a[order] != b[order]]
    if len(order) == 0:
        return order
    low, high = np.minimum(a[order], b[order]), np.maximum(a[order], b[order])
    # One entry a pair, as the sparse format adds up repeats; ranks from 1, as it drops zeros.
    pair, rank = np.unique(low * np.int64(count) + high, return_index=True)
    row_start = np.searchsorted(pair, np.arange(count + 1) * np.int64(count))
    graph = _graph(rank + 1.0, pair % count, row_start, count)
    kept = np.sort(minimum_spanning_tree(graph).data.astype(np.int64)) - 1
    return order[kept]


def rooted(a: Ints, b: Ints, height: Floats, count: int, root: int) -> tuple[Ints, Floats]:
    """Turn a connected tree of edges towards a root: parent of each node, height of the edge.

    The root is its own parent, by an edge of infinite height.
    """
    # Both ways round, so that the search need not turn the graph over.
    start, end = np.concatenate([a, b]), np.concatenate([b, a])
    order = np.argsort(start, kind="stable")
    rows = np.searchsorted(start[order], np.arange(count + 1))
    graph = _graph(np.ones(len(start)), end[order], rows, count)
    _, parent = breadth_first_order(graph, root)
    parent = parent.astype(np.int64)
    parent[root] = root
    to_parent = np.full(count, np.inf)
    to_parent[np.where(parent[b] == a, b, a)] = height
    return parent, to_parent


def lowest_on_the_way(parent: Ints, to_parent: Floats) -> Floats:
    """Height of the lowest edge between each node and the root."""
    lowest = to_parent
    while True:
        lowest = np.minimum(lowest, lowest[parent])
        further = parent[parent]
        if np.array_equal(further, parent):
            return lowest
        parent = further


def _graph(weights: Floats, columns: Ints, row_start: Ints, count: int) -> csr_array:
    """Sparse matrix of edges sorted by row, with the 32-bit numbers that csgraph needs."""
    ends = (columns.astype(np.int32), row_start.astype(np.int32))
    return csr_array((weights, *ends), shape=(count, count))
