"""Gates as data: the rules they obey, the parts that need one, and the rods that come out."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.checks import check_number, check_switch
from pourwright.errors import InputError, Point
from pourwright.vents.settings import joints_deg, segments_mm


@dataclass(frozen=True)
class GateSettings:
    """Rules for gates.

    enabled : False looks for what is badly fed, but puts up no gate.
    pot_life_share : share of the resin's pot life in which every part has to be full.
    least_mm, most_mm : diameters of a gate, mm (common practice: 3 to 6 on small figures,
        no source).
    most_gates : that are put up for one figure.
    web_mm : rubber to keep between a gate and the figure or another gate, away from its ends.
    overlap_mm : how deep a gate reaches into what it joins.
    slope_deg : least angle of a gate above level, in the pour.
    neck_share, neck_length_mm : diameter of the thinner end at the figure as a share of the
        gate's, and its length; there it is broken off.
    grid_mm : voxel edge for the inside and for the ways; coarser where memory asks for it.

    Raises InputError for a number out of range and for a least diameter above the most.
    """

    enabled: bool = True
    pot_life_share: float = 0.25
    least_mm: float = 1.0
    most_mm: float = 6.0
    most_gates: int = 12
    web_mm: float = 2.0
    overlap_mm: float = 0.5
    slope_deg: float = 20.0
    neck_share: float = 0.8
    neck_length_mm: float = 1.0
    grid_mm: float = 0.5

    def __post_init__(self) -> None:
        check_switch("gates.enabled", self.enabled)
        check_number("gates.pot_life_share", self.pot_life_share, 0.01, 1.0)
        check_number("gates.least_mm", self.least_mm, 0.3, 20.0)
        check_number("gates.most_mm", self.most_mm, 0.3, 20.0)
        if check_number("gates.most_gates", self.most_gates, 0, 100) % 1:
            raise InputError(
                f"gates.most_gates is {self.most_gates}", hint="give a whole number from 0 to 100"
            )
        check_number("gates.web_mm", self.web_mm, 0.1, 50.0)
        check_number("gates.overlap_mm", self.overlap_mm, 0.05, 10.0)
        check_number("gates.slope_deg", self.slope_deg, 11.5, 89.0)
        check_number("gates.neck_share", self.neck_share, 0.2, 1.0)
        check_number("gates.neck_length_mm", self.neck_length_mm, 0.1, 20.0)
        check_number("gates.grid_mm", self.grid_mm, 0.1, 5.0)
        if self.least_mm > self.most_mm:
            raise InputError(
                f"gates.least_mm is {self.least_mm:g} and gates.most_mm is {self.most_mm:g}",
                hint="make least_mm the smaller one",
            )


@dataclass(frozen=True)
class Neck:
    """Where most of the head is lost on the way to a part.

    at_mm : its middle. diameter_mm : of the round channel of the same length and resistance.
    beyond_mm3 : volume that has to come through it.
    """

    at_mm: Point
    diameter_mm: float
    length_mm: float
    beyond_mm3: float


@dataclass(frozen=True)
class FedPart:
    """A part of the figure that the base does not feed well.

    volume_mm3, middle_mm : of the part. head_mm : of resin above its highest point.
    time_s : until it is full without a gate, None where it hangs on nothing.
    neck : what holds the resin up, None where it hangs on nothing.
    """

    volume_mm3: float
    middle_mm: Point
    head_mm: float
    time_s: float | None
    neck: Neck | None


@dataclass(frozen=True)
class Gate:
    """One rod on the master through which resin reaches a part.

    path_mm : corner points from the part upwards in the pour, standing frame.
    neck_mm, neck_length_mm : of its thinner end at the part.
    web_mm : least rubber beside it away from its ends, measured up to what was asked for.
    feeds : the part as it was without this gate.
    fill_time_s : until the part is full with all gates.
    reynolds, laminar : in the gate's neck under the full head, the most there can be.
    notes : where the flow model does not hold, a sentence each.
    foot_angle_deg, end_angle_deg : how far off square its ends are cut, as for vents.
    """

    path_mm: tuple[Point, ...]
    diameter_mm: float
    length_mm: float
    neck_mm: float
    neck_length_mm: float
    web_mm: float
    feeds: FedPart
    fill_time_s: float
    reynolds: float
    laminar: bool
    notes: tuple[str, ...]
    foot_angle_deg: float = 0.0
    end_angle_deg: float = 0.0

    @property
    def segments_mm(self) -> tuple[float, ...]:
        """Lengths between the corner points, from the figure upwards."""
        return segments_mm(self.path_mm)

    @property
    def joints_deg(self) -> tuple[float, ...]:
        """Bend at each inner corner point: 0 is straight on."""
        return joints_deg(self.path_mm)


@dataclass(frozen=True)
class FillTime:
    """How long the cavity takes to fill, gates and all, by the model of viscous flow.

    slowest_s : until the last part is full, None where one gets no resin. limit_s : time in which
    every part has to be full.
    neck : where most of the head is lost on the way to that part. reynolds, laminar : in there
    under the full head, the most there can be. All None where a part gets no resin.
    notes : where the model does not hold there, a sentence each.
    """

    slowest_s: float | None
    limit_s: float
    neck: Neck | None
    reynolds: float | None
    laminar: bool | None
    notes: tuple[str, ...]

    @property
    def in_time(self) -> bool:
        """Whether every part is full in time."""
        return self.slowest_s is not None and self.slowest_s <= self.limit_s
