"""Mixing: what goes on the scale for some casts, in how many mixes, and in how large a cup."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pourwright.checks import check_number, check_text
from pourwright.errors import InputError
from pourwright.shop.resin import (
    MARGIN_RANGE,
    POURED_ML_RANGE,
    Resin,
    liquid_density_g_ml,
    part_volumes_ml,
)

CASTS_RANGE = (1, 100_000)
# How far above what is needed a mix may grow so that both parts fall on the scale's steps.
_GROWTH = 0.25
_MOST_STEPS = 10_000


@dataclass(frozen=True)
class Order:
    """Casts of one master: its cavity's volume, how many casts, and how many moulds there are.

    Raises InputError for numbers out of range.
    """

    name: str
    poured_ml: float
    casts: int = 1
    moulds: int = 1

    def __post_init__(self) -> None:
        check_text("A master's name", self.name)
        check_number(f"The poured volume of {self.name} in ml", self.poured_ml, *POURED_ML_RANGE)
        for what, value in (("casts", self.casts), ("moulds", self.moulds)):
            check_count(f"The number of {what} of {self.name}", value)


@dataclass(frozen=True)
class MixSettings:
    """Scale, cups and spare.

    margin : share mixed beyond the poured volume. residue_ml : more that every mix leaves in its
    cup, whatever its size. scale_step_g, scale_most_g : what the scale shows apart and carries,
    the cup not counted. ratio_error : largest error of the mix ratio that rounding may make
    (2 %: common practice, no source). cup_ml : largest cup there is, None where that is no limit.
    cup_factor : a cup for degassing is at least so many times as large as the mix, for the foam
    (3 to 5: common practice, found).

    Raises InputError for numbers out of range.
    """

    margin: float = 0.10
    residue_ml: float = 0.0
    scale_step_g: float = 0.1
    scale_most_g: float = 5_000.0
    ratio_error: float = 0.02
    cup_ml: float | None = None
    cup_factor: float = 4.0

    def __post_init__(self) -> None:
        check_number("bench.margin", self.margin, *MARGIN_RANGE)
        check_number("bench.residue_ml", self.residue_ml, 0.0, 10_000.0)
        check_number("bench.scale_step_g", self.scale_step_g, 1e-4, 1_000.0)
        check_number("bench.scale_most_g", self.scale_most_g, self.scale_step_g, 1e6)
        check_number("bench.ratio_error", self.ratio_error, 1e-4, 0.2)
        if self.cup_ml is not None:
            check_number("bench.cup_ml", self.cup_ml, 1.0, 1e6)
        check_number("bench.cup_factor", self.cup_factor, 4.0, 20.0)


@dataclass(frozen=True)
class Weighing:
    """Masses as the scale shows them, g.

    exact_a_g, exact_b_g : before rounding. part_a_ml, part_b_ml : None where a density is unknown.
    ratio_error : of B over A against the data sheet's, as a share; negative for too little B.
    within_limit : it is under the limit that was asked for. finer_g : step of a scale that would
    keep it there, None where this one does.
    """

    exact_a_g: float
    exact_b_g: float
    part_a_g: float
    part_b_g: float
    part_a_ml: float | None
    part_b_ml: float | None
    ratio_error: float
    within_limit: bool
    finer_g: float | None

    @property
    def total_g(self) -> float:
        """Both parts."""
        return self.part_a_g + self.part_b_g


@dataclass(frozen=True)
class Mix:
    """One mix: which casts it fills, as (name, casts), and what goes into it; `times` in a row.

    cup_ml : least cup for degassing it.
    """

    casts: tuple[tuple[str, int], ...]
    poured_ml: float
    to_mix_ml: float
    weighing: Weighing
    cup_ml: float
    times: int = 1

    @property
    def count(self) -> int:
        """Casts that one such mix fills."""
        return sum(number for _, number in self.casts)


@dataclass(frozen=True)
class MixPlan:
    """All the mixes of a run, in order."""

    resin: Resin
    mixes: tuple[Mix, ...]

    @property
    def count(self) -> int:
        """Number of mixes."""
        return sum(m.times for m in self.mixes)

    @property
    def casts(self) -> int:
        """Casts of all mixes."""
        return sum(m.times * m.count for m in self.mixes)

    @property
    def part_a_g(self) -> float:
        """Part A of all mixes."""
        return sum(m.times * m.weighing.part_a_g for m in self.mixes)

    @property
    def part_b_g(self) -> float:
        """Part B of all mixes."""
        return sum(m.times * m.weighing.part_b_g for m in self.mixes)

    @property
    def to_mix_ml(self) -> float:
        """Volume of all mixes, before rounding."""
        return sum(m.times * m.to_mix_ml for m in self.mixes)


def check_count(name: str, value: object) -> int:
    """Return `value` if it is a whole number of casts or moulds; else raise InputError."""
    low, high = CASTS_RANGE
    number = check_number(name, value, low, high)
    if number != int(number):
        raise InputError(f"{name} is {number:g}", hint="give a whole number")
    return int(number)


def weigh(resin: Resin, to_mix_ml: float, settings: MixSettings) -> Weighing:
    """Return what to weigh so that at least `to_mix_ml` comes out and the ratio holds.

    The masses are multiples of the scale's step. The first pair, by mass, whose ratio is within
    the limit is taken, up to a quarter and two steps more than needed; where there is none, the
    first pair of all, which says so. Raises InputError for a volume out of range and as `mix` does.
    """
    check_number("The volume to mix in ml", to_mix_ml, 1e-6, 1e9)
    mass_g, share_b = to_mix_ml * liquid_density_g_ml(resin), resin.share_b()
    exact = (mass_g * (1.0 - share_b), mass_g * share_b)
    step = settings.scale_step_g
    large, small = max(exact), min(exact)
    share = small / large
    need = mass_g / step
    start = max(1, math.floor(large / step) - 1)
    steps = start + np.arange(min(_MOST_STEPS, math.ceil(_GROWTH * start) + 4), dtype=np.float64)
    partner = np.maximum(1.0, np.rint(steps * share))
    off = partner / (steps * share)
    error = np.maximum(off, 1.0 / off) - 1.0  # whichever part the error is counted from
    enough = steps + partner >= need * (1.0 - 1e-12)
    near = steps + partner <= (1.0 + _GROWTH) * need + 2.0
    good = np.flatnonzero(enough & near & (error <= settings.ratio_error))
    chosen = int(good[0]) if len(good) else int(np.flatnonzero(enough)[0])
    most, least = (round(float(n[chosen]) * step, 6) for n in (steps, partner))
    part_a_g, part_b_g = (most, least) if exact[0] >= exact[1] else (least, most)
    known = resin.part_a_density_g_ml is not None and resin.part_b_density_g_ml is not None
    volumes = part_volumes_ml(resin, part_a_g, part_b_g) if known else (None, None)
    finer = 2.0 * settings.ratio_error / (1.0 + settings.ratio_error) * small
    return Weighing(
        exact_a_g=exact[0],
        exact_b_g=exact[1],
        part_a_g=part_a_g,
        part_b_g=part_b_g,
        part_a_ml=volumes[0],
        part_b_ml=volumes[1],
        ratio_error=(part_b_g / part_a_g) / (exact[1] / exact[0]) - 1.0,
        within_limit=bool(len(good)),
        finer_g=None if len(good) else 10.0 ** math.floor(math.log10(finer)),
    )


def most_ml(resin: Resin, settings: MixSettings, degassed: bool) -> float:
    """Return the largest mix that scale and cup allow, ml, a step of the scale left for rounding.

    degassed : the mix foams in its cup, which then holds `cup_factor` times as much.
    """
    steps_g = 2 * settings.scale_step_g
    limit = max(settings.scale_most_g - steps_g, 0.0) / liquid_density_g_ml(resin)
    if settings.cup_ml is not None:
        limit = min(limit, settings.cup_ml / (settings.cup_factor if degassed else 1.0))
    return limit


def plan_mixes(
    resin: Resin,
    orders: Sequence[Order],
    settings: MixSettings,
    most_casts: int,
    degassed: bool = False,
) -> MixPlan:
    """Share out casts over mixes: each mix fills as many free moulds as it can, in order.

    most_casts : a mix fills before it gels, and the vessel holds; 1 at least. Within a mix every
    mould is filled once at most. Raises InputError for a cast that is too large for cup or scale,
    and as `mix` does.
    """
    if not orders:
        raise InputError("There is nothing to cast", hint="give a master")
    check_count("The number of casts of one mix", most_casts)
    limit = most_ml(resin, settings, degassed)
    for order in orders:
        alone = _volume_ml([(order, 1)], settings)
        if alone > limit:
            raise InputError(
                f"One cast of {order.name} takes {alone:.4g} ml of resin, and cup and scale allow "
                f"{limit:.4g} ml",
                hint="use a larger cup or a scale that carries more",
            )
    left = {i: order.casts for i, order in enumerate(orders)}
    mixes: list[Mix] = []
    made = lru_cache(maxsize=64)(
        lambda taken: _mix(resin, [(orders[i], n) for i, n in taken], settings)
    )
    while any(left.values()):
        taken = _fill(orders, left, most_casts, limit, settings)
        # The same mix is chosen again as long as all of its casts are still wanted.
        times = min(left[i] // n for i, n in taken)
        for i, n in taken:
            left[i] -= n * times
        mixes.append(replace(made(tuple(taken)), times=times))
    return MixPlan(resin, tuple(mixes))


def _fill(
    orders: Sequence[Order],
    left: dict[int, int],
    most_casts: int,
    limit_ml: float,
    settings: MixSettings,
) -> list[tuple[int, int]]:
    """Return which casts the next mix fills, as (number of the order, casts)."""
    taken: list[tuple[int, int]] = []
    free, ml = most_casts, limit_ml - settings.residue_ml
    for i, order in enumerate(orders):
        each = order.poured_ml * (1.0 + settings.margin)
        fits = math.floor(ml / each * (1 + 1e-12))
        number = min(left[i], order.moulds, free, fits)
        if number > 0:
            taken.append((i, number))
            free -= number
            ml -= number * each
    return taken


def _volume_ml(casts: Sequence[tuple[Order, int]], settings: MixSettings) -> float:
    poured = sum(order.poured_ml * number for order, number in casts)
    return poured * (1.0 + settings.margin) + settings.residue_ml


def _mix(resin: Resin, casts: Sequence[tuple[Order, int]], settings: MixSettings) -> Mix:
    to_mix = _volume_ml(casts, settings)
    return Mix(
        casts=tuple((order.name, number) for order, number in casts),
        poured_ml=sum(order.poured_ml * number for order, number in casts),
        to_mix_ml=to_mix,
        weighing=weigh(resin, to_mix, settings),
        cup_ml=settings.cup_factor * to_mix,
    )

