"""The four ways to pour, from the gauges of a shop to a Process."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pourwright.checks import check_choice
from pourwright.errors import InputError
from pourwright.shop.pressure import Pressure, atmosphere_pa
from pourwright.shop.process import Process

WAYS = {
    "open": "Open pour, no vacuum, no pressure",
    "vacuum": "Vacuum held, then open air",
    "pressure": "Pressure",
    "vacuum_pressure": "Vacuum held, then pressure",
}


def process_of(
    way: str,
    vacuum: Pressure | None = None,
    pressure: Pressure | None = None,
    altitude_m: float = 0.0,
    visible_defect_mm: float = 0.3,
) -> Process:
    """Return a process by its way, a name in `WAYS`, with the readings of the shop's gauges.

    vacuum : held until the resin has closed round the air; any reading below the air's pressure.
    pressure : held while the resin sets; any reading above it. Both as the way asks for them.
    altitude_m : of the shop; gauges there count from the air there.

    Raises InputError for a reading that is missing, has no place in that way, lies on the wrong
    side of the air's pressure, or cannot be reached at that altitude.
    """
    check_choice("The way to pour", way, WAYS)
    ambient_pa = atmosphere_pa(altitude_m)
    for name, given, asked in (
        ("vacuum", vacuum, way in ("vacuum", "vacuum_pressure")),
        ("pressure", pressure, way in ("pressure", "vacuum_pressure")),
    ):
        if asked and given is None:
            raise InputError(f"'{way}' needs a {name}", hint=f"give the {name} with its label")
        if given is not None and not asked:
            raise InputError(f"'{way}' has no {name}, but {given} is given", hint="leave it out")
    at = f" at {altitude_m:g} m" if altitude_m else ""
    trap_pa = cure_pa = ambient_pa
    if vacuum is not None:
        trap_pa = _reached(vacuum, ambient_pa, at)
        if trap_pa >= ambient_pa:
            raise InputError(
                f"{vacuum} is no vacuum: the air has {ambient_pa / 1000:.1f} kPa{at}",
                hint="give a reading below the air's pressure",
            )
    if pressure is not None:
        cure_pa = _reached(pressure, ambient_pa, at)
        if cure_pa <= ambient_pa:
            raise InputError(
                f"{pressure} is not above the air, which has {ambient_pa / 1000:.1f} kPa{at}",
                hint="give a reading above the air's pressure",
            )
    words = {
        "open": WAYS["open"],
        "vacuum": f"Vacuum of {vacuum} held, then open air",
        "pressure": f"Pressure of {pressure}",
        "vacuum_pressure": f"Vacuum of {vacuum} held, then {pressure}",
    }[way]
    return Process(way, words + at, trap_pa, cure_pa, visible_defect_mm)


def _reached(given: Pressure, ambient_pa: float, at: str) -> float:
    try:
        return given.absolute_pa(ambient_pa)
    except InputError as error:
        raise InputError(error.what + at, hint=error.hint) from None


@dataclass(frozen=True)
class WayResult:
    """What one way to pour leaves of a set of pockets that nothing vents.

    factor : volume left over volume trapped. bubbles_mm : residual diameters, one for each pocket.
    visible : how many are larger than the visible defect.
    """

    process: Process
    factor: float
    bubbles_mm: tuple[float, ...]
    visible: int


def compare_ways(
    volumes_mm3: Sequence[float],
    vacuum: Pressure,
    pressure: Pressure,
    altitude_m: float = 0.0,
    visible_defect_mm: float = 0.3,
) -> dict[str, WayResult]:
    """Return what each of `WAYS` leaves of the pockets, by way; raises as `process_of`."""
    found = {}
    for way in WAYS:
        process = process_of(
            way,
            vacuum if "vacuum" in way else None,
            pressure if "pressure" in way else None,
            altitude_m,
            visible_defect_mm,
        )
        found[way] = WayResult(
            process,
            process.residual_factor,
            tuple(process.residual_diameter_mm(v) for v in volumes_mm3),
            sum(process.matters(v) for v in volumes_mm3),
        )
    return found
