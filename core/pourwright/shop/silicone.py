"""Mould rubbers: presets, and how much of each part to weigh out.

A rubber is mixed by the same sums as a resin, so it is one, with what matters in a mould besides.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources

from pourwright.checks import check_choice, check_number
from pourwright.errors import InputError
from pourwright.shop.resin import Resin, read_presets

CURES = ("condensation", "addition")


@dataclass(frozen=True)
class Silicone(Resin):
    """A mould rubber; a product's data sheet overrides every number here.

    Fields are those of `shop.resin.Resin`, and demould_min is the cure time at room temperature.
    cures_by : "condensation" or "addition". shore_a : hardness, None where unknown.
    inhibited_by : what keeps it from curing, in words; empty where nothing known does.

    Raises InputError for a value that no mould rubber has.
    """

    cures_by: str = "condensation"
    shore_a: float | None = None
    inhibited_by: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        check_choice(f"{self.name}.cures_by", self.cures_by, CURES)
        if self.shore_a is not None:
            check_number(f"{self.name}.shore_a", self.shore_a, 0.0, 100.0)
        if not isinstance(self.inhibited_by, str):
            raise InputError(f"{self.name}.inhibited_by is no text", hint="give a text in quotes")


def read_silicones(text: str, where: str) -> dict[str, Silicone]:
    """Return the presets in a TOML text, one table each, by name, in the text's order.

    `where` names the text in messages. Raises InputError that names the table and key for
    broken TOML, an unknown or missing key, a wrong type or a number out of range.
    """
    return read_presets(text, where, Silicone, needed=("cures_by",))


@cache
def _presets() -> dict[str, Silicone]:
    text = resources.files("pourwright.shop").joinpath("silicones.toml").read_text("utf-8")
    return read_silicones(text, "silicones.toml")


def silicones() -> dict[str, Silicone]:
    """Return the presets by name; the dict is the caller's own."""
    return dict(_presets())


def silicone_named(name: str) -> Silicone:
    """Return the preset of that name; InputError lists the names there are."""
    if not isinstance(name, str) or name not in _presets():
        raise InputError(
            f"There is no silicone '{name}'", hint="choose one of " + ", ".join(_presets())
        )
    return _presets()[name]
