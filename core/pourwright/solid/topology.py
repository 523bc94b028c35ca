"""Which triangles belong together along edges and round corners.

A half-edge is numbered 3 * face + i and runs from corner i to corner i + 1 of its face. Its twin
runs the other way along the same edge, in the face on the other side. Where more than two faces
meet in an edge, the faces are paired so that each pair bounds one wedge of the *inside*: two
bodies that merely touch are then not joined, as air cannot pass from one to the other there.
"""

from __future__ import annotations

import itertools

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pourwright.solid.columns import frame, hits
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.wedges import bracketed, round_edge

NONE = -1


def twins(vertices: Floats, faces: Ints, before: Ints | None = None) -> Ints:
    """Return the twin of each half-edge, (3 m,), or NONE where the surface is open there.

    before : the twins of the same faces before their vertices were welded. Round an edge they stay
        unless that joins bodies across the outside: where walls overlap by a hair, their angles
        would tie two bodies together.
    """
    start = faces.ravel()
    end = np.roll(faces, -1, axis=1).ravel()
    key = np.minimum(start, end) * np.int64(len(vertices)) + np.maximum(start, end)
    twin = np.full(len(start), NONE, dtype=np.int64)
    forward, backward = np.flatnonzero(start < end), np.flatnonzero(start > end)
    forward = forward[np.argsort(key[forward], kind="stable")]
    backward = backward[np.argsort(key[backward], kind="stable")]
    fkey, bkey = key[forward], key[backward]
    if len(fkey) == len(bkey) and (fkey == bkey).all() and (np.diff(fkey) > 0).all():
        twin[forward], twin[backward] = backward, forward
        return twin
    edges = np.unique(np.concatenate([fkey, bkey]))
    f0, f1 = np.searchsorted(fkey, edges), np.searchsorted(fkey, edges, side="right")
    b0, b1 = np.searchsorted(bkey, edges), np.searchsorted(bkey, edges, side="right")
    plain = (f1 - f0 == 1) & (b1 - b0 == 1)
    f, b = forward[f0[plain]], backward[b0[plain]]
    twin[f], twin[b] = b, f
    crowded = np.flatnonzero(~plain & (f1 > f0) & (b1 > b0))
    shell = face_components(twin)[1] if len(crowded) else np.empty(0, np.int64)
    probes: list[Floats] = []
    disputed: list[Ints] = []
    for i in crowded:
        around = round_edge(vertices, faces, forward[f0[i] : f1[i]], backward[b0[i] : b1[i]])
        opening, closing = bracketed(around, shell)
        one, other = around.half_edges[closing], around.half_edges[opening]
        if before is not None and len(one) == f1[i] - f0[i] == b1[i] - b0[i]:
            number = np.argsort(around.half_edges)
            place = np.searchsorted(around.half_edges[number], before[one])
            kept = number[place]
            beside = around.beside()
            if around.turns(kept, closing) < around.turns(opening, closing) + 0.5:
                other = before[one]
            elif beside is not None:
                probes.append(beside)
                disputed.append(one)
        twin[one], twin[other] = other, one
    if before is not None and probes:
        # In a surface that crosses itself what looks like the outside may lie inside.
        wrapped = _winding(vertices, faces, np.array(probes)) > 0
        for one in itertools.compress(disputed, wrapped):
            twin[one], twin[before[one]] = before[one], one
    return twin


def _winding(vertices: Floats, faces: Ints, points: Floats) -> Ints:
    """How often a closed surface wraps each of some points, (k,)."""
    turn = frame(np.array([0.31, 0.22, 0.93])).T
    turned = points @ turn
    found = hits(vertices @ turn, faces, turned[:, :2])
    over = found.z > turned[found.line, 2]
    count = np.bincount(found.line[over], weights=found.up[over], minlength=len(points))
    return count.astype(np.int64)


def is_watertight(mesh: TriMesh) -> bool:
    """Whether every edge has a face on each side, running opposite ways."""
    return not bool((twins(mesh.vertices, mesh.faces) == NONE).any())


def face_components(twin: Ints) -> tuple[int, Ints]:
    """Return the number of edge-connected shells and the shell of each face."""
    joined = np.flatnonzero(twin != NONE)
    n = len(twin) // 3
    graph = coo_array(
        (np.ones(len(joined), dtype=np.int8), (joined // 3, twin[joined] // 3)), shape=(n, n)
    )
    count, label = connected_components(graph, directed=False)
    return int(count), label.astype(np.int64)


def unweld(vertices: Floats, faces: Ints, twin: Ints) -> tuple[Floats, Ints, Ints]:
    """Give each fan of faces round a vertex a vertex of its own, on a closed surface.

    Returns vertices, faces and the old number of each new vertex. Nothing is copied where every
    vertex has one fan, the usual case.
    """
    corner = np.arange(len(twin), dtype=np.int32)
    # The same vertex's corner in the next face.
    nxt = (twin + np.where(twin % 3 == 2, -2, 1)).astype(np.int32)
    label = corner
    valence = np.bincount(faces.ravel(), minlength=len(vertices))
    step, reach = nxt, 1
    while reach < valence.max(initial=1):
        label = np.minimum(label, label[step])
        step = step[step]
        reach *= 2
    first = label == corner
    if int(first.sum()) == len(vertices):
        return vertices, faces, np.arange(len(vertices))
    number = np.cumsum(first) - 1
    old = faces.ravel()[first]
    return vertices[old], number[label].reshape(-1, 3), old


def consistent_winding(faces: Ints, n_vertices: int) -> tuple[Ints, Ints] | None:
    """Turn faces so that neighbours agree, where each edge has exactly two faces.

    Returns the faces and which were turned (a mask; the smaller half of each shell), or None
    where a shell has only one side (like a Moebius strip) or an edge has not two faces.
    """
    m = len(faces)
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    key = np.minimum(start, end) * np.int64(n_vertices) + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    if len(order) % 2 or (sorted_key[::2] != sorted_key[1::2]).any():
        return None
    if (sorted_key[1:-1:2] == sorted_key[2::2]).any():
        return None
    one, two = order[::2], order[1::2]
    clash = start[one] == start[two]
    # Two copies of each face, as it is and turned; neighbours join the copies that agree.
    a, b = one // 3, two // 3
    row = np.concatenate([a, a + m])
    col = np.concatenate([b + m * clash, b + m * ~clash])
    graph = coo_array((np.ones(len(row), dtype=np.int8), (row, col)), shape=(2 * m, 2 * m))
    _, label = connected_components(graph, directed=False)
    if (label[:m] == label[m:]).any():
        return None
    shell = np.minimum(label[:m], label[m:])
    turned = label[:m] != shell
    share = np.bincount(shell, weights=turned) / np.maximum(np.bincount(shell), 1)
    turned ^= share[shell] > 0.5
    return np.where(turned[:, None], faces[:, ::-1], faces), turned


def graph_components(a: Ints, b: Ints, n: int) -> tuple[int, Ints]:
    """Number the connected groups of edges a[i]-b[i] over n vertices; the group of each edge."""
    graph = coo_array((np.ones(len(a), dtype=np.int8), (a, b)), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    groups, of_edge = np.unique(label[a], return_inverse=True)
    return len(groups), of_edge.reshape(-1).astype(np.int64)
