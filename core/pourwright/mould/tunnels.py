"""Openings through the master, between legs or under an arm: rubber in them is locked, and is slit.

The loops of a closed surface that no disc on it spans come in two kinds: round the solid (round an
arm, spanned by a disc inside it) and round an opening (along the arm and back over the body,
spanned by a disc of rubber). The second kind is looked for: a disc of it is where to slit.

1. Loops: a tree of cheapest ways over the surface, a tree of its faces that shares no arc with it,
   and every arc in neither closes one loop; there are twice as many as openings (D. Eppstein,
   Dynamic generators of topologically embedded graphs, SODA 2003, from memory; J. Erickson, K.
   Whittlesey, Greedy optimal homotopy and homology generators, SODA 2005, from memory).
2. Kinds: a loop is spanned by rubber if, and only if, it links none of the loops drawn a hair
   inwards; it is not trivial if, drawn inwards itself, it links one of them (Alexander duality).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components, dijkstra, minimum_spanning_tree

from pourwright.mould.surface import SurfaceGraph
from pourwright.solid.mesh import Floats, Ints

# Places that loops are started from besides the first; more find shorter ones.
_MORE_STARTS = 16
# With more openings than this only their number is told.
_MOST = 24
_INWARDS = 0.02  # of the median arc


@dataclass(frozen=True, eq=False)
class Tunnels:
    """Openings through a surface.

    count : how many there are, rods left out. loops : (k,) corners of a loop round each that was
    found, short ones, the last corner next to the first.
    """

    count: int
    loops: tuple[Ints, ...]


@dataclass(frozen=True, eq=False)
class _Free:
    """The largest part of the surface without rods, its holes closed with caps.

    arcs : numbers of its arcs. a, b : their ends. left, right : face or cap on either side.
    """

    arcs: Ints
    a: Ints
    b: Ints
    left: Ints
    right: Ints
    sides: int
    openings: int


def find_tunnels(graph: SurfaceGraph, price: Floats, free: np.ndarray) -> Tunnels:
    """Find the openings through a surface and a short loop round each.

    price : (e,) of the arcs, which says what is short. free : (n,) corners that are not on rods;
    where a rod joins the surface it counts as closed.
    """
    part = _free_part(graph, free)
    if part is None or part.openings == 0 or part.openings > _MOST:
        return Tunnels(0 if part is None else part.openings, ())
    start = int(part.a[0])
    finder = _Finder(len(graph.points), part, price)
    first = finder.through(start)
    inwards = _INWARDS * float(np.median(graph.lengths_mm))
    basis = Polygons([graph.points[loop] for loop in first])
    basis_inside = Polygons([graph.points[loop] - inwards * graph.normals[loop] for loop in first])
    found = [*first]
    by_length = sorted(first, key=len)
    for loop in [*by_length[: _MORE_STARTS // 2], *by_length[-_MORE_STARTS // 2 :]]:
        far = np.linalg.norm(graph.points[loop] - graph.points[start], axis=1)
        found += finder.through(int(loop[np.argmax(far)]))
    # Many starts find the same short loops.
    found = list({tuple(np.sort(loop)): loop for loop in reversed(found)}.values())
    length = [_length(graph.points[loop]) for loop in found]
    chosen: list[Ints] = []
    links: list[Ints] = []
    for i in np.argsort(length, kind="stable"):
        loop = found[i]
        outside = graph.points[loop]
        if basis_inside.linked_by(outside).any():
            continue
        inside = outside - inwards * graph.normals[loop]
        row = basis.linked_by(inside)
        if np.linalg.matrix_rank(np.array([*links, row])) > len(links):
            chosen.append(loop)
            links.append(row)
        if len(chosen) == part.openings:
            break
    return Tunnels(part.openings, tuple(chosen))


def _free_part(graph: SurfaceGraph, free: np.ndarray) -> _Free | None:
    whole = free[graph.faces].all(axis=1)
    if not whole.any():
        return None
    on = whole[graph.arc_faces]
    one, two = graph.arc_faces.T
    joined = on.all(axis=1)
    m = len(graph.faces)
    links = coo_array((np.ones(int(joined.sum())), (one[joined], two[joined])), shape=(m, m))
    label = connected_components(links, directed=False)[1]
    largest = int(np.bincount(label[whole]).argmax())
    mine = whole & (label == largest)
    on = mine[graph.arc_faces]
    arcs = np.flatnonzero(on.any(axis=1))
    a, b = graph.arcs[arcs].T
    left, right = graph.arc_faces[arcs].T
    rim = ~on[arcs].all(axis=1)
    # One cap closes each hole: rims that share a corner are one.
    n = len(graph.points)
    links = coo_array((np.ones(int(rim.sum())), (a[rim], b[rim])), shape=(n, n))
    hole = connected_components(links, directed=False)[1]
    holes, cap = np.unique(hole[a[rim]], return_inverse=True)
    left, right = left.copy(), right.copy()
    left[rim] = np.where(on[arcs][rim, 0], left[rim], right[rim])
    right[rim] = m + cap.reshape(-1)
    corners = len(np.unique(graph.faces[mine]))
    euler = corners - len(arcs) + int(mine.sum()) + len(holes)
    return _Free(arcs, a, b, left, right, m + len(holes), (2 - euler) // 2)


class _Finder:
    """Finds loops through any corner; what does not depend on the corner is done once."""

    def __init__(self, corners: int, part: _Free, price: Floats):
        self._part, self._cost = part, price[part.arcs]
        twice = np.r_[self._cost, self._cost]
        ends = np.r_[part.a, part.b], np.r_[part.b, part.a]
        self._links = csr_array((twice, ends), (corners, corners))
        # Of arcs between the same two sides one is enough; such groups are few.
        self._low = np.minimum(part.left, part.right).astype(np.int32)
        self._high = np.maximum(part.left, part.right).astype(np.int32)
        self._key = self._low.astype(np.int64) * part.sides + self._high
        order = np.argsort(self._key, kind="stable")
        first = np.r_[True, self._key[order][1:] != self._key[order][:-1]]
        self._group = np.empty(len(order), dtype=np.int64)
        self._group[order] = np.cumsum(first) - 1
        several = np.bincount(self._group) > 1
        self._shared = np.flatnonzero(several[self._group])

    def through(self, start: int) -> list[Ints]:
        """Short loops through a corner, two an opening: corners, the last next to the first."""
        part, cost = self._part, self._cost
        distance, before = dijkstra(self._links, indices=start, return_predecessors=True)
        around = distance[part.a] + distance[part.b] + cost
        outside_tree = (before[part.a] != part.b) & (before[part.b] != part.a)
        rest = outside_tree.copy()
        shared = self._shared[rest[self._shared]]
        shared = shared[np.lexsort((-around[shared], self._group[shared]))]
        rest[shared[1:][self._group[shared[1:]] == self._group[shared[:-1]]]] = False
        rest = np.flatnonzero(rest)
        # The tree of faces takes the arcs with the longest ways round, so that the shortest are
        # left.
        longest = around[rest][np.isfinite(around[rest])].max(initial=0.0)
        weight = np.maximum(longest - around[rest], -1.0) + 2.0
        shape = (part.sides, part.sides)
        dual = csr_array((weight, (self._low[rest], self._high[rest])), shape=shape)
        not_taken = dual - minimum_spanning_tree(dual)
        not_taken.eliminate_zeros()
        row, column = not_taken.nonzero()
        loose = self._key[rest]
        closing = outside_tree.copy()
        closing[rest[~np.isin(loose, row.astype(np.int64) * part.sides + column)]] = False
        loops = []
        back = before.tolist()
        for i in np.flatnonzero(closing & np.isfinite(around)):
            one, two = _way(back, int(part.a[i]), start), _way(back, int(part.b[i]), start)
            while len(one) > 1 and len(two) > 1 and one[-2] == two[-2]:
                one.pop()
                two.pop()
            loops.append(np.array([*one[:-1], *two[::-1]], dtype=np.int64))
        return loops


def _way(before: Sequence[int], corner: int, start: int) -> list[int]:
    way = [corner]
    while corner != start:
        corner = before[corner]
        way.append(corner)
    return way


class Polygons:
    """Closed polygons in space, (k, 3) each, that others may wind round."""

    def __init__(self, polygons: Sequence[Floats]):
        self._count = len(polygons)
        self._start = np.vstack([np.empty((0, 3)), *polygons])
        self._end = np.vstack([np.empty((0, 3)), *(np.roll(p, -1, axis=0) for p in polygons)])
        self._owner = np.repeat(np.arange(self._count), [len(p) for p in polygons])
        self._low = np.minimum(self._start, self._end)
        self._high = np.maximum(self._start, self._end)

    def linked_by(self, one: Floats) -> Ints:
        """Return how often a closed polygon, (j, 3), winds round each.

        That is how often each pierces, with its sign, the triangles between the polygon's middle
        and its sides. Each triangle's side towards its neighbour is seen from a piece by one
        number, and by its opposite from the neighbour, so none slips between the two.
        """
        counts = np.zeros(self._count, dtype=np.int64)
        reaching = (self._high >= one.min(axis=0)) & (self._low <= one.max(axis=0))
        near = np.flatnonzero(reaching.all(axis=1))
        if len(near) == 0:
            return counts
        # Seen from the middle, coordinates apart: triangles in rows, pieces in columns.
        middle = one.mean(axis=0)
        a = (one - middle).T[:, :, None]
        b = np.roll(a, -1, axis=1)
        p, q = ((end[near] - middle).T[:, None, :] for end in (self._start, self._end))
        normal, moment = _cross(a, b), _cross(p, q)
        # Three numbers that have one sign where the piece's line goes through the triangle; the
        # ones of the spokes are shared with the neighbours.
        spoke = _dot(moment, a) >= 0
        next_spoke = np.roll(spoke, -1, axis=0)
        rim = _dot(q - p, normal) + _dot(moment, b - a) >= 0
        reaches = (_dot(normal, p) >= 0) != (_dot(normal, q) >= 0)
        along = reaches & spoke & ~next_spoke & rim
        against = reaches & ~spoke & next_spoke & ~rim
        np.add.at(counts, self._owner[near], against.sum(axis=0) - along.sum(axis=0))
        return counts


def _cross(p: Floats, q: Floats) -> Floats:
    """Cross product, coordinates first."""
    return np.stack([
        p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]
    ])  # fmt: skip


def _dot(p: Floats, q: Floats) -> Floats:
    product: Floats = p[0] * q[0] + p[1] * q[1] + p[2] * q[2]
    return product


def _length(points: Floats) -> float:
    return float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum())
