"""The join tree of height on a cavity: how its high parts run together as the level falls.

For every level the parts of the cavity above it are the tree's branches there. The tree is found
from the surface alone: each vertex climbs to a local maximum, edges between two climbs are the
passes, and a maximum of the surface that is none of the cavity (the roof of a void) is tied to
the surface straight above it.

Of two vertices at one height the one with the greater number counts as higher.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pourwright.air.arrays import dot_rows, ends_of, gather
from pourwright.air.forest import highest_forest
from pourwright.air.rays import first_exits, winding_number
from pourwright.air.surface import Surface
from pourwright.errors import GeometryError
from pourwright.solid.columns import frame
from pourwright.solid.mesh import Floats, Ints

# Edges looked at together: what is worked out on the way then stays in the processor's cache.
_CHUNK = 1 << 16
# Rays lean by this much where those before have missed.
_TILTS = ((0.0, 0.0), (1e-3, 4e-4), (-7e-4, 9e-4), (5e-2, -3e-2), (-0.4, 0.3))


@dataclass(frozen=True, eq=False)
class JoinTree:
    """Climbs and the passes between them.

    up : (3,) unit vector. heights : (n,) x . up of the surface's own (recentred) vertices.
    climb : (n,) number of the local maximum each vertex climbs to.
    peaks : (k,) vertex of each local maximum of the surface.
    pass_a, pass_b, pass_height : the tree's edges, highest pass first: two maxima, and the height
        at which the parts of the cavity below them run together.
    """

    up: Floats
    heights: Floats
    climb: Ints
    peaks: Ints
    pass_a: Ints
    pass_b: Ints
    pass_height: Floats

    @cached_property
    def floor(self) -> float:
        """Height of the lowest vertex, surface's own frame."""
        return float(self.heights.min())


def join_tree(surface: Surface, up: Floats) -> JoinTree:
    """Build the join tree of the cavity inside `surface` for the unit direction `up`.

    Ties in height are broken by vertex number, which makes every level unambiguous; plateaus
    then give branches of no height.
    """
    heights = surface.heights(up)
    climb, peaks = _climbs(surface, up, heights)
    a, b, saddle = _passes(surface, heights, climb)
    false_peak, above = _ties(surface, up, heights, peaks)
    a = np.concatenate([a, climb[false_peak]])
    b = np.concatenate([b, climb[above]])
    height = heights[np.concatenate([saddle, false_peak])]
    kept = highest_forest(a, b, height, len(peaks))
    return JoinTree(up, heights, climb, peaks, a[kept], b[kept], height[kept])


def _climbs(surface: Surface, up: Floats, heights: Floats) -> tuple[Ints, Ints]:
    """Number of the maximum that each vertex climbs to, and the vertices of the maxima.

    Any higher neighbour serves as the next step, and few vertices need a second try to find one.
    """
    first, *others = surface.neighbours.towards(up)
    step = first.copy()
    left = np.flatnonzero(gather(heights, first) <= heights)
    for neighbour in others:
        step[left] = neighbour[left]
        left = left[heights[step[left]] <= heights[left]]
    # The last ones, and plateaus, ask all their neighbours.
    step[left] = left
    owner, neighbour = surface.neighbours.of(left)
    found = _higher(heights, neighbour, left[owner])
    step[left[owner[found]]] = neighbour[found]
    peaks = left[step[left] == left]
    number = np.empty(len(step), dtype=np.int64)
    number[peaks] = np.arange(len(peaks))
    return gather(number, ends_of(step)), peaks


def _passes(surface: Surface, heights: Floats, climb: Ints) -> tuple[Ints, Ints, Ints]:
    """Edges between two climbs: both climbs, and the lower end. Holds the highest of each pair.

    An edge is left out where the face beside it has edges that join the same two climbs at its
    level already, but are higher, or as high and end higher up: when the face's third corner
    is above both ends, or above the lower end and climbs to the same maximum. This leaves few.
    """
    crossing = np.concatenate([
        begin + np.flatnonzero(
            gather(climb, surface.edge_low[begin : begin + _CHUNK])
            != gather(climb, surface.edge_high[begin : begin + _CHUNK])
        )
        for begin in range(0, len(surface.edge_low), _CHUNK)
    ])  # fmt: skip
    low, high = gather(surface.edge_low, crossing), gather(surface.edge_high, crossing)
    low_height, high_height = gather(heights, low), gather(heights, high)
    rising = high_height >= low_height
    lower, upper = np.where(rising, low, high), np.where(rising, high, low)
    start, end = np.minimum(low_height, high_height), np.maximum(low_height, high_height)
    a, b = gather(climb, lower), gather(climb, upper)
    doubled = np.zeros(len(crossing), dtype=bool)
    for sides in surface.edge_sides:
        third = gather(sides, crossing)
        over = gather(heights, third)
        doubled |= (over > end) | ((over > start) & (gather(climb, third) == a))
    kept = np.flatnonzero(~doubled)
    return a[kept], b[kept], lower[kept]


def _higher(heights: Floats, a: Ints, b: Ints) -> NDArray[np.bool_]:
    """Whether each vertex of `a` counts as higher than that of `b`."""
    over: NDArray[np.bool_] = heights[a] > heights[b]
    over |= (heights[a] == heights[b]) & (a > b)
    return over


def _ties(
    surface: Surface, up: Floats, heights: Floats, peaks: Ints
) -> tuple[Ints, Ints]:
    """Find the maxima of the surface that have the inside above them, and what lies up there.

    Returns those vertices, and for each the highest vertex of the first triangle that a ray up
    through the inside leaves by. Every one needs its ray, however small: it may be the only link
    between two surfaces.
    """
    false = peaks[dot_rows(surface.normals, peaks, up) < 0]
    found, target = [np.empty(0, np.int64)], [np.empty(0, np.int64)]

    def tie(tilt: tuple[float, float], known_inside: bool) -> None:
        nonlocal false
        ray = up + np.array(tilt) @ frame(up)[:2] if any(tilt) else up
        ray = ray / np.linalg.norm(ray)
        hit, face = first_exits(surface, false, ray, known_inside=known_inside)
        corner = surface.faces[face]
        found.append(false[hit])
        target.append(corner[np.arange(len(corner)), np.argmax(heights[corner], axis=1)])
        false = np.delete(false, hit)

    # A ray that runs along a wall may miss. Nothing near a maximum lies above it, so any other
    # rising direction starts inside as well.
    for tilt in _TILTS:
        if len(false) == 0:
            break
        tie(tilt, known_inside=False)
    # A tip that is folded inside out has nothing inside it, so nothing is above it there: it is a
    # maximum like any other, over a sliver of air. In a surface that crosses itself others lie
    # within the body, and their rays may enter it once more.
    clear = 10 * surface.tolerance_mm
    false = np.array(
        [v for v in false if winding_number(surface, surface.vertices[v] + clear * up) > 0.5],
        dtype=np.int64,
    )
    if len(false):
        tie(_TILTS[0], known_inside=True)
    if len(false):
        raise GeometryError(
            "A hollow's roof has no wall above it",
            hint="the surface crosses itself there; repair the model",
            at_mm=surface.vertices[false[0]] + surface.centre_mm,
        )
    return np.concatenate(found), np.concatenate(target)
