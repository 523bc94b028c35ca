"""The clock of one mix: what has to be done before the resin gels, and what waits until it is hard.

Times are minutes from the moment the two parts meet. Only the resin's own pot life is known for
one temperature; at another it is taken as Q10 per ten kelvin, which is a rule of thumb with a wide
band, so its short end is always said too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pourwright.checks import check_number
from pourwright.shop.process import ATMOSPHERE_PA, Process
from pourwright.shop.resin import Resin

# Twice as fast for ten kelvin more, an activation energy of about 51 kJ/mol; band 1.3 to 2.2 (from
# memory). Large mixes heat themselves up and are shorter than this says.
Q10, Q10_BAND = 2.0, (1.3, 2.2)
# A step is tight when less than this share of the pot life is left after it: common practice, no
# source.
TIGHT_SHARE = 0.15
# Pressures closer to the air's than this are the air's.
_SLACK = 0.02
_MINUTES = (0.0, 100_000.0)


@dataclass(frozen=True)
class ClockSettings:
    """How long each thing takes at the bench, and how warm it is there.

    All times in minutes, all defaults common practice without a source: measure your own.
    fill_min : one mould. vacuum_min : until the vacuum is reached and the foam has fallen, of all
    moulds together. hold_min : it is held then. pressure_min : until the pressure is reached.

    Raises InputError for a number out of range.
    """

    temperature_c: float = 23.0
    weigh_min: float = 4.0
    mix_min: float = 0.75
    degas_min: float = 0.0
    fill_min: float = 0.5
    vacuum_min: float = 0.75
    hold_min: float = 0.0
    pressure_min: float = 0.25
    demould_each_min: float = 3.0

    def __post_init__(self) -> None:
        check_number("bench.temperature_c", self.temperature_c, 0.0, 60.0)
        for name in ("weigh_min", "degas_min", "vacuum_min", "hold_min", "pressure_min",
                     "demould_each_min"):  # fmt: skip
            check_number(f"bench.{name}", getattr(self, name), *_MINUTES)
        for name in ("mix_min", "fill_min"):
            check_number(f"bench.{name}", getattr(self, name), 0.01, _MINUTES[1])


@dataclass(frozen=True)
class PotLife:
    """Pot life at the shop's temperature, min, and the ends of its band."""

    minutes: float
    shortest_min: float
    longest_min: float


@dataclass(frozen=True)
class Step:
    """One thing to do, from start to end in minutes after the parts have met.

    code : what it is, for programs. before_gel : it must end while the resin is liquid.
    tight : little or nothing of the pot life is left after it, or not enough if the pot life is
    at the short end of its band. late : it ends after the pot life.
    """

    code: str
    words: str
    start_min: float
    end_min: float
    before_gel: bool
    tight: bool = False
    late: bool = False


@dataclass(frozen=True)
class Capacity:
    """How many moulds one mix fills in time: by the pot life, and by its short end.

    needed_min : from mixing to the last step before the gel, with one mould.
    """

    casts: int
    sure: int
    needed_min: float


def pot_life(resin: Resin, temperature_c: float) -> PotLife:
    """Return the pot life at a temperature, times Q10 to the power of (known - given) / 10 K.

    The band is that of Q10 alone; the resin's own `ranges` come on top of it.
    Raises InputError for a temperature out of range.
    """
    check_number("The temperature in C", temperature_c, 0.0, 60.0)
    warmer = (temperature_c - resin.pot_life_at_c) / 10.0
    low, high = sorted(resin.pot_life_min * q**-warmer for q in Q10_BAND)
    return PotLife(resin.pot_life_min * Q10**-warmer, low, high)


def demould_min(resin: Resin, temperature_c: float) -> float | None:
    """Return the time until demoulding, by the same rule as the pot life; None where unknown."""
    if resin.demould_min is None:
        return None
    return resin.demould_min * pot_life(resin, temperature_c).minutes / resin.pot_life_min


def has_vacuum(process: Process, ambient_pa: float = ATMOSPHERE_PA) -> bool:
    """Whether the air is pumped off before the resin closes round it."""
    return process.trap_pa < ambient_pa * (1.0 - _SLACK)


def has_pressure(process: Process, ambient_pa: float = ATMOSPHERE_PA) -> bool:
    """Whether the resin sets above the air's pressure."""
    return process.cure_pa > ambient_pa * (1.0 + _SLACK)


def capacity(
    resin: Resin, process: Process, settings: ClockSettings, ambient_pa: float = ATMOSPHERE_PA
) -> Capacity:
    """Return how many moulds one mix can fill before it gels; 0 where not even one."""
    life = pot_life(resin, settings.temperature_c)
    fixed = settings.mix_min + settings.degas_min
    if has_vacuum(process, ambient_pa):
        fixed += settings.vacuum_min + settings.hold_min
    if has_pressure(process, ambient_pa):
        fixed += settings.pressure_min

    def within(minutes: float) -> int:
        return max(0, math.floor((minutes - fixed) / settings.fill_min + 1e-9))

    return Capacity(within(life.minutes), within(life.shortest_min), fixed + settings.fill_min)


def steps(
    resin: Resin,
    process: Process,
    settings: ClockSettings,
    casts: int,
    ambient_pa: float = ATMOSPHERE_PA,
) -> tuple[Step, ...]:
    """Return the steps of one mix that fills `casts` moulds, in order.

    The last ones, curing and demoulding, are left out where the demould time is not known.
    """
    life = pot_life(resin, settings.temperature_c)
    vacuum, pressure = has_vacuum(process, ambient_pa), has_pressure(process, ambient_pa)
    liquid = [
        ("mix", "Pour the parts together and stir, scraping sides and bottom", settings.mix_min),
        ("degas", "Degas the mix in its cup", settings.degas_min),
        ("fill", _fill_words(casts), casts * settings.fill_min),
    ]
    if vacuum:
        kpa = f"{process.trap_pa / 1000:.1f} kPa absolute"
        liquid.append(("vacuum", f"Pump down to {kpa}; let the foam fall", settings.vacuum_min))
        liquid.append(("hold", f"Hold {kpa}", settings.hold_min))
    if pressure:
        kpa = f"{process.cure_pa / 1000:.0f} kPa absolute"
        first = "Let the air in, close the pot, raise" if vacuum else "Close the pot, raise"
        liquid.append(("pressure", f"{first} to {kpa}", settings.pressure_min))
    made = [Step("weigh", "Weigh both parts in two cups; check the moulds are ready",
                 -settings.weigh_min, 0.0, False)]  # fmt: skip
    now = 0.0
    for code, words, minutes in liquid:
        if minutes > 0:
            made.append(_liquid_step(code, words, now, now + minutes, life))
            now += minutes
    hard = demould_min(resin, settings.temperature_c)
    if hard is None:
        return tuple(made)
    hard = max(hard, now)
    words = "Leave it under pressure until it is hard" if pressure else "Leave it until it is hard"
    made.append(Step("cure", words, now, hard, False))
    if settings.demould_each_min > 0:
        words = "Vent the pot fully, then demould" if pressure else "Demould"
        made.append(Step("demould", words, hard, hard + casts * settings.demould_each_min, False))
    return tuple(made)


def _fill_words(casts: int) -> str:
    return "Fill the mould and top up the funnel" if casts == 1 else (
        f"Fill the {casts} moulds one after the other and top up"
    )


def _liquid_step(code: str, words: str, start: float, end: float, life: PotLife) -> Step:
    spare = life.minutes - end
    late = spare < -1e-9
    tight = late or spare < TIGHT_SHARE * life.minutes or end > life.shortest_min + 1e-9
    return Step(code, words, start, end, True, tight, late)
