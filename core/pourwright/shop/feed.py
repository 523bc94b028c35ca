"""What the funnel has to hold so that the cavity stays full while the resin sets."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pourwright.checks import check_number
from pourwright.shop.process import Process
from pourwright.shop.shrinkage import volume_shrinkage

_VOLUME_MM3 = (0.0, 1e12)
_SIZE_MM = (1e-3, 1e5)
# Funnels that are tried: up to this times as tall or as wide as the given one.
_MOST = 100.0


@dataclass(frozen=True)
class FunnelNeed:
    """Resin that the funnel has to give and to keep, mm3.

    shrinkage_mm3 : what the cavity loses while the resin sets.
    air_mm3 : room that trapped air makes when the pressure at cure squeezes it (Boyle).
    head_mm : height of resin that has to stand above the neck in the end.
    """

    shrinkage_mm3: float
    air_mm3: float
    head_mm: float

    @property
    def given_mm3(self) -> float:
        """What runs from the funnel into the cavity."""
        return self.shrinkage_mm3 + self.air_mm3


@dataclass(frozen=True)
class FunnelCheck:
    """Whether a funnel holds what it has to.

    holds_mm3 : of the whole funnel. kept_mm3 : its lowest part up to the head asked for.
    needed_mm3 : what is given and kept. enough : holds it.
    mouth_mm : mouth that would do at the same height and neck. height_mm : height that would do
    at the same mouth and neck. None where nothing up to a hundred times the size does.
    need : what it was compared with.
    """

    holds_mm3: float
    kept_mm3: float
    needed_mm3: float
    enough: bool
    mouth_mm: float | None
    height_mm: float | None
    need: FunnelNeed


def funnel_need(
    cavity_mm3: float,
    linear_shrinkage: float,
    pockets_mm3: Sequence[float],
    process: Process,
    head_mm: float,
) -> FunnelNeed:
    """Return what a funnel has to give and to keep.

    cavity_mm3 : figure, base, gates and vents, without the funnel. linear_shrinkage : of the
    resin, as a share. pockets_mm3 : air that is trapped when the resin closes round it; parts
    that vents drain hold none. head_mm : asked for above the neck in the end.

    All of the shrinkage counts, though what happens after the resin has gelled no longer draws
    on the funnel: an upper bound. Air that swells, under vacuum at cure, makes no room.
    Raises InputError for a number out of range.
    """
    check_number("The volume of the cavity in mm3", cavity_mm3, *_VOLUME_MM3)
    check_number("The head in mm", head_mm, 0.0, _SIZE_MM[1])
    for volume in pockets_mm3:
        check_number("The volume of a pocket in mm3", volume, *_VOLUME_MM3)
    squeezed = max(1.0 - process.residual_factor, 0.0)
    return FunnelNeed(
        shrinkage_mm3=cavity_mm3 * volume_shrinkage(linear_shrinkage),
        air_mm3=float(sum(pockets_mm3)) * squeezed,
        head_mm=float(head_mm),
    )


def check_funnel(
    need: FunnelNeed, neck_mm: float, mouth_mm: float, height_mm: float
) -> FunnelCheck:
    """Compare a need with a funnel: a frustum from its neck up to its mouth in the pour.

    neck_mm, mouth_mm : diameters, the neck not the wider one. height_mm : between them.
    Raises InputError for a size out of range.
    """
    check_number("The funnel's mouth in mm", mouth_mm, *_SIZE_MM)
    check_number("The funnel's neck in mm", neck_mm, _SIZE_MM[0], mouth_mm)
    check_number("The funnel's height in mm", height_mm, *_SIZE_MM)
    kept = _up_to(neck_mm, mouth_mm, height_mm, need.head_mm)
    needed = need.given_mm3 + kept
    holds = frustum_mm3(neck_mm, mouth_mm, height_mm)
    enough = holds >= needed * (1 - 1e-12)  # with a head above the mouth it is not
    return FunnelCheck(
        holds_mm3=holds,
        kept_mm3=kept,
        needed_mm3=needed,
        enough=enough,
        mouth_mm=mouth_mm if enough else _wide_enough(need, neck_mm, mouth_mm, height_mm),
        height_mm=height_mm if enough else _tall_enough(need, neck_mm, mouth_mm, height_mm),
        need=need,
    )


def frustum_mm3(low_mm: float, high_mm: float, height_mm: float) -> float:
    """Volume of a cone frustum of two end diameters; 3, 2, height 5 as radii holds 99.484."""
    a, b = low_mm / 2, high_mm / 2
    return math.pi * height_mm / 3 * (a * a + a * b + b * b)


def _up_to(neck_mm: float, mouth_mm: float, height_mm: float, head_mm: float) -> float:
    """Volume of the funnel from its neck up to a head; beyond its mouth it goes straight on."""
    inside = min(head_mm, height_mm)
    at_head = neck_mm + (mouth_mm - neck_mm) * inside / height_mm
    beyond = math.pi / 4 * mouth_mm**2 * (head_mm - inside)
    return frustum_mm3(neck_mm, at_head, inside) + beyond


def _spare_mm3(need: FunnelNeed, neck_mm: float, mouth_mm: float, height_mm: float) -> float:
    """What a funnel holds above the head asked for, less what it has to give."""
    above = frustum_mm3(neck_mm, mouth_mm, height_mm)
    return above - _up_to(neck_mm, mouth_mm, height_mm, need.head_mm) - need.given_mm3


def _wide_enough(
    need: FunnelNeed, neck_mm: float, mouth_mm: float, height_mm: float
) -> float | None:
    if need.head_mm >= height_mm:
        return None
    low, high = mouth_mm, _MOST * mouth_mm
    if _spare_mm3(need, neck_mm, high, height_mm) < 0:
        return None
    for _ in range(60):
        middle = (low + high) / 2
        enough = _spare_mm3(need, neck_mm, middle, height_mm) >= 0
        low, high = (low, middle) if enough else (middle, high)
    return high


def _tall_enough(
    need: FunnelNeed, neck_mm: float, mouth_mm: float, height_mm: float
) -> float | None:
    low, high = height_mm, _MOST * height_mm
    if need.head_mm > high or _spare_mm3(need, neck_mm, mouth_mm, high) < 0:
        return None
    for _ in range(60):
        middle = (low + high) / 2
        enough = middle >= need.head_mm and _spare_mm3(need, neck_mm, mouth_mm, middle) >= 0
        low, high = (low, middle) if enough else (middle, high)
    return high
