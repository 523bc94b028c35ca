"""Choices for a mould: its box, where it is cut, and how its halves find each other again."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.checks import check_choice, check_direction, check_number, check_switch
from pourwright.errors import InputError

SHAPES = ("auto", "rectangular", "round")
PANEL_MATERIALS = ("card", "foam board", "acrylic")
REGISTERS = ("none", "wavy cut", "keys")
GUIDES = ("none", "raised", "engraved")


@dataclass(frozen=True)
class BoxSettings:
    """The box that rubber is poured into, mm.

    shape : "rectangular", "round" (a tube), or "auto" for whichever takes less rubber.
    wall_mm : least rubber beside the master (common practice: 10, within 6 to 12, no source).
    cover_mm : rubber over the master's highest point, the mould's floor once it is turned over.
    Below there is none to set: the master stands on the board.
    panel_material : what the walls are cut from; thickness_mm : of it.
    rim_mm : how far the walls stand above the fill line.
    margin : share of rubber mixed beyond the volume (common practice: 0.10 to 0.20, no source).
    round_up_mm : inner sizes and the fill line are rounded up to whole multiples of this.

    Raises InputError for a number out of range or a word that is not known.
    """

    shape: str = "auto"
    wall_mm: float = 10.0
    cover_mm: float = 10.0
    panel_material: str = "foam board"
    thickness_mm: float = 5.0
    rim_mm: float = 10.0
    margin: float = 0.15
    round_up_mm: float = 1.0

    def __post_init__(self) -> None:
        check_choice("box.shape", self.shape, SHAPES)
        check_number("box.wall_mm", self.wall_mm, 1.0, 200.0)
        check_number("box.cover_mm", self.cover_mm, 1.0, 200.0)
        check_choice("box.panel_material", self.panel_material, PANEL_MATERIALS)
        check_number("box.thickness_mm", self.thickness_mm, 0.1, 50.0)
        check_number("box.rim_mm", self.rim_mm, 0.0, 300.0)
        check_number("box.margin", self.margin, 0.0, 1.0)
        check_number("box.round_up_mm", self.round_up_mm, 0.01, 50.0)


@dataclass(frozen=True)
class CutSettings:
    """Where the knife goes.

    opening_deg : direction in which the mould opens, level, turned from the front (-Y) towards
        the right (+X); None lets the least locked rubber decide.
    viewer : direction from the figure to who looks at it, None for a figure seen from all round.
    hinge_mm : how much stays uncut on one side, along the line from the base upwards.
    edge_mm : no step of the line is longer than about this.
    ridge, rod : how much cheaper a sharp ridge, or a rod, is: 0 not at all, 0.9 ten times.
    hidden, detail, protected, flat, outline : what surface adds to the price of a mm of line, in
        mm: facing the viewer; being a crease or rough; kept off by the user; away from the plane
        of the cut, per tenth of the figure's size; facing along the opening instead of across it.

    Raises InputError for a number out of range.
    """

    opening_deg: float | None = None
    viewer: tuple[float, float, float] | None = (0.0, -1.0, 0.0)
    hinge_mm: float = 15.0
    edge_mm: float = 1.0
    ridge: float = 0.6
    rod: float = 0.7
    hidden: float = 1.5
    detail: float = 2.0
    protected: float = 20.0
    flat: float = 0.5
    outline: float = 1.5

    def __post_init__(self) -> None:
        if self.opening_deg is not None:
            check_number("cut.opening_deg", self.opening_deg, -360.0, 360.0)
        if self.viewer is not None:
            check_direction("cut.viewer", self.viewer)
        check_number("cut.hinge_mm", self.hinge_mm, 0.0, 1000.0)
        check_number("cut.edge_mm", self.edge_mm, 0.05, 20.0)
        check_number("cut.ridge", self.ridge, 0.0, 0.9)
        check_number("cut.rod", self.rod, 0.0, 0.9)
        for name in ("hidden", "detail", "protected", "flat", "outline"):
            check_number(f"cut.{name}", getattr(self, name), 0.0, 1000.0)


@dataclass(frozen=True)
class KeySettings:
    """How the halves of the cut mould find each other again.

    kind : "none", "wavy cut" (the knife swings from side to side on its way out), or "keys"
        (half balls on the box walls that leave dents in the rubber).
    amplitude_mm, wavelength_mm : of the wave at the outside of the block; at the master it is 0.
    diameter_mm : of a key (common practice: 5 to 10, rounded, asymmetric, no source).

    Raises InputError for a number out of range or a word that is not known.
    """

    kind: str = "wavy cut"
    amplitude_mm: float = 3.0
    wavelength_mm: float = 20.0
    diameter_mm: float = 8.0

    def __post_init__(self) -> None:
        check_choice("registration.kind", self.kind, REGISTERS)
        check_number("registration.amplitude_mm", self.amplitude_mm, 0.1, 50.0)
        check_number("registration.wavelength_mm", self.wavelength_mm, 1.0, 500.0)
        check_number("registration.diameter_mm", self.diameter_mm, 1.0, 50.0)
        if self.wavelength_mm < 2 * self.amplitude_mm:
            raise InputError(
                f"registration.wavelength_mm is {self.wavelength_mm:g} with an amplitude of "
                f"{self.amplitude_mm:g} mm",
                hint="make the wave at least twice as long as its amplitude, or the knife cannot",
            )


@dataclass(frozen=True)
class GuideSettings:
    """A line on the master that leads the knife, off unless asked for.

    kind : "none", "raised" (leaves a groove in the rubber) or "engraved" (leaves a ridge).
    width_mm : of the line; it stands out, or is sunk, by half of that.
    figure_too : False draws it on base and funnel only, so that casts need no cleaning.

    Raises InputError for a number out of range or a word that is not known.
    """

    kind: str = "none"
    width_mm: float = 0.6
    figure_too: bool = True

    def __post_init__(self) -> None:
        check_choice("guide.kind", self.kind, GUIDES)
        check_number("guide.width_mm", self.width_mm, 0.1, 5.0)
        check_switch("guide.figure_too", self.figure_too)
