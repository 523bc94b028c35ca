"""Which air needs a rod, and where on the figure the rod may start.

The parts of the air that matter form a family in which any two are nested or apart. Of these the
smallest ones, with nothing that matters inside them, are pairwise apart and each needs a rod of its
own; one rod in each of them is also enough, as every larger part that matters holds one of them.
So taking the smallest ones gives the least number of rods there can be, however many there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pourwright.air import AirAbove, AirReport, JoinTree, air_above, read_pockets
from pourwright.shop.process import Process
from pourwright.solid.mesh import Ints

# Air that may stay above a contact, as a share of what is harmless: the rod's end takes some too.
_STAYS = 0.5
_HALVINGS = 12


@dataclass(frozen=True, eq=False)
class Need:
    """A smallest part of the air that matters.

    climbs : numbers of its maxima in the join tree. peak : vertex of its highest point.
    level : height (surface's own frame) from which it is a part of its own, -inf for a whole
    part of the cavity. contact_level : a rod that starts at or above it leaves no visible air.
    """

    climbs: Ints
    peak: int
    level: float
    contact_level: float


def find_needs(
    report: AirReport, openings: Ints, process: Process
) -> tuple[list[Need], AirReport]:
    """Find the smallest parts of the air that matter and have no opening, highest first.

    openings : those that the report was made with. Also returns what is left of the air when
    each of them is open at its peak.
    """
    surface, tree = report.surface, report.tree
    opened = list(openings)
    found: list[tuple[Ints, float]] = []
    left, above = report, None
    while True:
        matter = [
            i
            for i, p in enumerate(left.pockets)
            if p.saddle_height_mm is None or process.matters(p.volume_mm3)
        ]
        if not matter:
            break
        if above is None:
            # Opening a peak leaves less, so all that is looked at later is among these.
            above = air_above(surface, tree, np.flatnonzero(np.isin(left.pocket_of_climb, matter)))
        shift = float(surface.centre_mm @ tree.up)
        for i in matter:
            saddle = left.pockets[i].saddle_height_mm
            level = -np.inf if saddle is None else saddle - shift
            node = _smallest(
                above, tree, np.flatnonzero(left.pocket_of_climb == i), level, process
            )
            found.append(node)
            opened.append(_peak(tree, node[0]))
        left = read_pockets(surface, tree, np.array(opened, dtype=np.int64))
    if above is None:
        return [], left
    levels = _contact_levels(above, tree, found, _STAYS * process.harmless_mm3)
    needs = [
        Need(climbs, _peak(tree, climbs), level, contact)
        for (climbs, level), contact in zip(found, levels, strict=True)
    ]
    return sorted(needs, key=lambda n: -float(tree.heights[n.peak])), left


def contact_vertices(report: AirReport, need: Need) -> Ints:
    """Vertices where a rod may start: in the need's air, at or above its contact level."""
    tree = report.tree
    high = np.flatnonzero(tree.heights >= need.contact_level)
    mine = np.zeros(len(tree.peaks), dtype=bool)
    mine[need.climbs] = True
    inside: Ints = high[mine[tree.climb[high]]]
    return inside if need.peak in inside else np.sort(np.append(inside, need.peak))


def _peak(tree: JoinTree, climbs: Ints) -> int:
    vertices = tree.peaks[climbs]
    return int(vertices[np.argmax(tree.heights[vertices])])


def _smallest(
    above: AirAbove, tree: JoinTree, climbs: Ints, level: float, process: Process
) -> tuple[Ints, float]:
    """Go from a part that matters to one inside it with nothing inside that matters.

    Whether anything above a level matters can only turn from yes to no as the level rises, so
    the highest pass at which something does is found by halving.
    """
    best = (climbs, level)
    if len(climbs) == 1:
        return best
    mine = np.zeros(len(tree.peaks), dtype=bool)
    mine[climbs] = True
    inner = mine[tree.pass_a] & mine[tree.pass_b] & (tree.pass_height > level)
    heights = np.unique(tree.pass_height[inner])
    mine_above = above.within(climbs)
    low, high = -1, len(heights)
    while high - low > 1:
        middle = (low + high) // 2
        at = float(heights[middle])
        part = _parts_above(tree, climbs, at)
        volumes = mine_above.volumes(part, np.full(int(part.max()) + 1, at))
        worst = int(np.argmax(volumes))
        if process.matters(float(volumes[worst])):
            low, best = middle, (climbs[part == worst], at)
        else:
            high = middle
    return best


def _parts_above(tree: JoinTree, climbs: Ints, level: float) -> Ints:
    """Number for each of the given maxima of the part that it hangs together with above a level."""
    place = np.full(len(tree.peaks), -1)
    place[climbs] = np.arange(len(climbs))
    kept = (tree.pass_height > level) & (place[tree.pass_a] >= 0) & (place[tree.pass_b] >= 0)
    ends = (place[tree.pass_a[kept]], place[tree.pass_b[kept]])
    graph = coo_array((np.ones(int(kept.sum()), np.int8), ends), shape=(len(climbs),) * 2)
    label: Ints = connected_components(graph, directed=False)[1]
    return label


def _contact_levels(
    above: AirAbove, tree: JoinTree, found: Sequence[tuple[Ints, float]], harmless_mm3: float
) -> list[float]:
    """Lowest levels above which the air of each part is harmless, by halving, all at once."""
    group = np.repeat(np.arange(len(found)), [len(climbs) for climbs, _ in found])
    above = above.within(np.concatenate([climbs for climbs, _ in found]))
    high = np.array([float(tree.heights[_peak(tree, climbs)]) for climbs, _ in found])
    low = np.array([max(level, above.floor) for _, level in found])
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        little = above.volumes(group, middle) <= harmless_mm3
        high, low = np.where(little, middle, high), np.where(little, low, middle)
    return [float(h) for h in high]
