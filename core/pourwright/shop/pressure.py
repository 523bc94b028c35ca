"""Pressures as gauges show them, and the absolute ones that trapped air knows.

Inside, every pressure is absolute and in pascal. What people read is one of three things: absolute,
gauge (above the air round the gauge) or vacuum (below it). The last two mean different pressures on
a mountain and at the sea, so none is ever taken without its label and the air it was read in.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pourwright.checks import check_choice, check_number
from pourwright.errors import InputError
from pourwright.shop.process import ATMOSPHERE_PA, INHG_PA, PSI_PA

UNITS_PA = {"Pa": 1.0, "kPa": 1_000.0, "bar": 100_000.0, "psi": PSI_PA, "inHg": INHG_PA}
REFERENCES = ("absolute", "gauge", "vacuum")

# From below the Dead Sea to the highest towns; the formula holds up to 11 km.
ALTITUDE_RANGE_M = (-500.0, 6_000.0)
# From a very good rotary pump to far beyond any casting pot.
ABSOLUTE_RANGE_PA = (1.0, 5_000_000.0)
_READING = (0.0, 1e7)

# ISO 2533: 288.15 K at sea level, 6.5 K less each km, g / (R L) = 9.80665 / (287.05287 * 0.0065).
_LAPSE_PER_M = 0.0065 / 288.15
_EXPONENT = 9.80665 / (287.05287 * 0.0065)

_LABELS = {
    "a": "absolute", "abs": "absolute", "absolute": "absolute",
    "g": "gauge", "gauge": "gauge",
    "v": "vacuum", "vac": "vacuum", "vacuum": "vacuum",
}  # fmt: skip
_BY_LOWER_CASE = {unit.lower(): unit for unit in UNITS_PA}
_TEXT = re.compile(
    r"\s*(?P<value>[-+]?[\d.]+(?:e[-+]?\d+)?)\s*(?P<unit>kpa|pa|bar|psi|inhg)\s*(?P<label>[a-z]*)\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Pressure:
    """A reading: its number, unit (`UNITS_PA`) and what it is counted from (`REFERENCES`).

    Raises InputError for a number that is negative or not finite and for other words. A pressure
    below the air's is a reading of vacuum, not a negative gauge one.
    """

    value: float
    unit: str
    reference: str

    def __post_init__(self) -> None:
        check_choice("The unit of pressure", self.unit, UNITS_PA)
        check_choice("A pressure's label", self.reference, REFERENCES)
        try:
            check_number("A pressure", self.value, *_READING)
        except InputError as error:
            raise InputError(
                error.what, hint=f"{error.hint}; below the air it is a reading of vacuum"
            ) from None

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit} {self.reference}"

    def absolute_pa(self, ambient_pa: float = ATMOSPHERE_PA) -> float:
        """Return the absolute pressure where the air has `ambient_pa`.

        Raises InputError for a vacuum that cannot be had there, saying what can, and for a
        pressure that no casting pot has.
        """
        pa = self.value * UNITS_PA[self.unit]
        if self.reference == "vacuum":
            if pa > ambient_pa - ABSOLUTE_RANGE_PA[0]:
                raise InputError(
                    f"{self.value:g} {self.unit} of vacuum cannot be reached where the air has "
                    f"{ambient_pa / 1000:.1f} kPa",
                    hint="a perfect pump would show "
                    f"{_shown(ambient_pa, self.unit)} {self.unit} there; give the gauge's reading "
                    "at that place or an absolute pressure",
                )
            return ambient_pa - pa
        absolute = pa if self.reference == "absolute" else ambient_pa + pa
        check_number(f"{self} as absolute pressure in Pa", absolute, *ABSOLUTE_RANGE_PA)
        return absolute


def parse_pressure(text: str) -> Pressure:
    """Return the reading in a text like "60 psi gauge", "60 psig", "29 inHg vacuum", "3 kPa abs".

    Raises InputError for other texts, and for one without a label: 3 bar gauge is 4 bar absolute.
    """
    hint = "write it like '60 psi gauge', '29 inHg vacuum' or '410 kPa absolute'"
    found = _TEXT.fullmatch(text)
    if found is None:
        raise InputError(f"'{text}' is no pressure", hint=hint)
    label = found["label"].lower()
    if not label:
        raise InputError(f"'{text}' does not say whether it is gauge or absolute", hint=hint)
    if label not in _LABELS:
        raise InputError(f"'{found['label']}' is no label of a pressure", hint=hint)
    try:
        value = float(found["value"])
    except ValueError:
        raise InputError(f"'{text}' is no pressure", hint=hint) from None
    return Pressure(value, _BY_LOWER_CASE[found["unit"].lower()], _LABELS[label])


def reading(pa: float, unit: str, reference: str, ambient_pa: float = ATMOSPHERE_PA) -> Pressure:
    """Return what a gauge shows of an absolute pressure; the way back from `absolute_pa`.

    Raises InputError for a gauge that cannot show it: vacuum above the air, gauge below it.
    """
    check_choice("The unit of pressure", unit, UNITS_PA)
    check_choice("A pressure's label", reference, REFERENCES)
    check_number("An absolute pressure in Pa", pa, *ABSOLUTE_RANGE_PA)
    counted = {"absolute": pa, "gauge": pa - ambient_pa, "vacuum": ambient_pa - pa}[reference]
    return Pressure(counted / UNITS_PA[unit], unit, reference)


def atmosphere_pa(altitude_m: float) -> float:
    """Return the air's pressure at an altitude by the standard atmosphere (ISO 2533).

    altitude_m : geopotential, which at 3 km differs from the height by 1.4 m. The weather moves
    the pressure by some per cent both ways. Raises InputError for an altitude out of range.
    """
    check_number("The altitude in m", altitude_m, *ALTITUDE_RANGE_M)
    return float(ATMOSPHERE_PA * (1.0 - _LAPSE_PER_M * altitude_m) ** _EXPONENT)


def _shown(pa: float, unit: str) -> str:
    return f"{pa / UNITS_PA[unit]:.3g}"
