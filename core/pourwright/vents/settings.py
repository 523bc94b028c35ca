"""Vents as data: the rules they obey, and the rods that come out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from pourwright.checks import check_number
from pourwright.errors import InputError, Point


@dataclass(frozen=True)
class VentSettings:
    """Rules for vent rods, mm.

    diameter_mm : of the rod (common practice: 1 to 3 mm, no source).
    least_diameter_mm : of a rod where a thicker one does not fit, at most diameter_mm.
    web_mm : rubber to keep between a rod and the figure or another rod, away from its ends.
    overlap_mm : how deep a rod reaches into what it joins.
    slope_deg : least angle of a rod above level, in the pour.
    neck_mm, neck_length_mm : diameter and length of the thinner end at the figure, where the rod
        is broken off; a neck as thick as the rod is none.
    grid_mm : voxel edge of the routing grid; coarser where the grid would not fit in memory.

    Raises InputError for a number out of range.
    """

    diameter_mm: float = 1.5
    least_diameter_mm: float = 1.0
    web_mm: float = 2.0
    overlap_mm: float = 0.5
    slope_deg: float = 20.0
    neck_mm: float = 1.0
    neck_length_mm: float = 1.5
    grid_mm: float = 0.5

    def __post_init__(self) -> None:
        check_number("vents.diameter_mm", self.diameter_mm, 0.3, 20.0)
        check_number("vents.least_diameter_mm", self.least_diameter_mm, 0.3, 20.0)
        check_number("vents.web_mm", self.web_mm, 0.1, 50.0)
        check_number("vents.overlap_mm", self.overlap_mm, 0.05, 10.0)
        check_number("vents.slope_deg", self.slope_deg, 11.5, 89.0)
        check_number("vents.neck_mm", self.neck_mm, 0.3, 20.0)
        check_number("vents.neck_length_mm", self.neck_length_mm, 0.1, 20.0)
        check_number("vents.grid_mm", self.grid_mm, 0.1, 5.0)


@dataclass(frozen=True)
class GivenVent:
    """A rod as the user put it: corner points from the figure upwards in the pour, and diameter.

    Raises InputError for less than two points or a diameter out of range.
    """

    path_mm: tuple[Point, ...]
    diameter_mm: float

    def __post_init__(self) -> None:
        if len(self.path_mm) < 2:
            raise InputError("A vent needs two points at least", hint="draw it from end to end")
        check_number("vent diameter", self.diameter_mm, 0.1, 50.0)


@dataclass(frozen=True)
class Vent:
    """One rod on the master, a channel for air in the mould.

    kind : "rod" when it ends in the mould top plane, "bridge" when on a higher drained surface.
    path_mm : corner points from the pocket upwards in the pour, standing frame.
    web_mm : least rubber beside it away from its ends, measured up to what was asked for.
    serves : numbers of the pockets it drains, in the plan's list.
    ends_mm : lengths at its foot and at its top where it may be nearer than its web.
    foot_angle_deg, end_angle_deg : between the rod and the surface's normal at either end: how
        far off square its end is cut; 0 at the mould top plane for an upright rod.
    """

    kind: str
    path_mm: tuple[Point, ...]
    diameter_mm: float
    length_mm: float
    web_mm: float
    serves: tuple[int, ...]
    foot_angle_deg: float = 0.0
    end_angle_deg: float = 0.0
    ends_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def segments_mm(self) -> tuple[float, ...]:
        """Lengths between the corner points, from the figure upwards."""
        return segments_mm(self.path_mm)

    @property
    def joints_deg(self) -> tuple[float, ...]:
        """Bend at each inner corner point: 0 is straight on."""
        return joints_deg(self.path_mm)


def segments_mm(path_mm: Sequence[Point]) -> tuple[float, ...]:
    """Lengths between the corner points of a path."""
    return tuple(math.dist(a, b) for a, b in itertools.pairwise(path_mm))


def joints_deg(path_mm: Sequence[Point]) -> tuple[float, ...]:
    """Bend at each inner corner point of a path: 0 is straight on."""
    steps = [
        tuple(q - p for p, q in zip(a, b, strict=True)) for a, b in itertools.pairwise(path_mm)
    ]
    bends = []
    for u, v in itertools.pairwise(steps):
        cosine = sum(p * q for p, q in zip(u, v, strict=True)) / (math.hypot(*u) * math.hypot(*v))
        bends.append(math.degrees(math.acos(max(-1.0, min(1.0, cosine)))))
    return tuple(bends)
