"""Settings of sprue bases and funnels, mm."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.checks import check_choice, check_number, check_switch
from pourwright.errors import InputError

BASE_KINDS = {
    "round_plinth": "Round plinth with sloping sides",
    "rectangular_plinth": "Rectangular plinth with sloping sides",
}


@dataclass(frozen=True)
class BaseSettings:
    """A base the figure stands on.

    kind : "round_plinth" or "rectangular_plinth".
    width_mm, depth_mm : along x and y at the top face, None to size it from the figure; a round
        plinth takes width_mm as its diameter.
    height_mm : from the top face to the rim of the underside.
    embed_mm : how deep the figure's lowest point sinks into the base.
    margin_mm : top face kept free round the figure's feet when sized from the figure.
    draft_deg : the sides lean inwards towards the top by this angle.
    crown_deg : slope of a closed underside towards the funnel, so that air runs there.

    Raises InputError for an unknown kind or a number out of range.
    """

    kind: str = "round_plinth"
    width_mm: float | None = None
    depth_mm: float | None = None
    height_mm: float = 6.0
    embed_mm: float = 1.0
    margin_mm: float = 4.0
    draft_deg: float = 5.0
    crown_deg: float = 5.0

    def __post_init__(self) -> None:
        check_choice("base.kind", self.kind, BASE_KINDS)
        for name, value in (("width_mm", self.width_mm), ("depth_mm", self.depth_mm)):
            if value is not None:
                check_number(f"base.{name}", value, 1.0, 2000.0)
        check_number("base.height_mm", self.height_mm, 0.5, 500.0)
        check_number("base.embed_mm", self.embed_mm, 0.05, 100.0)
        check_number("base.margin_mm", self.margin_mm, 0.0, 200.0)
        check_number("base.draft_deg", self.draft_deg, 0.0, 30.0)
        check_number("base.crown_deg", self.crown_deg, 0.0, 30.0)
        if self.embed_mm >= self.height_mm:
            raise InputError(
                f"base.embed_mm is {self.embed_mm:g} and base.height_mm is {self.height_mm:g}",
                hint="the figure must end inside the base: make embed_mm the smaller one",
            )


@dataclass(frozen=True)
class FunnelSettings:
    """The pour opening under the base.

    enabled : False leaves the base's whole underside open in the mould top plane.
    mouth_mm, neck_mm : diameters at the mould top plane and where it is broken off.
    height_mm : from the base's rim to the mould top plane, the head of resin.

    Raises InputError for a number out of range and for a neck wider than the mouth.
    """

    enabled: bool = True
    mouth_mm: float = 25.0
    neck_mm: float = 12.0
    height_mm: float = 15.0

    def __post_init__(self) -> None:
        check_switch("funnel.enabled", self.enabled)
        check_number("funnel.mouth_mm", self.mouth_mm, 1.0, 500.0)
        check_number("funnel.neck_mm", self.neck_mm, 1.0, 500.0)
        check_number("funnel.height_mm", self.height_mm, 0.5, 500.0)
        if self.neck_mm > self.mouth_mm:
            raise InputError(
                f"funnel.neck_mm is {self.neck_mm:g} and funnel.mouth_mm is {self.mouth_mm:g}",
                hint="a funnel narrows from its mouth to its neck: make neck_mm the smaller one",
            )
