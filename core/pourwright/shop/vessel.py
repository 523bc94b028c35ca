"""Pressure pots and vacuum chambers: does it fit, and what its maker marked on it.

Nothing here says that a vessel is safe. What can be told is that a pressure is above what is marked
on it, that nothing is marked, and how much energy the compressed air holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pourwright.checks import check_choice, check_number, check_text
from pourwright.errors import InputError
from pourwright.shop.pressure import UNITS_PA, Pressure
from pourwright.shop.process import ATMOSPHERE_PA

KINDS = {"pot": "pressure pot", "chamber": "vacuum chamber"}
# ASME PCC-2, App. II: the air outside, Pa, and (k - 1) / k of air and nitrogen.
_OUTSIDE_PA, _EXPONENT, _FACTOR = 101_000.0, 0.286, 2.5
_SIZE_MM = (10.0, 10_000.0)


@dataclass(frozen=True)
class Vessel:
    """A round pot or chamber: clear width and height inside, below the lid, mm.

    marked_most : pressure on its nameplate, a gauge reading; None where nothing is marked or known,
    and for a chamber, which never takes pressure.

    Raises InputError for numbers out of range and for a maximum that is no gauge pressure.
    """

    kind: str
    diameter_mm: float
    height_mm: float
    marked_most: Pressure | None = None
    name: str = "vessel"

    def __post_init__(self) -> None:
        check_choice("A vessel's kind", self.kind, KINDS)
        check_text("A vessel's name", self.name)
        check_number(f"The diameter of the {self.title} in mm", self.diameter_mm, *_SIZE_MM)
        check_number(f"The height of the {self.title} in mm", self.height_mm, *_SIZE_MM)
        if self.marked_most is not None and self.marked_most.reference != "gauge":
            raise InputError(
                f"The marked maximum is {self.marked_most}", hint="nameplates give gauge pressure"
            )

    @property
    def title(self) -> str:
        """What it is, in words."""
        return KINDS[self.kind]

    @property
    def volume_l(self) -> float:
        """Clear volume in litres."""
        return math.pi / 4 * self.diameter_mm**2 * self.height_mm / 1e6


@dataclass(frozen=True)
class Fit:
    """How moulds fit: `moulds` at least, `layers` of them; what is left over when negative lacks.

    spare_width_mm : of the diameter beyond what one mould needs. spare_height_mm : beyond one.
    """

    fits: bool
    moulds: int
    layers: int
    spare_width_mm: float
    spare_height_mm: float


def fit_moulds(vessel: Vessel, box_mm: Sequence[float], round_box: bool = False) -> Fit:
    """Return how many moulds of an outer size stand in a vessel, upright, in rows and layers.

    box_mm : (x, y, z), z along the pour; a round mould has its diameter as x and y. The count is
    what rows of equal moulds reach, a lower bound. Raises InputError for a size out of range.
    """
    if len(box_mm) != 3:
        raise InputError(f"A mould's size has {len(box_mm)} numbers", hint="give x, y and z")
    x, y, z = (check_number("A mould's size in mm", c, 0.1, 1e5) for c in box_mm)
    needed = max(x, y) if round_box else math.hypot(x, y)
    spare_width, spare_height = vessel.diameter_mm - needed, vessel.height_mm - z
    fits = spare_width >= -1e-9 and spare_height >= -1e-9
    layers = max(1, math.floor(vessel.height_mm / z + 1e-9)) if fits else 0
    if not fits:
        return Fit(False, 0, 0, spare_width, spare_height)
    # A round mould stands in the square round it: rows of squares, a lower bound again.
    one_layer = max(_in_rows(vessel.diameter_mm, *pair) for pair in ((x, y), (y, x)))
    return Fit(True, max(1, one_layer) * layers, layers, spare_width, spare_height)


def check_pressure(
    vessel: Vessel, cure_pa: float, ambient_pa: float = ATMOSPHERE_PA
) -> Pressure:
    """Return the vessel's marked maximum if it is known and not below the pressure at cure.

    Raises InputError where nothing is marked, for a chamber, and for a pressure above the mark:
    it is never exceeded, by however little. This is no clearance: the vessel's state, its lid, its
    valve and its age are not known here.
    """
    if vessel.kind != "pot":
        raise InputError(
            "A vacuum chamber never takes pressure", hint="use a rated, marked pressure pot"
        )
    wanted_pa = cure_pa - ambient_pa
    marked = vessel.marked_most
    if marked is None:
        raise InputError(
            "The pot's marked maximum pressure is not given",
            hint="read it off the nameplate; a pot without one is not to be used under pressure",
        )
    most_pa = marked.value * UNITS_PA[marked.unit]
    if wanted_pa > most_pa * (1.0 + 1e-9):
        shown = wanted_pa / UNITS_PA[marked.unit]
        raise InputError(
            f"{shown:.4g} {marked.unit} gauge is above the pot's marked maximum of {marked}",
            hint="choose a lower pressure; the mark is never exceeded",
        )
    return marked


def stored_energy_j(absolute_pa: float, volume_l: float) -> float:
    """Return the energy of compressed air in a vessel, J; 0 at or below the air outside.

    E = 2.5 Pt V (1 - (Pa / Pt)^0.286) with Pa = 101 000 Pa: ASME PCC-2, App. II.
    A caution, no limit: no published number means that a vessel is safe.
    """
    check_number("The absolute pressure in Pa", absolute_pa, 0.0, 1e9)
    check_number("The volume in litres", volume_l, 0.0, 1e9)
    if absolute_pa <= _OUTSIDE_PA:
        return 0.0
    share = 1.0 - (_OUTSIDE_PA / absolute_pa) ** _EXPONENT
    return _FACTOR * absolute_pa * volume_l / 1000.0 * share


def lid_force_n(diameter_mm: float, difference_pa: float) -> float:
    """Return the force on a round lid; 250 mm with a full atmosphere is about 5 kN."""
    return math.pi / 4 * (diameter_mm / 1000.0) ** 2 * abs(difference_pa)


def _in_rows(diameter: float, along: float, across: float) -> int:
    """Most boxes in a circle, in 1, 2, 3 ... rows about its middle."""
    best = 0
    for rows in range(1, math.floor(diameter / across + 1e-9) + 1):
        count = 0
        for row in range(rows):
            far = max(abs(row - rows / 2), abs(row + 1 - rows / 2)) * across
            room = diameter**2 / 4 - far**2
            if room > -1e-9:
                count += math.floor(2 * math.sqrt(max(room, 0.0)) / along + 1e-9)
        best = max(best, count)
    return best
