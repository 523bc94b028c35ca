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

from pourwright.air import AirReport, JoinTree, Surface, read_pockets
from pourwright.air.volume import volumes_above
from pourwright.shop.process import Process
from pourwright.solid.mesh import Floats, Ints

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


def find_needs(report: AirReport, openings: Ints, process: Process) -> list[Need]:
    """Find the smallest parts of the air that matter and have no opening, highest first."""
    surface, tree = report.surface, report.tree
    opened = list(openings)
    found: list[tuple[Ints, float]] = []
    while True:
        left = read_pockets(surface, tree, np.array(opened, dtype=np.int64))
        matter = [
            i
            for i, p in enumerate(left.pockets)
            if p.saddle_height_mm is None or process.matters(p.volume_mm3)
        ]
        if not matter:
            break
        shift = float(surface.centre_mm @ tree.up)
        for i in matter:
            saddle = left.pockets[i].saddle_height_mm
            level = -np.inf if saddle is None else saddle - shift
            node = _smallest(
                surface, tree, np.flatnonzero(left.pocket_of_climb == i), level, process
            )
            found.append(node)
            opened.append(_peak(tree, node[0]))
    levels = _contact_levels(surface, tree, found, _STAYS * process.harmless_mm3)
    needs = [
        Need(climbs, _peak(tree, climbs), level, contact)
        for (climbs, level), contact in zip(found, levels, strict=True)
    ]
    return sorted(needs, key=lambda n: -float(tree.heights[n.peak]))


def contact_vertices(report: AirReport, need: Need) -> Ints:
    """Vertices where a rod may start: in the need's air, at or above its contact level."""
    tree = report.tree
    inside = np.isin(tree.climb, need.climbs) & (tree.heights >= need.contact_level)
    inside[need.peak] = True
    return np.flatnonzero(inside)


def _peak(tree: JoinTree, climbs: Ints) -> int:
    vertices = tree.peaks[climbs]
    return int(vertices[np.argmax(tree.heights[vertices])])


def _smallest(
    surface: Surface, tree: JoinTree, climbs: Ints, level: float, process: Process
) -> tuple[Ints, float]:
    """Go from a part that matters to one inside it with nothing inside that matters.

    Whether anything above a level matters can only turn from yes to no as the level rises, so
    the highest pass at which something does is found by halving.
    """
    mine = np.isin(tree.pass_a, climbs) & np.isin(tree.pass_b, climbs)
    heights = np.unique(tree.pass_height[mine & (tree.pass_height > level)])
    low, high = -1, len(heights)
    best = (climbs, level)
    while high - low > 1:
        middle = (low + high) // 2
        groups = _parts_above(tree, climbs, float(heights[middle]))
        volumes = _volumes(surface, tree, groups, np.full(len(groups), heights[middle]))
        worst = int(np.argmax(volumes))
        if process.matters(float(volumes[worst])):
            low, best = middle, (groups[worst], float(heights[middle]))
        else:
            high = middle
    return best


def _parts_above(tree: JoinTree, climbs: Ints, level: float) -> list[Ints]:
    """Groups of the given maxima that hang together above a level."""
    place = np.full(len(tree.peaks), -1)
    place[climbs] = np.arange(len(climbs))
    kept = (tree.pass_height > level) & (place[tree.pass_a] >= 0) & (place[tree.pass_b] >= 0)
    ends = (place[tree.pass_a[kept]], place[tree.pass_b[kept]])
    n = len(climbs)
    graph = coo_array((np.ones(int(kept.sum()), np.int8), ends), shape=(n, n))
    count, label = connected_components(graph, directed=False)
    return [climbs[label == i] for i in range(count)]


def _volumes(
    surface: Surface, tree: JoinTree, groups: Sequence[Ints], levels: Floats
) -> Floats:
    """Volume of the air above its level over each group of maxima; groups are apart."""
    group = np.full(len(tree.peaks), -1, dtype=np.int64)
    for number, climbs in enumerate(groups):
        group[climbs] = number
    return volumes_above(surface, tree, group, levels, 0.0)


def _contact_levels(
    surface: Surface, tree: JoinTree, found: Sequence[tuple[Ints, float]], harmless_mm3: float
) -> list[float]:
    """Lowest levels above which the air of each part is harmless, by halving, all at once."""
    if not found:
        return []
    groups = [climbs for climbs, _ in found]
    high = np.array([float(tree.heights[_peak(tree, c)]) for c in groups])
    floor = float(tree.heights.min())
    low = np.array([max(level, floor) for _, level in found])
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        little = _volumes(surface, tree, groups, middle) <= harmless_mm3
        high, low = np.where(little, middle, high), np.where(little, low, middle)
    return [float(h) for h in high]
