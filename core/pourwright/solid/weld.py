"""Join vertices that are meant to be one, and drop triangles that are none."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from pourwright.solid.mesh import Floats, Ints


def weld_exact(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """Join vertices at exactly equal positions; vertices no face uses are dropped."""
    used, inverse = np.unique(faces, return_inverse=True)
    faces = inverse.reshape(faces.shape)
    v = vertices[used] + 0.0  # minus zero equals zero
    bits = v.view(np.uint64)
    with np.errstate(over="ignore"):
        hashed = bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)
        hashed = (hashed ^ (hashed >> np.uint64(29))) + bits[:, 1]
        hashed = hashed * np.uint64(0xBF58476D1CE4E5B9)
        hashed = (hashed ^ (hashed >> np.uint64(32))) + bits[:, 2]
        hashed = hashed * np.uint64(0x94D049BB133111EB)
    _, first, group = np.unique(hashed, return_index=True, return_inverse=True)
    if not np.array_equal(v[first[group]], v):  # two positions with one hash: sort for real
        _, first, group = np.unique(v, axis=0, return_index=True, return_inverse=True)
    return v[first], group.reshape(-1)[faces]


def weld_near(
    vertices: Floats, faces: Ints, candidates: Ints, tolerance_mm: float
) -> tuple[Floats, Ints]:
    """Join those candidate vertices that lie within the tolerance of each other."""
    near = cKDTree(vertices[candidates]).query_pairs(tolerance_mm, output_type="ndarray")
    n = len(vertices)
    pairs = candidates[near]
    graph = coo_array((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    _, first, group = np.unique(label, return_index=True, return_inverse=True)
    return vertices[first], group.reshape(-1)[faces]


def drop_collapsed(faces: Ints) -> Ints:
    """Return the faces that have three different vertices."""
    a, b, c = faces.T
    return faces[(a != b) & (b != c) & (c != a)]


def all_distinct(faces: Ints) -> bool:
    """Whether no two faces have the same three vertices, whichever way they look."""
    return len(np.unique(_numbers(np.sort(faces, axis=1)))) == len(faces)


def drop_repeated(faces: Ints) -> Ints:
    """Return the faces without exact repeats (same vertices, same side out)."""
    turn = np.argmin(faces, axis=1)[:, None]
    canonical = np.take_along_axis(faces, (np.arange(3) + turn) % 3, axis=1)
    _, first = np.unique(_numbers(canonical), return_index=True)
    return faces if len(first) == len(faces) else faces[np.sort(first)]


def drop_back_to_back(faces: Ints) -> Ints:
    """Return the faces without pairs of the same vertices that look opposite ways.

    Between the two is nothing. No face may be repeated.
    """
    _, group, count = np.unique(
        _numbers(np.sort(faces, axis=1)), return_inverse=True, return_counts=True
    )
    single = count[group] == 1
    return faces if single.all() else faces[single]


def _numbers(triples: Ints) -> Ints:
    """One number for each different row, (m,)."""
    n = np.int64(triples.max(initial=0) + 1)
    if n < 2_000_000:  # n cubed fits 63 bits
        numbers: Ints = (triples[:, 0] * n + triples[:, 1]) * n + triples[:, 2]
        return numbers
    return np.unique(triples, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)
