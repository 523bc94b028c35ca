"""Air pockets: the parts of a cavity that rising resin closes off before their air is out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pourwright.air.arrays import ends_of
from pourwright.air.forest import highest_forest, lowest_on_the_way, rooted
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


@dataclass(frozen=True, eq=False)
class PocketTable:
    """The pockets of one direction as columns, largest first, (p,) each; mm, standing frame.

    peaks : vertex of the highest point. peak_heights_mm, saddle_heights_mm : x . up there, and
    where the pocket closes off; -inf for a part of the cavity that has no opening at all.
    volumes_mm3 : of the air above the saddle. low_mm, high_mm : extent of the whole surface.
    """

    peaks: Ints
    peak_heights_mm: Floats
    saddle_heights_mm: Floats
    volumes_mm3: Floats
    low_mm: float
    high_mm: float


def unit_vector(up: Sequence[float] | Floats) -> Floats:
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
    return np.array([int(np.argmax(surface.heights(up)))])


def nearest_vertices(surface: Surface, points_mm: Sequence[Point]) -> Ints:
    """Return the surface vertex nearest to each point of the standing frame, (k,)."""
    offsets = [np.asarray(p, dtype=np.float64) - surface.centre_mm for p in points_mm]
    return np.array(
        [int(np.argmin(((surface.vertices - p) ** 2).sum(axis=1))) for p in offsets], dtype=np.int64
    )


def top_plane_vertices(surface: Surface, up: Floats, tolerance_mm: float = 1e-4) -> Ints:
    """Return the vertices in the mould top plane: what lies in it is open, nothing else is."""
    heights = surface.heights(up)
    return np.flatnonzero(heights >= heights.max() - tolerance_mm)


def find_pockets(surface: Surface, up: Floats, openings: Ints | None = None) -> AirReport:
    """Find every air pocket of the cavity inside `surface`, exactly.

    up : (3,) unit vector. openings : surface vertices open to the air; an opening drains its part
    of the cavity from its own height downwards, so air above it stays and is reported. None for
    the highest vertex.
    """
    tree = join_tree(surface, up)
    return read_pockets(surface, tree, _highest(tree) if openings is None else openings)


def pockets_in(surface: Surface, up: Floats, openings: Ints | None = None) -> PocketTable:
    """Find every air pocket as `find_pockets` does, as plain arrays: the step of a sweep.

    up, openings : as there. Several threads may ask at once about one surface.
    """
    tree = join_tree(surface, up)
    return _table(surface, tree, _highest(tree) if openings is None else openings)[0]


def _highest(tree: JoinTree) -> Ints:
    return np.array([int(np.argmax(tree.heights))])


def read_pockets(surface: Surface, tree: JoinTree, openings: Ints) -> AirReport:
    """Read the pockets off a join tree for a set of openings."""
    table, pocket_of_climb = _table(surface, tree, openings)
    parts = _cavity_parts(tree)[tree.climb[table.peaks]]
    points = surface.vertices[table.peaks] + surface.centre_mm
    pockets = tuple(
        AirPocket(
            peak_mm=(x, y, z),
            peak_height_mm=peak_height,
            saddle_height_mm=None if saddle == -np.inf else saddle,
            volume_mm3=volume,
            component=part,
            peak_vertex=vertex,
        )
        for (x, y, z), peak_height, saddle, volume, part, vertex in zip(
            points.tolist(),
            table.peak_heights_mm.tolist(),
            table.saddle_heights_mm.tolist(),
            table.volumes_mm3.tolist(),
            parts.tolist(),
            table.peaks.tolist(),
            strict=True,
        )
    )
    return AirReport(surface, tree, pockets, pocket_of_climb)


def _table(surface: Surface, tree: JoinTree, openings: Ints) -> tuple[PocketTable, Ints]:
    """The pockets as arrays, largest first, and the pocket of each maximum, or OUTSIDE."""
    tol = surface.tolerance_mm
    drained_at, head = _closed_air(tree, openings, tol)
    peak_heights = tree.heights[tree.peaks]
    deep = np.flatnonzero(peak_heights - drained_at > tol)
    # The highest maximum of each pocket: the last one of its head in this order.
    deep = deep[np.lexsort((deep, peak_heights[deep], head[deep]))]
    last = np.append(np.diff(head[deep]) != 0, True)[: len(deep)]
    tops = deep[last]
    pocket_of_climb = np.full(len(tree.peaks), OUTSIDE, dtype=np.int64)
    pocket_of_climb[deep] = np.cumsum(last) - last
    saddles = drained_at[tops]
    # A sliver that is folded inside out would hold less than nothing.
    volumes = np.maximum(volumes_above(surface, tree, pocket_of_climb, saddles, tol), 0.0)
    order = np.lexsort((tops, -volumes))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    pocket_of_climb[deep] = rank[pocket_of_climb[deep]]
    peaks = tree.peaks[tops[order]]
    shift = float(surface.centre_mm @ tree.up)
    table = PocketTable(
        peaks=peaks,
        peak_heights_mm=tree.heights[peaks] + shift,
        saddle_heights_mm=saddles[order] + shift,
        volumes_mm3=volumes[order],
        low_mm=tree.floor + shift,
        high_mm=float(tree.heights.max()) + shift,
    )
    return table, pocket_of_climb


def _closed_air(tree: JoinTree, openings: Ints, tol: float) -> tuple[Floats, Ints]:
    """Height at which the air over each maximum meets drained cavity, and whose air it is, (k,).

    The open air is one more maximum, infinitely high, tied to each opening at its own height.
    From a maximum the air leaves by the way to it that stays highest, so it is closed off by the
    lowest pass of that way, -inf where there is none. Two maxima share a pocket, and have the
    same head, where a pass higher than that ties them.
    """
    count = len(tree.peaks)
    air = count
    each = np.arange(count)
    # Passes join all there is unless the cavity has parts that nothing joins.
    whole = len(tree.pass_a) == count - 1 and len(openings) > 0
    never = each[:0] if whole else each
    a = np.concatenate([tree.pass_a, np.full(len(openings) + len(never), air)])
    b = np.concatenate([tree.pass_b, tree.climb[openings], never])
    height = np.concatenate(
        [tree.pass_height, tree.heights[openings], np.full(len(never), -np.inf)]
    )
    if len(a) > count:  # more edges than a tree has
        kept = highest_forest(a, b, height, count + 1)
        a, b, height = a[kept], b[kept], height[kept]
    parent, to_parent = rooted(a, b, height, count + 1, air)
    drained_at = lowest_on_the_way(parent, to_parent)[:count]
    parent, to_parent = parent[:count], to_parent[:count]
    # Two tied like that are drained at one height, so either's may be asked. Never the open air:
    # where that is the parent, the way there is the edge to it alone.
    tied = to_parent > drained_at + tol
    return drained_at, ends_of(np.where(tied, parent, each))


def _cavity_parts(tree: JoinTree) -> Ints:
    """Number of the connected part of the cavity below each maximum."""
    k = len(tree.peaks)
    if len(tree.pass_a) == k - 1:  # a tree: one part
        return np.zeros(k, dtype=np.int64)
    ones = np.ones(len(tree.pass_a), dtype=np.int8)
    graph = coo_array((ones, (tree.pass_a, tree.pass_b)), shape=(k, k))
    return connected_components(graph, directed=False)[1].astype(np.int64)
