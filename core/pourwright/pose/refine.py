"""A good direction made better: rings round it, closer and closer; and ranking directions.

Points are smooth in the direction but for jumps where a pocket comes or goes, so slopes say
little: a pattern search looks at a ring of neighbours, moves to the best of them, and narrows the
ring where none is better.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pourwright.air import unit_vector
from pourwright.pose.directions import angle_deg, in_cone, normalised
from pourwright.pose.judge import Figure, Judged, judge_if_sound, score
from pourwright.solid.columns import frame
from pourwright.solid.mesh import Floats, Ints

RING = 6
# The ring at which a search ends, and with it how near to the best direction it gets.
FINEST_DEG = 0.15
_SHRINK = 0.5
_RING_TURN = 0.61
_MOST_RINGS = 64
# Scores that differ by less, as a share, are the same: float noise.
_SAME_SHARE = 1e-6


@dataclass(frozen=True, eq=False)
class Basin:
    """Where a refinement begins: a direction, its points, and the radius of the first ring."""

    centre: Floats
    points: float
    ring_deg: float


@dataclass(frozen=True, eq=False)
class Refined:
    """What a refinement tried, (k, 3), how each was judged, and the best; -1 for the centre."""

    directions: Floats
    judged: list[Judged]
    best: int


def refine(figure: Figure, basin: Basin) -> Refined:
    """Follow one basin down until its ring is narrower than FINEST_DEG."""
    settings = figure.settings
    axis = unit_vector(settings.axis)
    centre, points, radius = basin.centre, basin.points, basin.ring_deg
    tried: list[Floats] = [np.empty((0, 3))]
    judged: list[Judged] = []
    best = -1
    for number in range(_MOST_RINGS):
        if radius < FINEST_DEG:
            break
        ring = _ring(centre, radius, number)
        ring = ring[in_cone(ring, axis, settings.cone_deg)]
        ring, found = sound(ring, [judge_if_sound(figure, up) for up in ring])
        tried.append(ring)
        scores = np.array([score(j.terms, settings.weights) for j in found])
        first = rank(ring, scores, axis)[:1]
        if len(first) and scores[first[0]] < points - _same(points):
            best = len(judged) + int(first[0])
            centre, points = ring[first[0]], float(scores[first[0]])
        else:
            radius *= _SHRINK
        judged += found
    return Refined(np.concatenate(tried), judged, best)


def sound(
    directions: Floats, judged: Sequence[Judged | None]
) -> tuple[Floats, list[Judged]]:
    """Leave out directions that could not be judged."""
    kept = [i for i, found in enumerate(judged) if found is not None]
    return directions[kept], [found for found in judged if found is not None]


def rank(directions: Floats, scores: Floats, axis: Floats) -> Ints:
    """Return the order from best to worst; scores that are the same go by the smaller tilt."""
    if len(scores) == 0:
        return np.empty(0, dtype=np.int64)
    tilt = angle_deg(directions, axis)
    order = np.lexsort((tilt, scores))
    ordered = scores[order]
    group = np.cumsum(np.diff(ordered, prepend=ordered[:1]) > _same(ordered))
    result: Ints = order[np.lexsort((tilt[order], group))]
    return result


def apart(directions: Floats, ranked: Ints, least_deg: float, count: int) -> Ints:
    """Return up to `count` of `ranked`, best first, no two nearer to each other than least_deg."""
    kept: list[int] = []
    for i in ranked:
        if len(kept) == count:
            break
        if not kept or angle_deg(directions[kept], directions[i]).min() >= least_deg:
            kept.append(int(i))
    return np.array(kept, dtype=np.int64)


def _same(scores: Floats | float) -> Floats:
    """How far apart scores may be and yet be the same."""
    limit: Floats = _SAME_SHARE * np.maximum(np.abs(scores), 1.0)
    return limit


def _ring(centre: Floats, radius_deg: float, number: int) -> Floats:
    """Directions at an angle round one, (RING, 3); each ring turned on a little."""
    turn = 2 * math.pi * np.arange(RING) / RING + _RING_TURN * number
    across = math.sin(math.radians(radius_deg))
    along = math.cos(math.radians(radius_deg))
    local = np.stack([across * np.cos(turn), across * np.sin(turn), np.full(RING, along)], axis=1)
    return normalised(local @ frame(centre))
