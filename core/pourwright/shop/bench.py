"""The bench: everything one needs to know to make a run of casts, from the other modules here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any

from pourwright.checks import check_number, check_table
from pourwright.errors import InputError
from pourwright.shop import clock
from pourwright.shop.clock import Capacity, ClockSettings, PotLife, Step
from pourwright.shop.day import Cost, Day, DaySettings, MouldUse, cost_of_cast, mould_use, plan_day
from pourwright.shop.mixing import MixPlan, MixSettings, Order, check_count, plan_mixes
from pourwright.shop.pressure import ALTITUDE_RANGE_M, Pressure, atmosphere_pa, parse_pressure
from pourwright.shop.process import Process
from pourwright.shop.resin import Resin
from pourwright.shop.vessel import Fit, Vessel, check_pressure, fit_moulds, stored_energy_j

# Beyond this from the temperature of the data sheet the rule for the pot life is a guess.
_FAR_K = 15.0


@dataclass(frozen=True)
class BenchSettings:
    """What the shop has and does; its fields are the keys of a job file's [bench] table.

    altitude_m : of the shop. pot_diameter_mm, pot_height_mm : clear room of the pressure pot, and
    chamber_... of the vacuum chamber, None where that is no limit. pot_marked_most : what its
    nameplate says, as text with unit and label, "" where it is not known. casts, moulds : of the
    run, and rubber moulds of the master.

    Raises InputError for what is out of range.
    """

    mix: MixSettings = field(default_factory=MixSettings)
    clock: ClockSettings = field(default_factory=ClockSettings)
    day: DaySettings = field(default_factory=DaySettings)
    altitude_m: float = 0.0
    casts: int = 1
    moulds: int = 1
    pot_diameter_mm: float | None = None
    pot_height_mm: float | None = None
    pot_marked_most: str = ""
    chamber_diameter_mm: float | None = None
    chamber_height_mm: float | None = None

    def __post_init__(self) -> None:
        check_number("bench.altitude_m", self.altitude_m, *ALTITUDE_RANGE_M)
        check_count("bench.casts", self.casts)
        check_count("bench.moulds", self.moulds)
        if not isinstance(self.pot_marked_most, str):
            raise InputError(
                f"bench.pot_marked_most is {self.pot_marked_most!r}",
                hint="write it like '60 psi gauge'",
            )
        for kind in ("pot", "chamber"):
            self.vessel(kind)

    def vessel(self, kind: str) -> Vessel | None:
        """Return the "pot" or the "chamber", None where its size is not given."""
        diameter, height = (getattr(self, f"{kind}_{size}_mm") for size in ("diameter", "height"))
        marked = parse_pressure(self.pot_marked_most) if self.pot_marked_most else None
        if diameter is None and height is None:
            return None
        if diameter is None or height is None:
            raise InputError(
                f"Of the {kind} only one size is given",
                hint=f"give {kind}_diameter_mm and {kind}_height_mm",
            )
        return Vessel(kind, diameter, height, marked if kind == "pot" else None, kind)

    def table(self) -> dict[str, Any]:
        """Return every setting that is not None under the keys of a [bench] table."""
        flat = asdict(self)
        for part in _PARTS:
            flat |= flat.pop(part)
        return {key: value for key, value in flat.items() if value is not None}

    @classmethod
    def from_table(cls, table: object) -> BenchSettings:
        """Return the settings of a [bench] table; what it leaves out keeps its default.

        Raises InputError that names the key and what is allowed.
        """
        own = [f.name for f in fields(cls) if f.name not in _PARTS]
        names = {part: [f.name for f in fields(kind)] for part, kind in _PARTS.items()}
        every = own + [name for part in names.values() for name in part]
        values = check_table("bench", table, every)
        parts = {
            part: kind(**{k: v for k, v in values.items() if k in names[part]})
            for part, kind in _PARTS.items()
        }
        rest = {key: value for key, value in values.items() if key in own}
        return cls(**parts, **rest)  # type: ignore[arg-type]


_PARTS: dict[str, Any] = {"mix": MixSettings, "clock": ClockSettings, "day": DaySettings}


@dataclass(frozen=True)
class BenchNote:
    """Something to decide (open) or to know; `code` is for programs."""

    code: str
    message: str
    open: bool = False


@dataclass(frozen=True)
class BenchPlan:
    """A run of casts at the bench.

    casts_per_mix : what each mix fills at most: the least of what gels in time, what the vessel
    holds and what there are moulds for. steps : of the first and largest mix. stored_energy_j :
    of the pot at the pressure of cure, None where its size is not given. marked_most : checked
    against that pressure, None where there is no pressure or nothing is given.
    """

    resin: Resin
    process: Process
    settings: BenchSettings
    orders: tuple[Order, ...]
    ambient_pa: float
    pot_life: PotLife
    demould_min: float | None
    capacity: Capacity
    casts_per_mix: int
    mixes: MixPlan
    steps: tuple[Step, ...]
    day: Day
    moulds: tuple[MouldUse, ...]
    cost: Cost
    pot_fit: Fit | None
    chamber_fit: Fit | None
    stored_energy_j: float | None
    marked_most: Pressure | None
    notes: tuple[BenchNote, ...]

    @property
    def undecided(self) -> bool:
        """Whether something remains that the user must decide."""
        return any(note.open for note in self.notes)


def plan_bench(
    resin: Resin,
    process: Process,
    settings: BenchSettings,
    orders: Sequence[Order],
    box_mm: Sequence[float] | None = None,
    round_box: bool = False,
) -> BenchPlan:
    """Return mixes, clock, day, wear and cost of a run.

    box_mm : outer size of one mould, (x, y, z) with z along the pour, for the vessels; None where
    it is not known. Where not even one mould can be filled before the resin gels, the mixes are
    planned with one each and a note says so. Raises InputError for a pressure above the pot's
    marked maximum, for a cast too large for cup or scale, and as `mix` does.
    """
    ambient = atmosphere_pa(settings.altitude_m)
    life = clock.pot_life(resin, settings.clock.temperature_c)
    able = clock.capacity(resin, process, settings.clock, ambient)
    vacuum, pressure = (
        test(process, ambient) for test in (clock.has_vacuum, clock.has_pressure)
    )
    pot, chamber = settings.vessel("pot"), settings.vessel("chamber")
    marked = None
    if pressure and settings.pot_marked_most:
        mark = parse_pressure(settings.pot_marked_most)
        # The room inside does not matter to the mark.
        marked = check_pressure(
            pot or Vessel("pot", 100.0, 100.0, mark), process.cure_pa, ambient
        )
    pot_fit, chamber_fit = (
        fit_moulds(vessel, box_mm, round_box) if vessel and used and box_mm is not None else None
        for vessel, used in ((pot, pressure), (chamber, vacuum))
    )
    per_mix = max(1, able.casts)
    for fit in (pot_fit, chamber_fit):
        if fit is not None:
            per_mix = min(per_mix, max(1, fit.moulds))
    mixes = plan_mixes(resin, orders, settings.mix, per_mix, settings.clock.degas_min > 0)
    largest = max(m.count for m in mixes.mixes)
    steps = clock.steps(resin, process, settings.clock, largest, ambient)
    cycle = None
    if clock.demould_min(resin, settings.clock.temperature_c) is not None:
        cycle = steps[-1].end_min - steps[0].start_min
    plan = BenchPlan(
        resin=resin,
        process=process,
        settings=settings,
        orders=tuple(orders),
        ambient_pa=ambient,
        pot_life=life,
        demould_min=clock.demould_min(resin, settings.clock.temperature_c),
        capacity=able,
        casts_per_mix=largest,
        mixes=mixes,
        steps=steps,
        day=plan_day(settings.day, mixes, cycle),
        moulds=tuple(mould_use(settings.day, o.name, o.moulds, o.casts) for o in orders),
        cost=cost_of_cast(settings.day, mixes),
        pot_fit=pot_fit,
        chamber_fit=chamber_fit,
        stored_energy_j=(
            stored_energy_j(process.cure_pa, pot.volume_l) if pot and pressure else None
        ),
        marked_most=marked,
        notes=(),
    )
    return _noted(plan, pressure)


def _noted(plan: BenchPlan, pressure: bool) -> BenchPlan:
    notes = [*_time_notes(plan), *_weighing_notes(plan), *_vessel_notes(plan, pressure)]
    life = plan.settings.day.mould_life
    for use in plan.moulds:
        if use.needed:
            moulds = "mould" if use.needed == 1 else "moulds"
            notes.append(
                BenchNote(
                    "mould_life",
                    f"{use.name}: its moulds have {use.left} casts left at {life} a mould, so "
                    f"the run needs {use.needed} new {moulds}",
                )
            )
    return replace(plan, notes=tuple(notes))


def _time_notes(plan: BenchPlan) -> list[BenchNote]:
    life, able = plan.pot_life, plan.capacity
    celsius = plan.settings.clock.temperature_c
    notes = []
    if able.casts == 0:
        notes.append(
            BenchNote(
                "too_slow",
                f"The pot life of {life.minutes:.3g} min at {celsius:g} C ends before one mould "
                f"is done, which takes {able.needed_min:.3g} min: cool resin and room, take a "
                "slower resin, or leave out a step",
                open=True,
            )
        )
    elif any(step.tight for step in plan.steps):
        tight = ", ".join(step.code for step in plan.steps if step.tight)
        notes.append(
            BenchNote(
                "tight",
                f"Tight: {tight}. The pot life is {life.minutes:.3g} min at {celsius:g} C, and "
                f"{life.shortest_min:.3g} min at the short end of its band",
            )
        )
    if abs(celsius - plan.resin.pot_life_at_c) > _FAR_K:
        notes.append(
            BenchNote(
                "far_temperature",
                f"{celsius:g} C is far from the {plan.resin.pot_life_at_c:g} C of the data sheet: "
                "pot life and demould time are guesses there; try a small mix",
            )
        )
    if plan.demould_min is None:
        notes.append(
            BenchNote("no_demould", "The demould time is not known, so the day is not planned")
        )
    return notes


def _weighing_notes(plan: BenchPlan) -> list[BenchNote]:
    bad = [m.weighing for m in plan.mixes.mixes if not m.weighing.within_limit]
    if not bad:
        return []
    worst = max(bad, key=lambda w: abs(w.ratio_error))
    step, off = plan.settings.mix.scale_step_g, abs(worst.ratio_error) * 100
    return [
        BenchNote(
            "coarse_scale",
            f"A scale that shows {step:g} g puts the mix ratio {off:.2g} % off, more "
            f"than {plan.settings.mix.ratio_error * 100:g} %: use one that shows "
            f"{worst.finer_g:g} g, or mix more at once",
            open=True,
        )
    ]


def _vessel_notes(plan: BenchPlan, pressure: bool) -> list[BenchNote]:
    notes = []
    for name, fit in (("pressure pot", plan.pot_fit), ("vacuum chamber", plan.chamber_fit)):
        if fit is not None and not fit.fits:
            lacks = [
                f"{-spare:.0f} mm too {word}"
                for spare, word in ((fit.spare_width_mm, "wide"), (fit.spare_height_mm, "tall"))
                if spare < 0
            ]
            notes.append(
                BenchNote(
                    "does_not_fit", f"The mould is {' and '.join(lacks)} for the {name}", open=True
                )
            )
    if pressure and plan.marked_most is None:
        notes.append(
            BenchNote(
                "no_mark",
                "The pot's marked maximum pressure is not given: read it off the nameplate and "
                "stay under it; a pot without one is not to be used under pressure",
                open=True,
            )
        )
    return notes
