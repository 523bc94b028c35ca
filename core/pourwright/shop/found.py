"""What was predicted against what was found: bubbles in casts, pockets and vents of the plan."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pourwright.checks import check_number
from pourwright.errors import Point

# A bubble wanders a little before the resin gels: common practice, no source.
NEAR_MM = 4.0


@dataclass(frozen=True)
class Predicted:
    """A place where the plan knew of air: the high point of a pocket or the foot of a vent.

    kind : "left" for a pocket that the plan leaves, "harmless" for one too small to matter,
    "vented" for one whose air a vent takes away. name : what people call it, "pocket 3".
    """

    kind: str
    at_mm: Point
    name: str


def predicted_places(plan: Mapping[str, Any]) -> list[Predicted]:
    """Return where a plan knew of air: what it leaves, and the foot of every vent.

    plan : data of a plan.json.
    """
    left = [
        Predicted(
            "left" if pocket.get("matters") else "harmless",
            _point(pocket["peak_mm"]),
            f"pocket {i} of the finished master",
        )
        for i, pocket in enumerate(plan["pockets_after"], start=1)
    ]
    return left + [
        Predicted("vented", _point(vent["path_mm"][0]), f"vent {i}")
        for i, vent in enumerate(plan["vents"], start=1)
    ]


def _point(place: Sequence[float]) -> Point:
    x, y, z = place
    return (x, y, z)


@dataclass(frozen=True)
class Match:
    """A bubble's number and the nearest place predicted within the distance, or None."""

    bubble: int
    at_mm: Point
    place: Predicted | None
    distance_mm: float | None


@dataclass(frozen=True)
class Comparison:
    """Bubbles with what was predicted there, and pockets left by the plan where none was found.

    words : the result in a sentence or two.
    """

    matches: tuple[Match, ...]
    not_found: tuple[Predicted, ...]

    def count(self, kind: str | None) -> int:
        """Bubbles at a place of that kind; None for those where nothing was predicted."""
        return sum((m.place.kind if m.place else None) == kind for m in self.matches)

    @property
    def words(self) -> str:
        """The result in words."""
        if not self.matches:
            return "No bubbles were found" + (
                f", though the plan left {len(self.not_found)}" if self.not_found else ""
            )
        said = [
            (self.count("left"), "where the plan left air"),
            (self.count("vented"), "at a vent, which did not draw: too narrow, blocked, or the "
             "resin gelled first"),
            (self.count("harmless"), "in a pocket that was counted as too small to matter: check "
             "the pressure"),
            (self.count(None), "where nothing was predicted: stirred in, or from the rubber"),
        ]  # fmt: skip
        return "; ".join(f"{number} {words}" for number, words in said if number)


def compare(
    bubbles_mm: Sequence[Point], places: Sequence[Predicted], near_mm: float = NEAR_MM
) -> Comparison:
    """Match bubbles with the nearest place that the plan knew of.

    bubbles_mm : in the frame of the plan. near_mm : a bubble further from every place than this
    was not predicted. Raises InputError for a distance out of range.
    """
    check_number("The distance in mm", near_mm, 0.0, 1e4)
    matches = []
    hit: set[int] = set()
    for number, at in enumerate(bubbles_mm):
        order = sorted(range(len(places)), key=lambda i: math.dist(places[i].at_mm, at))
        if order and math.dist(places[order[0]].at_mm, at) <= near_mm:
            nearest = places[order[0]]
            hit.add(order[0])
            matches.append(Match(number, at, nearest, math.dist(nearest.at_mm, at)))
        else:
            matches.append(Match(number, at, None, None))
    missed = tuple(p for i, p in enumerate(places) if p.kind == "left" and i not in hit)
    return Comparison(tuple(matches), missed)
