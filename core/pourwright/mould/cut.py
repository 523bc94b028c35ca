"""The line of the cut: a closed loop on the master's surface, least-cost between its way points.

The knife starts at the board side, where the pour opening is, goes up one side of the figure, over
it, and down the other side as far as the hinge, which stays whole. The loop's remainder, through
the hinge and over the base's underside, closes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, dijkstra

from pourwright.errors import GeometryError, InputError, Point
from pourwright.mould.cost import Price
from pourwright.mould.parting import Parting
from pourwright.mould.settings import CutSettings
from pourwright.mould.surface import SurfaceGraph
from pourwright.solid.mesh import Floats, Ints

# Without a base, this share of the height counts as one.
_BASE_SHARE = 0.08
# A side way point this far off the plane, or this little out, is none; shares of the figure's size.
_NEAR_PLANE, _WELL_OUT = 0.2, 0.12
# How much dearer a corner is that the loop has passed already, where there is no other way.
_TWICE = 1e3
OPENING, TOP = "pour opening", "top"


@dataclass(frozen=True)
class WayPoint:
    """A place that the line passes.

    name : in words. corner : of the graph. side : +1 or -1 for the two sides of the figure along
    the plane, 0 for the pour opening and the top.
    """

    name: str
    corner: int
    side: int


@dataclass(frozen=True, eq=False)
class CutLine:
    """The loop, in the order that the knife goes, frame of the board, mm.

    corners : (k,) of the graph, the last one is next to the first. points_mm : (k, 3).
    cut_count : the knife goes over the first so many points; the rest is hinge.
    way_points : in the order of the loop. price : of all of it. passes_twice : whether some
    stretch had to share corners with another, so that there the leaves do not part.
    """

    corners: Ints
    points_mm: Floats
    cut_count: int
    way_points: tuple[WayPoint, ...]
    price: float
    length_mm: float
    passes_twice: bool

    @property
    def cut_mm(self) -> Floats:
        """The part that the knife goes over, (k, 3)."""
        return self.points_mm[: self.cut_count]

    @property
    def hinge_mm(self) -> Floats:
        """The part that stays whole, from the end of the cut to its start, (k, 3)."""
        return np.vstack([self.points_mm[self.cut_count - 1 :], self.points_mm[:1]])


def default_way_points(
    graph: SurfaceGraph, price: Price, parting: Parting, base_top_mm: float | None
) -> tuple[WayPoint, ...]:
    """Choose way points: pour opening, rim of the base, farthest out, top, and down again.

    base_top_mm : height of the face that the figure stands on; None where there is no base, and
    the lowest 8 % count as one. The farthest points are those of the figure near the plane of the
    cut: a distance off the plane counts against them, and so does protected surface.
    """
    points = graph.points
    height = points[:, 2]
    low, high = float(height.min()), float(height.max())
    top = low + _BASE_SHARE * (high - low) if base_top_mm is None else base_top_mm
    free = price.rod < 0
    off = np.abs(parting.off_plane_mm(points))
    out = parting.out_mm(points)
    size = high - low
    against = off + size * price.kept_off
    figure = np.flatnonzero(free & (height > top + 1e-3 * size))
    base = np.flatnonzero(free & (height <= top + 1e-6 * size))
    if len(figure) == 0 or len(base) == 0:
        raise GeometryError(
            "The master has nothing above its base to cut over",
            hint="check the base's height and the direction of the pour",
            at_mm=points.mean(axis=0),
        )
    mouth = base[height[base] <= low + 1e-3]
    middle = points[mouth].mean(axis=0)
    first = int(mouth[np.argmin(np.linalg.norm(points[mouth] - middle, axis=1))])
    # A part that hangs on rods alone is not to be had: rods are no way.
    within = _reached_from(graph, price, first)
    figure, base = figure[within[figure]], base[within[base]]
    if len(figure) == 0:
        raise GeometryError(
            "The figure stands on rods alone, so that no cut line runs over it",
            hint="let a part of it stand on the base",
            at_mm=points[first],
        )
    crown = int(figure[np.argmax((height - against)[figure])])
    sides: dict[int, list[WayPoint]] = {}
    for side, name in ((1, "one side"), (-1, "other side")):
        reach = side * out
        rim = int(base[np.argmax((reach - 2 * off - 1e-3 * height)[base])])
        far = int(figure[np.argmax((reach - against)[figure])])
        found = [WayPoint(f"base, {name}", rim, side)]
        is_out = reach[far] > _WELL_OUT * size and off[far] < _NEAR_PLANE * size
        if is_out and price.kept_off[far] < 0.5:
            found.append(WayPoint(f"farthest, {name}", far, side))
        sides[side] = found
    ways = [
        WayPoint(OPENING, first, 0), *sides[1], WayPoint(TOP, crown, 0), *sides[-1][::-1],
    ]  # fmt: skip
    return _distinct(ways)


def _reached_from(graph: SurfaceGraph, price: Price, corner: int) -> np.ndarray:
    """Which corners a line can come to from one, (n,)."""
    a, b = graph.arcs[np.isfinite(price.arcs)].T
    n = len(graph.points)
    links = csr_array((np.ones(len(a), dtype=np.int8), (a, b)), shape=(n, n))
    label = connected_components(links, directed=False)[1]
    reached: np.ndarray = label == label[corner]
    return reached


def _distinct(ways: Sequence[WayPoint]) -> tuple[WayPoint, ...]:
    """Without those at a corner that another one has."""
    seen: set[int] = set()
    return tuple(w for w in ways if not (w.corner in seen or seen.add(w.corner)))  # type: ignore[func-returns-value]


def moved(
    graph: SurfaceGraph, price: Price, ways: Sequence[WayPoint], number: int, to_mm: Point
) -> tuple[WayPoint, ...]:
    """Return the way points with one put on the corner of the surface nearest to a point.

    to_mm : frame of the board. Rods are no way, so their corners are left out. Raises InputError
    for a number that no way point has.
    """
    if not 0 <= number < len(ways):
        raise InputError(f"There is no way point {number}", hint=f"give 0 to {len(ways) - 1}")
    distance = np.linalg.norm(graph.points - np.asarray(to_mm, dtype=np.float64), axis=1)
    distance[price.rod >= 0] = np.inf
    changed = [*ways]
    changed[number] = replace(ways[number], corner=int(np.argmin(distance)))
    return _distinct(changed)


def solve_loop(
    graph: SurfaceGraph,
    price: Price,
    parting: Parting,
    ways: Sequence[WayPoint],
    settings: CutSettings,
) -> CutLine:
    """Return the loop through the way points in their order, least-cost between each two.

    A stretch keeps off what those before it passed, so that the loop does not meet itself; on
    either side of the figure, surface that faces the other side costs more. The hinge is put
    where the line's foot is dearest.

    Raises InputError for less than three way points, GeometryError where no way joins two.
    """
    if len(ways) < 3:
        raise InputError("A loop needs three way points", hint="leave opening, top and a side")
    n = len(graph.points)
    prices = {
        side: price.arcs * _side_factor(graph, parting, settings, side) for side in (-1, 0, 1)
    }
    used = np.zeros(n, dtype=bool)
    used[[w.corner for w in ways]] = True
    stretches: list[Ints] = [np.empty(0, dtype=np.int64)] * len(ways)
    costs, twice = np.zeros(len(ways)), False
    for i in _order(ways):
        start, end = ways[i], ways[(i + 1) % len(ways)]
        arcs = prices[start.side or end.side]
        blocked = used.copy()
        blocked[[start.corner, end.corner]] = False
        found = shortest_way(graph, arcs, start.corner, end.corner, blocked)
        if found is None:
            found = shortest_way(graph, arcs, start.corner, end.corner, blocked, times=_TWICE)
            twice = True
        if found is None:
            raise GeometryError(
                f"No line runs over the master from {start.name} to {end.name}",
                hint="they lie on separate bodies: move a way point",
                at_mm=graph.points[start.corner],
            )
        stretches[i], costs[i] = found
        used[stretches[i]] = True
    return _loop(graph, ways, stretches, costs, settings, twice)


def shortest_way(
    graph: SurfaceGraph, arcs: Floats, start: int, end: int, blocked: np.ndarray, *,
    times: float = np.inf,
) -> tuple[Ints, float] | None:
    """Return corners from start to end of the cheapest way, both inclusive, and its price.

    arcs : (e,) prices. blocked : (n,) corners that arcs to or from cost `times` as much.
    None where there is no way.
    """
    a, b = graph.arcs.T
    taken = blocked[a] | blocked[b]
    weight = np.where(taken, arcs * times, arcs)
    open_ = np.flatnonzero(np.isfinite(weight))
    a, b, weight = a[open_], b[open_], weight[open_]
    n = len(graph.points)
    links = csr_array((np.r_[weight, weight], (np.r_[a, b], np.r_[b, a])), shape=(n, n))
    distance, before = dijkstra(links, indices=start, return_predecessors=True)
    if not np.isfinite(distance[end]):
        return None
    way = [end]
    while way[-1] != start:
        way.append(int(before[way[-1]]))
    return np.array(way[::-1], dtype=np.int64), float(distance[end])


def _side_factor(
    graph: SurfaceGraph, parting: Parting, settings: CutSettings, side: int
) -> Floats:
    """(e,) how much dearer arcs are for looking to the other side than the line runs on."""
    away = np.maximum(-side * (graph.normals @ parting.along), 0.0)
    factor = 1 + settings.outline * away
    a, b = graph.arcs.T
    mean: Floats = (factor[a] + factor[b]) / 2
    return mean


def _order(ways: Sequence[WayPoint]) -> list[int]:
    """Stretches from the top down on both sides in turn, the figure's before the base's."""
    count = len(ways)
    top = next((i for i, w in enumerate(ways) if w.name == TOP), count // 2)
    # Stretch i runs from way point i to i + 1.
    forward = [(top + k) % count for k in range(count)]
    order: list[int] = []
    while forward:
        order.append(forward.pop(0))
        if forward:
            order.append(forward.pop())
    return order


def _loop(
    graph: SurfaceGraph, ways: Sequence[WayPoint], stretches: Sequence[Ints], costs: Floats,
    settings: CutSettings, twice: bool,
) -> CutLine:
    """Join the stretches, turned so that the knife starts at the opening and ends at the hinge."""
    start = next((i for i, w in enumerate(ways) if w.name == OPENING), 0)
    ways = [*ways[start:], *ways[:start]]
    stretches = [*stretches[start:], *stretches[:start]]
    costs = np.roll(costs, -start)
    # The dearer foot is spared: that of the last stretch, unless the first one's is dearer.
    if costs[0] > costs[-1] * (1 + 1e-3):
        ways = [ways[0], *ways[:0:-1]]
        stretches = [s[::-1] for s in stretches[::-1]]
        costs = costs[::-1]
    corners = np.concatenate([s[:-1] for s in stretches])
    points = graph.points[corners]
    steps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    # Way along the line from each point to the last way point, the rim of the base.
    rim = len(corners) - len(stretches[-1]) + 1
    to_rim = np.cumsum(steps[:rim][::-1])[::-1]
    stays = (to_rim <= settings.hinge_mm).sum()
    least = len(stretches[0])  # at least the way out of the opening is cut
    return CutLine(
        corners=corners,
        points_mm=points,
        cut_count=max(rim - int(stays), least),
        way_points=tuple(ways),
        price=float(costs.sum()),
        length_mm=float(steps.sum()),
        passes_twice=twice,
    )
