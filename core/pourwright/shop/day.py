"""A day's casting: rounds, casts, what is left of the moulds, and what a cast costs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pourwright.checks import check_number
from pourwright.shop.mixing import MixPlan

_PRICE = (0.0, 1e9)


@dataclass(frozen=True)
class DaySettings:
    """The working day, the moulds and their price.

    day_h : hours at the bench. prepare_min : before the first mix. mould_life : casts that one
    mould gives (20, of 10 to 50: common practice, found). casts_made : of each mould so far.
    mould_price : of one mould with its rubber and work, in the shop's own money, None where it is
    not known.

    Raises InputError for a number out of range.
    """

    day_h: float = 8.0
    prepare_min: float = 15.0
    mould_life: int = 20
    casts_made: int = 0
    mould_price: float | None = None

    def __post_init__(self) -> None:
        check_number("bench.day_h", self.day_h, 0.1, 24.0)
        check_number("bench.prepare_min", self.prepare_min, 0.0, 24 * 60.0)
        check_number("bench.mould_life", self.mould_life, 1, 10_000)
        check_number("bench.casts_made", self.casts_made, 0, 100_000)
        if self.mould_price is not None:
            check_number("bench.mould_price", self.mould_price, *_PRICE)


@dataclass(frozen=True)
class Day:
    """How much a day holds, one person and one pot, one mix after the other.

    cycle_min : from weighing one mix to weighing the next, None where the demould time is not
    known. rounds, casts : of a day; a mix that is demoulded the next day counts where it is
    poured. days : for all casts of the run.
    """

    cycle_min: float | None
    rounds: int | None
    casts: int | None
    days: int | None


@dataclass(frozen=True)
class MouldUse:
    """Wear of the moulds of one master.

    left : casts that its moulds have left before this run. needed : moulds to make for the run
    beyond those there are.
    """

    name: str
    moulds: int
    left: int
    needed: int


@dataclass(frozen=True)
class Cost:
    """Of one cast, in the shop's own money; None where a price is not known."""

    resin: float | None
    mould: float | None

    @property
    def total(self) -> float | None:
        """Resin and its share of the mould; None unless both are known."""
        if self.resin is None or self.mould is None:
            return None
        return self.resin + self.mould


def plan_day(
    settings: DaySettings, mixes: MixPlan, cycle_min: float | None
) -> Day:
    """Return how many of the run's mixes a day holds, and how many days the run takes.

    The pot is taken until the casts are hard. A cycle that is longer than the day, such as one
    that cures overnight, makes one round a day.
    """
    if cycle_min is None:
        return Day(None, None, None, None)
    room_min = settings.day_h * 60.0 - settings.prepare_min
    rounds = max(1, math.floor(room_min / cycle_min + 1e-9))
    days = math.ceil(mixes.count / rounds)
    first = 0
    left = rounds
    for mix in mixes.mixes:
        first += min(left, mix.times) * mix.count
        left -= min(left, mix.times)
    return Day(cycle_min, rounds, first, days)


def mould_use(settings: DaySettings, name: str, moulds: int, casts: int) -> MouldUse:
    """Return what is left of a master's moulds, all as worn as `casts_made` says."""
    left = moulds * max(settings.mould_life - settings.casts_made, 0)
    return MouldUse(name, moulds, left, math.ceil(max(casts - left, 0) / settings.mould_life))


def cost_of_cast(settings: DaySettings, mixes: MixPlan) -> Cost:
    """Return the mean cost of a cast: all that is weighed, and the mould over its life."""
    price = mixes.resin.price_per_kg
    mass_kg = (mixes.part_a_g + mixes.part_b_g) / 1000.0
    return Cost(
        resin=None if price is None else price * mass_kg / mixes.casts,
        mould=None if settings.mould_price is None else settings.mould_price / settings.mould_life,
    )
