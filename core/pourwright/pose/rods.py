"""How many rods the air of one direction takes, counted on the join tree.

The parts of the air that matter are nested or apart; each of the smallest ones needs a rod. Going
down from the peaks, such a part shows where air that does not matter yet grows until it does; two
that run together each keep their rod. So it is enough to know, wherever two parts of the air run
together, whether either matters by then. Parts that do not are joined to what they run into, all
at once, and looked at again at their next pass: a handful of rounds for any number of maxima.
"""

from __future__ import annotations

import numpy as np

from pourwright.air import AirReport, air_above
from pourwright.solid.mesh import Floats, Ints


def rod_tips(report: AirReport, matters: np.ndarray, harmless_mm3: float, drained: float) -> Ints:
    """Return the high points that need a rod each, as vertices of the surface, (r,).

    report : made with the highest vertex open. matters : (p,) bool, which of its pockets do.
    harmless_mm3 : air that does not matter. drained : height, standing frame, from which on up
    everything is open, as what is sunk in the base is.
    """
    tree, surface = report.tree, report.surface
    shift = float(surface.centre_mm @ tree.up)
    level = drained - shift
    pocket = report.pocket_of_climb
    inside = np.flatnonzero(pocket >= 0)
    inside = inside[matters[pocket[inside]]]
    # A pocket with one peak is its own smallest part.
    alone = np.bincount(pocket[inside], minlength=len(matters))[pocket[inside]] == 1
    single, climbs = tree.peaks[inside[alone]], inside[~alone]
    tips: list[Ints] = [single[tree.heights[single] < level]]
    if len(climbs) == 0:
        return tips[0]
    nodes = _Nodes(report, climbs, level)
    saddles = np.array([_level(p.saddle_height_mm, shift) for p in report.pockets])
    walls = air_above(surface, tree, climbs, saddles[pocket[climbs]])
    while len(nodes.open_roots()):
        root, height = nodes.highest_passes()
        part = nodes.members_above(root, height)
        volume = walls.volumes(part, height)
        # Without any pass it is a part of the cavity that nothing drains.
        found = (volume > harmless_mm3) | np.isneginf(height)
        tips.append(nodes.tips(part, found))
        nodes.settle(root[found])
        nodes.join()
    return np.concatenate(tips)


def _level(saddle_height_mm: float | None, shift: float) -> float:
    """A pocket's saddle in the surface's own frame."""
    return -np.inf if saddle_height_mm is None else saddle_height_mm - shift


class _Nodes:
    """Parts of the air that grow together; one more stands for all that is drained or settled."""

    def __init__(self, report: AirReport, climbs: Ints, drained: float):
        tree = report.tree
        count = len(climbs)
        place = np.full(len(tree.peaks), count, dtype=np.int64)
        place[climbs] = np.arange(count)
        self._peaks = tree.peaks[climbs]
        self._peak_heights = tree.heights[self._peaks]
        ends = np.stack([place[tree.pass_a], place[tree.pass_b]], axis=1)
        # Passes out of these climbs lead to drained air, or lie at the level of a pocket's own.
        inner = (ends < count).any(axis=1)
        self._ends, self._heights = ends[inner], tree.pass_height[inner]
        self._root = np.arange(count + 1)
        self._root[:count][self._peak_heights >= drained] = count
        # From the part's first climb each of its climbs is reached above this height.
        self._joined = np.full(count, np.inf)
        self._drained = count
        self._best: Ints = np.empty(0, dtype=np.int64)
        self._asked: Ints = np.empty(0, dtype=np.int64)

    def open_roots(self) -> Ints:
        """Parts that are neither drained nor settled, by their first climbs."""
        roots = np.unique(self._root)
        return roots[roots != self._drained]

    def highest_passes(self) -> tuple[Ints, Floats]:
        """The open parts and the height at which each runs into another first, -inf for never."""
        roots = self.open_roots()
        ends = self._root[self._ends]
        outer = np.flatnonzero(ends[:, 0] != ends[:, 1])
        # Passes stand highest first: the first place of a part is its highest pass.
        seen, first = np.unique(ends[outer].ravel(), return_index=True)
        best = np.full(self._drained + 1, -1, dtype=np.int64)
        best[seen] = outer[first // 2]
        self._best, self._asked = best[roots], roots
        return roots, np.where(self._best >= 0, self._heights[self._best], -np.inf)

    def members_above(self, roots: Ints, heights: Floats) -> Ints:
        """For each climb the number of its part in `roots`, -1 if it is not reached above."""
        number = np.full(self._drained + 1, -1, dtype=np.int64)
        number[roots] = np.arange(len(roots))
        part = number[self._root[: self._drained]]
        part[(part >= 0) & (self._joined <= heights[part])] = -1
        return part

    def tips(self, part: Ints, found: np.ndarray) -> Ints:
        """Vertex of the highest climb of each part that is found."""
        order = np.lexsort((self._peak_heights, part))
        last = np.flatnonzero(np.diff(part[order], append=len(found)) != 0)
        top = order[last]
        top = top[part[top] >= 0]
        return self._peaks[top[found[part[top]]]]

    def settle(self, roots: Ints) -> None:
        """Take parts that have their rod out: what runs into them matters with them."""
        self._root[np.isin(self._root, roots)] = self._drained

    def join(self) -> None:
        """Join every open part that was asked for to what lies across its highest pass."""
        still = self._root[self._asked] == self._asked
        roots, best = self._asked[still], self._best[still]
        ends = self._root[self._ends[best]]
        other = np.where(ends[:, 0] == roots, ends[:, 1], ends[:, 0])
        target = np.arange(self._drained + 1)
        target[roots] = other
        # Of two that point at each other one stays.
        mutual = roots[(target[other] == roots) & (roots < other)]
        target[mutual] = mutual
        height = np.full(self._drained + 1, np.inf)
        height[roots] = self._heights[best]
        height[mutual] = np.inf
        mine = self._root[: self._drained]
        self._joined = np.minimum(self._joined, height[mine])
        while True:
            further = target[target]
            if np.array_equal(further, target):
                break
            target = further
        self._root = target[self._root]
