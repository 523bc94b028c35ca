"""What a pose is judged by, and which poses are tried."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from pourwright.checks import check_direction, check_number
from pourwright.errors import InputError


@dataclass(frozen=True)
class PoseWeights:
    """Points that each thing costs a pose; the pose with the fewest points is the best.

    pocket : each air pocket that matters. residual_mm3 : each mm3 of air left in the cast.
    rod : each vent rod that the pose needs. rod_mm : each mm of rod.
    height_mm : each mm of the figure's height along the pour. footprint_cm2 : each cm2 of its
    outline's bounding box on the board. protected : each rod that starts on fully protected
    surface, and such surface in the base. misfit_mm : each mm by which the figure does not fit the
    pot that was given.

    The defaults are common practice, no source. A rod must be made, broken off and its scar
    cleaned, and its pocket may fail all the same: 2 + 1. Vented air is gone, so what a pocket
    would leave counts little, 100 mm3 as much as a pocket: next to nothing under vacuum, and the
    tie-breaker between large and small pockets poured openly. 50 mm of rod or 20 mm of height
    (more rubber, more head) weigh as much as a pocket, and so do 10 cm2 of board. Five rods are
    better than one on a face, and what does not fit the pot cannot be cast.

    Raises InputError for a negative weight.
    """

    pocket: float = 1.0
    residual_mm3: float = 0.01
    rod: float = 2.0
    rod_mm: float = 0.02
    height_mm: float = 0.05
    footprint_cm2: float = 0.1
    protected: float = 10.0
    misfit_mm: float = 5.0

    def __post_init__(self) -> None:
        for f in fields(self):
            check_number(f"pose.weights.{f.name}", getattr(self, f.name), 0.0, 1e6)


@dataclass(frozen=True)
class PoseSettings:
    """Which pour directions are tried and how they are judged.

    directions : how many directions the sweep spreads evenly over the cone; those that the
    figure's shape suggests come on top, unless only one is asked for.
    axis : middle of the cone, points up in the pour, standing frame (default: poured through the
    base as the figure stands). cone_deg : half angle of the cone; 180 is every direction.
    keep : poses in the ranking. pot_height_mm, pot_diameter_mm : room inside the pressure pot for
    the figure itself, None where it does not matter.

    Raises InputError for a number out of range.
    """

    directions: int = 500
    cone_deg: float = 180.0
    axis: tuple[float, float, float] = (0.0, 0.0, -1.0)
    keep: int = 8
    pot_height_mm: float | None = None
    pot_diameter_mm: float | None = None
    weights: PoseWeights = field(default_factory=PoseWeights)

    def __post_init__(self) -> None:
        check_direction("pose.axis", self.axis)
        if not isinstance(self.weights, PoseWeights):
            raise InputError(
                f"pose.weights is {self.weights!r}", hint="make it a table: [pose.weights]"
            )
        check_number("pose.cone_deg", self.cone_deg, 0.0, 180.0)
        for name, low, high in (("directions", 1, 100_000), ("keep", 1, 100)):
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
                raise InputError(
                    f"pose.{name} is {value!r}", hint=f"give a whole number from {low} to {high}"
                )
        for name in ("pot_height_mm", "pot_diameter_mm"):
            if getattr(self, name) is not None:
                check_number(f"pose.{name}", getattr(self, name), 1.0, 10_000.0)
