"""Vents as data: the rules they obey, and the rods that come out."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.checks import check_number
from pourwright.errors import Point


@dataclass(frozen=True)
class VentSettings:
    """Rules for vent rods, mm.

    diameter_mm : of the rod (common practice: 1 to 3 mm, no source).
    least_diameter_mm : of a rod where a thicker one does not fit, at most diameter_mm.
    web_mm : rubber to keep between a rod and the figure or another rod, away from its ends.
    overlap_mm : how deep a rod reaches into what it joins.

    Raises InputError for a number out of range.
    """

    diameter_mm: float = 1.5
    least_diameter_mm: float = 1.0
    web_mm: float = 2.0
    overlap_mm: float = 0.5

    def __post_init__(self) -> None:
        check_number("vents.diameter_mm", self.diameter_mm, 0.3, 20.0)
        check_number("vents.least_diameter_mm", self.least_diameter_mm, 0.3, 20.0)
        check_number("vents.web_mm", self.web_mm, 0.1, 50.0)
        check_number("vents.overlap_mm", self.overlap_mm, 0.05, 10.0)


@dataclass(frozen=True)
class Vent:
    """One rod on the master, a channel for air in the mould.

    kind : "rod" when it ends in the mould top plane, "bridge" when on a higher drained surface.
    path_mm : corner points from the pocket upwards in the pour, standing frame.
    web_mm : least rubber beside it away from its ends, measured up to what was asked for.
    serves : numbers of the pockets it drains, in the plan's list.
    """

    kind: str
    path_mm: tuple[Point, ...]
    diameter_mm: float
    length_mm: float
    web_mm: float
    serves: tuple[int, ...]
