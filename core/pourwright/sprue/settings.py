"""Settings of sprue bases and funnels, mm."""

from __future__ import annotations

import reprlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from pourwright.checks import check_choice, check_number, check_switch, check_table, check_text
from pourwright.errors import InputError
from pourwright.sprue.catalogue import BASE_KINDS, CATALOGUE, BaseKind, Parameter

__all__ = [
    "BASE_KINDS", "PLACES", "TEXT_STYLES", "BaseSettings", "FunnelSettings", "OwnBaseSettings",
    "SocketSettings", "kind_named",
]  # fmt: skip

TEXT_STYLES = {
    "cut": "Letters cut into the face",
    "raised": "Letters standing on the face",
}
PLACES = {
    "as_is": "Where it stands now",
    "under": "Moved under the figure's feet",
}
_MOST_CHARACTERS = 200
_SEEDS = 2**32

Extras = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class BaseSettings:
    """A base the figure stands on.

    kind : a name in `catalogue.CATALOGUE`.
    width_mm, depth_mm : of the face the figure stands on, along x and y, None to size it from the
        figure; what they are on each kind is in the catalogue. Round kinds take width_mm as their
        diameter.
    height_mm : from that face to the rim of the underside, None for what suits the kind.
    embed_mm : how deep the figure's lowest point sinks into the base.
    margin_mm : face kept free round the figure's feet when sized from the figure.
    draft_deg : the sides lean inwards towards the top by this angle.
    crown_deg : slope of a closed underside towards the funnel, so that air runs there.
    rounding_mm : radius of the upper edges, as far as the base has room for it; 0 for sharp ones.
    seed : which of its shapes a scenic base takes; a whole number.
    text : what is written on the base, with line breaks; empty for nothing.
    text_face : a face of the kind, "" for the usual one. text_style : "cut" or "raised".
    text_depth_mm : depth of cut letters, height of raised ones.
    text_height_mm : height of capitals, None for what fits.
    smallest_line_mm : thinnest line that the printer and the mould still show; letters never get
        smaller than that allows. 0.4 mm: common practice, no source.
    extras : the kind's own parameters by name, kept as sorted pairs of those that are not default.

    Raises InputError for an unknown kind, face or parameter and for a value out of range.
    """

    kind: str = "round_plinth"
    width_mm: float | None = None
    depth_mm: float | None = None
    height_mm: float | None = None
    embed_mm: float = 1.0
    margin_mm: float = 4.0
    draft_deg: float = 5.0
    crown_deg: float = 5.0
    rounding_mm: float = 0.8
    seed: int = 0
    text: str = ""
    text_face: str = ""
    text_style: str = "cut"
    text_depth_mm: float = 0.6
    text_height_mm: float | None = None
    smallest_line_mm: float = 0.4
    extras: Mapping[str, float] | Extras = ()

    def __post_init__(self) -> None:
        check_choice("base.kind", self.kind, BASE_KINDS)
        for name, low, high, optional in _RANGES:
            value = getattr(self, name)
            if not (optional and value is None):
                check_number(f"base.{name}", value, low, high)
        _check_whole("base.seed", self.seed, 0, _SEEDS - 1)
        object.__setattr__(self, "seed", int(self.seed))
        _check_text(self)
        object.__setattr__(self, "extras", _checked_extras(self.about, self.extras))
        if self.embed_mm >= self.top_mm:
            raise InputError(
                f"base.embed_mm is {self.embed_mm:g} and base.height_mm is {self.top_mm:g}",
                hint="the figure must end inside the base: make embed_mm the smaller one",
            )

    @property
    def about(self) -> BaseKind:
        """What the catalogue says of this kind."""
        return CATALOGUE[self.kind]

    @property
    def top_mm(self) -> float:
        """Height of the face the figure stands on above the rim of the underside."""
        return self.about.height_mm if self.height_mm is None else float(self.height_mm)

    @property
    def face(self) -> str:
        """The face that takes the text."""
        return self.text_face or self.about.faces[0]

    def extra(self, name: str) -> float:
        """Return one of the kind's own parameters, as given or else its default."""
        declared = self.about.parameter(name)
        if declared is None:
            raise KeyError(name)
        return dict(self.extras).get(name, declared.default)

    def table(self) -> dict[str, Any]:
        """Return every setting as in a job file's [base] table, the kind's own ones included."""
        values = asdict(self)
        del values["extras"]
        own = {p.name: self.extra(p.name) for p in self.about.parameters}
        return {key: value for key, value in (values | own).items() if value is not None}

    @classmethod
    def from_table(cls, table: object) -> BaseSettings:
        """Return the settings in a job file's [base] table.

        The kind's own parameters stand beside the common ones. Kinds are known with - as well.
        Raises InputError that names the key and what is allowed.
        """
        given = table.get("kind", cls.kind) if isinstance(table, dict) else cls.kind
        kind = kind_named(check_text("base.kind", given))
        common = [f.name for f in fields(cls) if f.name != "extras"]
        own = [p.name for p in CATALOGUE[kind].parameters]
        values = dict(check_table("base", table, common + own))
        extras = {name: values.pop(name) for name in own if name in values}
        return cls(**(values | {"kind": kind, "extras": extras}))  # type: ignore[arg-type]


def kind_named(name: str) -> str:
    """Return the kind of base that `name` means, with - or _; InputError lists what there is."""
    kind = name.strip().lower().replace("-", "_")
    if kind not in CATALOGUE:
        raise InputError(
            f"There is no base {reprlib.repr(name)}",
            hint="choose one of " + ", ".join(k.replace("_", "-") for k in CATALOGUE),
        )
    return kind


# Name, lowest, highest, and whether it may be left to be chosen.
_RANGES = (
    ("width_mm", 1.0, 2000.0, True),
    ("depth_mm", 1.0, 2000.0, True),
    ("height_mm", 0.5, 500.0, True),
    ("embed_mm", 0.05, 100.0, False),
    ("margin_mm", 0.0, 200.0, False),
    ("draft_deg", 0.0, 30.0, False),
    ("crown_deg", 0.0, 30.0, False),
    ("rounding_mm", 0.0, 50.0, False),
    ("text_depth_mm", 0.1, 20.0, False),
    ("text_height_mm", 0.5, 500.0, True),
    ("smallest_line_mm", 0.02, 10.0, False),
)


def _check_whole(name: str, value: object, low: int, high: int) -> None:
    number = check_number(name, value, low, high)
    if number != int(number):
        raise InputError(f"{name} is {number:g}", hint=f"give a whole number from {low} to {high}")


def _check_text(settings: BaseSettings) -> None:
    text = settings.text
    if not isinstance(text, str):
        raise InputError(f"base.text is {reprlib.repr(text)}", hint="give a text in quotes")
    if len(text) > _MOST_CHARACTERS:
        raise InputError(
            f"base.text has {len(text)} characters", hint=f"give {_MOST_CHARACTERS} at most"
        )
    check_choice("base.text_style", settings.text_style, TEXT_STYLES)
    if settings.text_face != "":
        check_choice("base.text_face", settings.text_face, settings.about.faces)


def _checked_extras(kind: BaseKind, given: object) -> Extras:
    """Return the kind's own parameters as sorted pairs; InputError for what it has not."""
    try:
        values = dict(given)  # type: ignore[call-overload]
    except (TypeError, ValueError):
        raise InputError(
            f"base.extras is {reprlib.repr(given)}", hint="give parameters by name"
        ) from None
    for name, value in values.items():
        declared = kind.parameter(name) if isinstance(name, str) else None
        if declared is None:
            known = ", ".join(p.name for p in kind.parameters) or "none"
            raise InputError(
                f"base.{name} is not known for {kind.name}", hint=f"its own parameters are {known}"
            )
        _check_parameter(declared, value)
    kept = ((name, float(value)) for name, value in sorted(values.items()))
    return tuple(pair for pair in kept if pair[1] != _default(kind, pair[0]))


def _default(kind: BaseKind, name: str) -> float:
    return next(p.default for p in kind.parameters if p.name == name)


def _check_parameter(declared: Parameter, value: object) -> None:
    name = f"base.{declared.name}"
    if declared.whole:
        _check_whole(name, value, int(declared.low), int(declared.high))
    else:
        check_number(name, value, declared.low, declared.high)


@dataclass(frozen=True)
class FunnelSettings:
    """The pour opening under the base.

    enabled : False leaves the base's whole underside open in the mould top plane.
    mouth_mm, neck_mm : diameters at the mould top plane and where it is broken off. Where a base
        ends narrower than the neck, as a stake or a hook does, the neck takes that width.
    height_mm : from the base's rim to the mould top plane, the head of resin.
    head_mm : of resin that has to stand above the neck still when the resin has set; 3 mm: common
        practice, no source.

    Raises InputError for a number out of range and for a neck wider than the mouth.
    """

    enabled: bool = True
    mouth_mm: float = 25.0
    neck_mm: float = 12.0
    height_mm: float = 15.0
    head_mm: float = 3.0

    def __post_init__(self) -> None:
        check_switch("funnel.enabled", self.enabled)
        check_number("funnel.mouth_mm", self.mouth_mm, 1.0, 500.0)
        check_number("funnel.neck_mm", self.neck_mm, 1.0, 500.0)
        check_number("funnel.height_mm", self.height_mm, 0.5, 500.0)
        check_number("funnel.head_mm", self.head_mm, 0.0, 500.0)
        if self.neck_mm > self.mouth_mm:
            raise InputError(
                f"funnel.neck_mm is {self.neck_mm:g} and funnel.mouth_mm is {self.mouth_mm:g}",
                hint="a funnel narrows from its mouth to its neck: make neck_mm the smaller one",
            )


@dataclass(frozen=True)
class OwnBaseSettings:
    """How a body of the user's becomes the base.

    place : "as_is", or "under" to move it below the figure's feet. embed_mm : how deep the figure
    sinks in when it is moved. cut_mm : height above the body's lowest point at which to cut it
    level for a pour side; None cuts only where there is none, as low as will do.

    Raises InputError for values out of range.
    """

    place: str = "under"
    embed_mm: float = 1.0
    cut_mm: float | None = None

    def __post_init__(self) -> None:
        check_choice("own_base.place", self.place, PLACES)
        check_number("own_base.embed_mm", self.embed_mm, 0.05, 100.0)
        if self.cut_mm is not None:
            check_number("own_base.cut_mm", self.cut_mm, 0.01, 2000.0)


@dataclass(frozen=True)
class SocketSettings:
    """A socket in the base for the feet of a figure that exists.

    enabled : base, rods and funnel are a part of their own, which the figure is put into.
    clearance_mm : gap all round the feet, for wax or glue (common practice: 0.1 to 0.3, no source).
    depth_mm : height of the figure's lowest part that goes in, None for as deep as it is sunk.
    draft_deg : the socket's walls lean outwards by this angle.

    Raises InputError for a number out of range.
    """

    enabled: bool = False
    clearance_mm: float = 0.2
    depth_mm: float | None = None
    draft_deg: float = 0.0

    def __post_init__(self) -> None:
        check_switch("socket.enabled", self.enabled)
        check_number("socket.clearance_mm", self.clearance_mm, 0.02, 5.0)
        if self.depth_mm is not None:
            check_number("socket.depth_mm", self.depth_mm, 0.1, 200.0)
        check_number("socket.draft_deg", self.draft_deg, 0.0, 30.0)
