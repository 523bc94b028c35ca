"""Choices for a mould: its box, where it is cut, and how its halves find each other again."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, fields
from typing import Any

from pourwright.checks import (
    check_choice,
    check_direction,
    check_number,
    check_switch,
    check_table,
    check_text,
)
from pourwright.errors import InputError, Point
from pourwright.shop.silicone import silicone_named

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
        check_choice("mould.box.shape", self.shape, SHAPES)
        check_number("mould.box.wall_mm", self.wall_mm, 1.0, 200.0)
        check_number("mould.box.cover_mm", self.cover_mm, 1.0, 200.0)
        check_choice("mould.box.panel_material", self.panel_material, PANEL_MATERIALS)
        check_number("mould.box.thickness_mm", self.thickness_mm, 0.1, 50.0)
        check_number("mould.box.rim_mm", self.rim_mm, 0.0, 300.0)
        check_number("mould.box.margin", self.margin, 0.0, 1.0)
        check_number("mould.box.round_up_mm", self.round_up_mm, 0.01, 50.0)


@dataclass(frozen=True)
class CutSettings:
    """Where the knife goes.

    opening_deg : direction in which the mould opens, level, turned from the front (-Y) towards
        the right (+X); None lets the least locked rubber decide.
    viewer : direction from the figure to who looks at it, None, in a job file [], for a figure
        seen from all round.
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
    flat: float = 1.5
    outline: float = 1.5

    def __post_init__(self) -> None:
        if self.opening_deg is not None:
            check_number("mould.cut.opening_deg", self.opening_deg, -360.0, 360.0)
        if self.viewer is not None:
            check_direction("mould.cut.viewer", self.viewer)
        check_number("mould.cut.hinge_mm", self.hinge_mm, 0.0, 1000.0)
        check_number("mould.cut.edge_mm", self.edge_mm, 0.05, 20.0)
        check_number("mould.cut.ridge", self.ridge, 0.0, 0.9)
        check_number("mould.cut.rod", self.rod, 0.0, 0.9)
        for name in ("hidden", "detail", "protected", "flat", "outline"):
            check_number(f"mould.cut.{name}", getattr(self, name), 0.0, 1000.0)


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
        check_choice("mould.registration.kind", self.kind, REGISTERS)
        check_number("mould.registration.amplitude_mm", self.amplitude_mm, 0.1, 50.0)
        check_number("mould.registration.wavelength_mm", self.wavelength_mm, 1.0, 500.0)
        check_number("mould.registration.diameter_mm", self.diameter_mm, 1.0, 50.0)
        if self.wavelength_mm < 2 * self.amplitude_mm:
            raise InputError(
                f"mould.registration.wavelength_mm is {self.wavelength_mm:g} with an amplitude of "
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
        check_choice("mould.guide.kind", self.kind, GUIDES)
        check_number("mould.guide.width_mm", self.width_mm, 0.1, 5.0)
        check_switch("mould.guide.figure_too", self.figure_too)


@dataclass(frozen=True)
class Through:
    """A place that the cut line has to pass, standing frame, mm.

    name, side : as plan.json gives them with its way points; a place of the user's own has any
    name and the side it lies on, +1 or -1 along the plane of the cut.

    Raises InputError for a place that is no point and a side that is none.
    """

    name: str
    at_mm: Point
    side: int = 0

    def __post_init__(self) -> None:
        check_text("mould.way_points.name", self.name)
        if len(self.at_mm) != 3:
            raise InputError(
                f"mould.way_points '{self.name}' has {len(self.at_mm)} numbers",
                hint="give x, y and z",
            )
        for value in self.at_mm:
            check_number(f"mould.way_points '{self.name}'", value, -1e5, 1e5)
        check_choice("mould.way_points.side", str(self.side), ("-1", "0", "1"))


@dataclass(frozen=True)
class MouldSettings:
    """All choices for one mould; its fields are the keys of a job file's [mould] tables.

    enabled : False plans no mould. silicone : name of a preset. way_points : places that the cut
    line passes, in its order round; empty for those that the shape suggests.

    Raises InputError for a silicone that is not known; its parts check themselves.
    """

    enabled: bool = True
    silicone: str = "condensation"
    box: BoxSettings = field(default_factory=BoxSettings)
    cut: CutSettings = field(default_factory=CutSettings)
    registration: KeySettings = field(default_factory=KeySettings)
    guide: GuideSettings = field(default_factory=GuideSettings)
    way_points: tuple[Through, ...] = ()

    def __post_init__(self) -> None:
        check_switch("mould.enabled", self.enabled)
        if 0 < len(self.way_points) < 3:
            raise InputError(
                f"mould.way_points has {len(self.way_points)} places", hint="give three or none"
            )
        silicone_named(self.silicone)
        for name, kind in _PARTS.items():
            value = getattr(self, name)
            if not isinstance(value, kind):
                raise InputError(
                    f"mould.{name} is a {type(value).__name__}", hint=f"give a {kind.__name__}"
                )

    def table(self) -> dict[str, Any]:
        """Return every setting that is not None as a [mould] table."""
        flat = asdict(self)
        flat["way_points"] = [w | {"at_mm": list(w["at_mm"])} for w in flat["way_points"]]
        for part in _PARTS:
            flat[part] = {
                key: list(value) if isinstance(value, tuple) else value
                for key, value in flat[part].items()
                if value is not None
            }
        if self.cut.viewer is None:
            flat["cut"]["viewer"] = []
        return flat

    @classmethod
    def from_table(cls, table: object) -> MouldSettings:
        """Return the settings of a [mould] table; what it leaves out keeps its default.

        Raises InputError that names the table and key, and what is allowed there.
        """
        values = dict(check_table("mould", table, [f.name for f in fields(cls)]))
        for name, kind in _PARTS.items():
            known = [f.name for f in fields(kind)]
            own = dict(check_table(f"mould.{name}", values.get(name, {}), known))
            if own.get("viewer") == []:
                own["viewer"] = None
            elif "viewer" in own:
                own["viewer"] = check_direction(f"mould.{name}.viewer", own["viewer"])
            values[name] = kind(**own)
        places = values.get("way_points", [])
        if not isinstance(places, list | tuple):
            raise InputError("mould.way_points is no list", hint="write [[mould.way_points]]")
        values["way_points"] = tuple(_through(place) for place in places)
        return cls(**values)  # type: ignore[arg-type]


def _through(table: object) -> Through:
    values = dict(check_table("mould.way_points", table, ("name", "at_mm", "side")))
    missing = [key for key in ("name", "at_mm") if key not in values]
    if missing or not isinstance(values["at_mm"], list | tuple):
        raise InputError(
            "mould.way_points lacks a name or a place", hint="give name = '...', at_mm = [x, y, z]"
        )
    return Through(values["name"], tuple(values["at_mm"]), values.get("side", 0))  # type: ignore[arg-type]


_PARTS: dict[str, Any] = {
    "box": BoxSettings, "cut": CutSettings, "registration": KeySettings, "guide": GuideSettings,
}  # fmt: skip
