"""Air pockets: the parts of a cavity that rising resin closes off before their air is out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pourwright.air.jointree import JoinTree, join_tree
from pourwright.air.surface import Surface
from pourwright.air.volume import volumes_above
from pourwright.errors import InputError, Point
from pourwright.solid.mesh import Floats, Ints

OUTSIDE = -1


@dataclass(frozen=True)
class AirPocket:
    """Air that stays when resin rises along `up`; places in the standing frame, mm.

    peak_mm : the highest point. peak_height_mm : x . up there.
    saddle_height_mm : x . up at which the pocket closes off, None for a part of the cavity that
        has no opening at all and so never fills.
    volume_mm3 : of the air above the saddle, the part's whole volume where there is no saddle.
    component : number of the part of the cavity it lies in, parts being those not connected at
        any height.
    peak_vertex : vertex of the analysed surface.
    """

    peak_mm: Point
    peak_height_mm: float
    saddle_height_mm: float | None
    volume_mm3: float
    component: int
    peak_vertex: int


@dataclass(frozen=True, eq=False)
class AirReport:
    """Pockets, largest first, and the tree and surface they were read from.

    pocket_of_climb : (k,) for each maximum of the tree the pocket it lies in, or OUTSIDE.
    """

    surface: Surface
    tree: JoinTree
    pockets: tuple[AirPocket, ...]
    pocket_of_climb: Ints

    def pocket_at(self, vertex: int) -> int:
        """Number of the pocket that holds a vertex of the surface, or OUTSIDE."""
        number = int(self.pocket_of_climb[self.tree.climb[vertex]])
        if number == OUTSIDE:
            return OUTSIDE
        saddle = self.pockets[number].saddle_height_mm
        height = self.tree.heights[vertex] + float(self.surface.centre_mm @ self.tree.up)
        return number if saddle is None or height > saddle else OUTSIDE


def unit_vector(up: Sequence[float]) -> Floats:
    """Return `up` as a unit vector; InputError unless it is three finite numbers, not all 0."""
    vector = np.asarray(up, dtype=np.float64)
    if vector.shape != (3,) or not np.isfinite(vector).all():
        raise InputError(f"The direction {up} is not three finite numbers", hint="give X,Y,Z")
    length = float(np.linalg.norm(vector))
    if length < 1e-12:
        raise InputError("The pour direction 0,0,0 points nowhere", hint="give X,Y,Z, e.g. 0,0,-1")
    return vector / length


def highest_vertex(surface: Surface, up: Floats) -> Ints:
    """Return the highest vertex, (1,): the pour opening where none is named."""
    return np.array([int(np.argmax(surface.vertices @ up))])


def nearest_vertices(surface: Surface, points_mm: Sequence[Point]) -> Ints:
    """Return the surface vertex nearest to each point of the standing frame, (k,)."""
    offsets = [np.asarray(p, dtype=np.float64) - surface.centre_mm for p in points_mm]
    return np.array(
        [int(np.argmin(((surface.vertices - p) ** 2).sum(axis=1))) for p in offsets], dtype=np.int64
    )


def top_plane_vertices(surface: Surface, up: Floats, tolerance_mm: float = 1e-4) -> Ints:
    """Return the vertices in the mould top plane: what lies in it is open, nothing else is."""
    heights = surface.vertices @ up
    return np.flatnonzero(heights >= heights.max() - tolerance_mm)


def find_pockets(surface: Surface, up: Floats, openings: Ints) -> AirReport:
    """Find every air pocket of the cavity inside `surface`, exactly.

    up : (3,) unit vector. openings : surface vertices open to the air; an opening drains its part
    of the cavity from its own height downwards, so air above it stays and is reported.
    """
    tree = join_tree(surface, up)
    return read_pockets(surface, tree, openings)


def read_pockets(surface: Surface, tree: JoinTree, openings: Ints) -> AirReport:
    """Read the pockets off a join tree for a set of openings."""
    tol = surface.tolerance_mm
    groups, saddles = _closed_groups(tree, openings, tol)
    pocket_of_climb = np.full(len(tree.peaks), OUTSIDE, dtype=np.int64)
    tops: list[int] = []
    kept: list[float] = []
    for group, saddle in zip(groups, saddles, strict=True):
        members = np.asarray(group)
        top = int(members[np.argmax(tree.heights[tree.peaks[members]])])
        if tree.heights[tree.peaks[top]] - saddle <= tol:
            continue
        pocket_of_climb[members] = len(tops)
        tops.append(top)
        kept.append(saddle)
    volume = volumes_above(surface, tree, pocket_of_climb, np.array(kept), tol)
    order = np.lexsort((np.array(tops, dtype=np.int64), -volume))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    inside = pocket_of_climb >= 0
    pocket_of_climb[inside] = rank[pocket_of_climb[inside]]
    parts = _cavity_parts(tree)
    level = float(surface.centre_mm @ tree.up)
    pockets = []
    for i in order:
        vertex = int(tree.peaks[tops[i]])
        x, y, z = (float(c) for c in surface.vertices[vertex] + surface.centre_mm)
        pockets.append(
            AirPocket(
                peak_mm=(x, y, z),
                peak_height_mm=float(tree.heights[vertex]) + level,
                saddle_height_mm=None if np.isneginf(kept[i]) else float(kept[i]) + level,
                volume_mm3=float(volume[i]),
                component=int(parts[tops[i]]),
                peak_vertex=vertex,
            )
        )
    return AirReport(surface, tree, tuple(pockets), pocket_of_climb)


def _closed_groups(
    tree: JoinTree, openings: Ints, tol: float
) -> tuple[list[list[int]], list[float]]:
    """Maxima that share a pocket, and the height at which each pocket meets drained cavity.

    The open air is one more maximum, infinitely high, tied to each opening at its own height.
    Falling through the passes, a group without the open air is a pocket when it meets a group
    with it. Groups joined by passes no higher than that are pockets of their own.
    """
    air = len(tree.peaks)
    a = np.concatenate([np.full(len(openings), air), tree.pass_a])
    b = np.concatenate([tree.climb[openings], tree.pass_b])
    height = np.concatenate([tree.heights[openings], tree.pass_height])
    parent = np.arange(air + 1)
    members: list[list[tuple[int, float]]] = [[(i, np.inf)] for i in range(air)] + [[]]
    groups: list[list[int]] = []
    saddles: list[float] = []
    root_of_air = air
    for i in np.argsort(-height, kind="stable"):
        ra, rb, h = _root(parent, int(a[i])), _root(parent, int(b[i])), float(height[i])
        if ra == rb:
            continue
        if root_of_air in (ra, rb):
            closed = rb if ra == root_of_air else ra
            for run in _runs_above(members[closed], h + tol):
                groups.append(run)
                saddles.append(h)
            members[closed] = []
            parent[closed] = root_of_air
            continue
        if len(members[ra]) < len(members[rb]):
            ra, rb = rb, ra
        # Each run starts with the height of the pass that joined it to what stands before it.
        first, *rest = members[rb]
        members[ra] += [(first[0], h), *rest]
        members[rb] = []
        parent[rb] = ra
    for root in range(air):
        if members[root]:
            groups.append([m for m, _ in members[root]])
            saddles.append(-np.inf)
    return groups, saddles


def _runs_above(members: list[tuple[int, float]], level: float) -> list[list[int]]:
    """Split a group at the passes that are not above `level`.

    Members stand in an order in which the pass between two of them is the lowest one noted after
    the first up to the second, so cutting at low passes cuts the group exactly.
    """
    runs: list[list[int]] = []
    for member, joined_at in members:
        if not runs or joined_at <= level:
            runs.append([])
        runs[-1].append(member)
    return runs


def _root(parent: Ints, i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = int(parent[i])
    return i


def _cavity_parts(tree: JoinTree) -> Ints:
    """Number of the connected part of the cavity below each maximum."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    k = len(tree.peaks)
    ones = np.ones(len(tree.pass_a), dtype=np.int8)
    graph = coo_array((ones, (tree.pass_a, tree.pass_b)), shape=(k, k))
    return connected_components(graph, directed=False)[1].astype(np.int64)
