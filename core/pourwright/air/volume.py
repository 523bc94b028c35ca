"""Volume of the cavity above a level, from the surface triangles alone.

By the divergence theorem the volume above a level s is the integral of (x.up - s)(n.up) over the
surface above s; the level cap adds nothing, and walls of voids count with their own sign. A
triangle belongs to the maximum that its highest corner climbs to: where parts of the air are
apart above their levels, no triangle reaches into two of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourwright.air.arrays import dot_rows, gather
from pourwright.air.jointree import JoinTree
from pourwright.air.surface import Surface
from pourwright.solid.mesh import Floats, Ints


@dataclass(frozen=True, eq=False)
class AirAbove:
    """The walls over some maxima, gathered once to measure the air there at many levels.

    Made by `air_above`; each question costs in proportion to these walls, not to the surface.

    climbs : (c,) numbers of the maxima. owner : (f,) for each wall triangle the place in `climbs`
    of the maximum it lies under. top, middle, bottom : (f,) its corner heights, surface's own
    frame. factor : (f,) half of its area vector . up, mm2. floor : lowest of the surface.
    """

    climbs: Ints
    owner: Ints
    top: Floats
    middle: Floats
    bottom: Floats
    factor: Floats
    floor: float

    def volumes(self, group: Ints, levels: Floats, tol: float = 0.0) -> Floats:
        """Volume of each group's air above its level, mm3, (p,).

        group : (c,) number of the group each of `climbs` is in, or -1 for none. levels : (p,) of
        each group, surface's own frame; -inf for a whole part of the cavity. A group must hold
        all maxima whose air hangs together with its own above its level. Walls that reach no more
        than `tol` above a level do not count.
        """
        # One more level, that nothing is above, for the walls that are in no group.
        of_wall = group[self.owner]
        chosen = np.flatnonzero(self.top > np.append(levels + tol, np.inf)[of_wall])
        of_wall = of_wall[chosen]
        level = _finite(levels, self.floor)[of_wall]
        reach = _mean_reach(self.top[chosen], self.middle[chosen], self.bottom[chosen], level)
        weights = self.factor[chosen] * reach
        return np.bincount(of_wall, weights=weights, minlength=len(levels)).astype(np.float64)

    def within(self, climbs: Ints) -> AirAbove:
        """Return the same for some of these maxima only."""
        place = np.full(int(max(self.climbs.max(initial=0), climbs.max(initial=0))) + 1, -1)
        place[climbs] = np.arange(len(climbs))
        owner = place[self.climbs][self.owner]
        kept = np.flatnonzero(owner >= 0)
        a, b, c, factor = (x[kept] for x in (self.top, self.middle, self.bottom, self.factor))
        return AirAbove(climbs, owner[kept], a, b, c, factor, self.floor)


def air_above(
    surface: Surface, tree: JoinTree, climbs: Ints, lowest: Floats | float = -np.inf
) -> AirAbove:
    """Gather the walls over the given maxima of a join tree, (c,) numbers without repeats.

    lowest : level for all or for each of `climbs`, surface's own frame, below which nobody will
    ask: walls that do not reach above it are left out, which may save most of them.
    """
    least = np.full(len(tree.peaks), np.inf)
    least[climbs] = lowest
    count = _corners_above(surface, tree, least)
    return _walls(surface, tree, climbs, np.flatnonzero(count))


def volumes_above(
    surface: Surface, tree: JoinTree, pocket_of_climb: Ints, saddles: Floats, tol: float
) -> Floats:
    """Volume of each pocket above its saddle, mm3, (p,).

    pocket_of_climb : (k,) pocket of each maximum or -1. saddles : (p,) heights in the surface's
    own frame, -inf for a part of the cavity that is a pocket as a whole. To measure the same air
    at many levels use `air_above`.
    """
    if len(saddles) == 0:
        return np.empty(0)
    heights = tree.heights
    inside = np.flatnonzero(pocket_of_climb >= 0)
    least = np.full(len(tree.peaks), np.inf)
    least[inside] = saddles[pocket_of_climb[inside]] + tol
    count = _corners_above(surface, tree, least)
    # Faces wholly above need no clipping, and any corner tells their pocket.
    whole = np.flatnonzero(count == 3)
    i, j, k = (gather(corner, whole) for corner in surface.faces.T)
    pocket = gather(pocket_of_climb, gather(tree.climb, i))
    reach = (gather(heights, i) + gather(heights, j) + gather(heights, k)) / 3
    reach -= _finite(saddles, tree.floor)[pocket]
    reach *= _facing(surface, tree, whole)
    volumes = np.bincount(pocket, weights=reach, minlength=len(saddles))
    cut = _walls(surface, tree, inside, np.flatnonzero((count == 1) | (count == 2)))
    return volumes + cut.volumes(pocket_of_climb[inside], saddles, tol)


def _corners_above(surface: Surface, tree: JoinTree, least: Floats) -> NDArray[np.uint8]:
    """How many corners of each face are above the level of the maximum they climb to, (m,).

    least : (k,) that level for each maximum.
    """
    above = (tree.heights > gather(least, tree.climb)).view(np.uint8)
    i, j, k = surface.faces.T
    count = gather(above, i)
    count += gather(above, j)
    count += gather(above, k)
    return count


def _walls(surface: Surface, tree: JoinTree, climbs: Ints, faces: Ints) -> AirAbove:
    """Of some faces those that lie under the given maxima."""
    i, j, k = (gather(corner, faces) for corner in surface.faces.T)
    hi, hj, hk = gather(tree.heights, i), gather(tree.heights, j), gather(tree.heights, k)
    high, low = np.maximum(hi, hj), np.minimum(hi, hj)
    highest = np.where(hk > high, k, np.where(hj > hi, j, i))
    place = np.full(len(tree.peaks), -1, dtype=np.int64)
    place[climbs] = np.arange(len(climbs))
    owner = gather(place, gather(tree.climb, highest))
    mine = np.flatnonzero(owner >= 0)
    return AirAbove(
        climbs=climbs,
        owner=owner[mine],
        top=np.maximum(high, hk)[mine],
        middle=np.maximum(low, np.minimum(high, hk))[mine],
        bottom=np.minimum(low, hk)[mine],
        factor=_facing(surface, tree, faces[mine]),
        floor=tree.floor,
    )


def _facing(surface: Surface, tree: JoinTree, faces: Ints) -> Floats:
    """Area of the shadow that each face casts along up, negative where it looks down, mm2."""
    return dot_rows(surface.area_vectors, faces, tree.up / 2)


def _finite(levels: Floats, floor: float) -> Floats:
    """Levels to measure from; a whole part may be measured from any level at or below it."""
    return np.where(np.isneginf(levels), floor, levels)


def _mean_reach(a: Floats, b: Floats, c: Floats, s: Floats) -> Floats:
    """Mean over each triangle of its height above s, counting what is below s as 0.

    a >= b >= c : corner heights.
    """
    mean = (a + b + c) / 3 - s
    cut = np.flatnonzero(c < s)
    a, b, c, s = a[cut], b[cut], c[cut], s[cut]
    above, below = a - s, s - c
    with np.errstate(divide="ignore", invalid="ignore"):
        two = mean[cut] + below * below * below / (3 * (a - c) * (b - c))
        one = above * above * above / (3 * (a - b) * (a - c))
    mean[cut] = np.where(b > s, two, np.where(a > s, one, 0.0))
    return mean
