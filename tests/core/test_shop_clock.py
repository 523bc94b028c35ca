"""The clock, the day, vessels, cautions, and all of them together."""

from __future__ import annotations

import dataclasses
import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourwright.errors import InputError
from pourwright.shop.bench import BenchSettings, plan_bench
from pourwright.shop.cautions import PLACES, cautions_for, resin_caution
from pourwright.shop.clock import ClockSettings, capacity, demould_min, pot_life, steps
from pourwright.shop.day import DaySettings
from pourwright.shop.mixing import Order
from pourwright.shop.pressure import Pressure, atmosphere_pa
from pourwright.shop.process import ATMOSPHERE_PA, PROCESSES, PSI_PA
from pourwright.shop.resin import resin_named
from pourwright.shop.vessel import Vessel, check_pressure, fit_moulds, stored_energy_j
from pourwright.shop.ways import process_of

PU, EPOXY = resin_named("polyurethane"), resin_named("epoxy")
BOTH, OPEN = PROCESSES["vacuum_pressure"], PROCESSES["open"]
CLOCK = ClockSettings(mix_min=1, fill_min=0.5, vacuum_min=0.75, pressure_min=0.25)


def test_steps_of_a_mix():
    made = steps(PU, BOTH, dataclasses.replace(CLOCK, degas_min=0.1), 1)
    assert [(s.code, s.start_min, s.end_min) for s in made] == [
        ("weigh", -4.0, 0.0), ("mix", 0.0, 1.0), ("degas", 1.0, 1.1), ("fill", 1.1, 1.6),
        ("vacuum", 1.6, pytest.approx(2.35)), ("pressure", pytest.approx(2.35), pytest.approx(2.6)),
        ("cure", pytest.approx(2.6), 15.0), ("demould", 15.0, 18.0),
    ]  # fmt: skip
    assert [s.code for s in made if s.tight] == ["pressure"]
    assert not any(s.late for s in made)
    assert "3.1 kPa absolute" in made[4].words
    assert "515 kPa absolute" in made[5].words
    assert [s.code for s in steps(PU, OPEN, CLOCK, 2)] == [
        "weigh", "mix", "fill", "cure", "demould",
    ]  # fmt: skip


def test_warm_shop_is_late():
    made = steps(PU, BOTH, dataclasses.replace(CLOCK, temperature_c=33), 1)
    assert [s.code for s in made if s.late] == ["vacuum", "pressure"]
    # 1.5 min nominal, 3 / 2.2 at the short end: the mould is full at 1.5 min.
    assert next(s for s in made if s.code == "fill").tight


def test_the_short_end_of_the_band_makes_a_step_tight():
    """At 13 C the resin gels in 6 min, or in 3.9: six moulds are full at 4, well before 5.1."""
    open_pour = dataclasses.replace(CLOCK, temperature_c=13)
    (fill,) = (s for s in steps(PU, OPEN, open_pour, 6) if s.code == "fill")
    assert fill.end_min == 4.0
    assert fill.tight
    assert not next(s for s in steps(PU, OPEN, open_pour, 5) if s.code == "fill").tight


def test_how_many_moulds_a_mix_fills():
    """2 min are taken by mixing and vessels, so 3 min leave two fillings of half a minute."""
    able = capacity(PU, BOTH, CLOCK)
    assert (able.casts, able.sure, able.needed_min) == (2, 2, 2.5)
    assert capacity(PU, OPEN, CLOCK).casts == 4
    warm = capacity(PU, BOTH, dataclasses.replace(CLOCK, temperature_c=33))
    assert (warm.casts, warm.sure) == (0, 0)


@given(
    celsius=st.floats(5, 45), casts=st.integers(1, 30), fill=st.floats(0.05, 5),
    process=st.sampled_from(sorted(PROCESSES)), material=st.sampled_from([PU, EPOXY]),
)  # fmt: skip
def test_capacity_is_what_the_steps_allow(celsius, casts, fill, process, material):
    clock = dataclasses.replace(CLOCK, temperature_c=celsius, fill_min=fill)
    able = capacity(material, PROCESSES[process], clock)
    made = steps(material, PROCESSES[process], clock, casts)
    assert any(s.late for s in made) == (casts > able.casts)
    for before, after in itertools.pairwise(made):
        assert after.start_min == pytest.approx(before.end_min)
    assert able.sure <= able.casts


@given(a=st.floats(0, 60), b=st.floats(0, 60))
def test_warmer_is_shorter(a, b):
    cold, warm = sorted((a, b))
    assert pot_life(EPOXY, cold).minutes >= pot_life(EPOXY, warm).minutes
    life = pot_life(EPOXY, a)
    assert life.shortest_min <= life.minutes <= life.longest_min
    assert demould_min(EPOXY, a) == pytest.approx(36 * life.minutes)


@pytest.mark.parametrize("celsius", [-1.0, 61.0, math.nan, None, "warm"])
def test_bad_temperature(celsius):
    with pytest.raises(InputError, match="temperature"):
        pot_life(PU, celsius)
    with pytest.raises(InputError, match="temperature_c"):
        ClockSettings(temperature_c=celsius)


POT = Vessel("pot", 250, 300, Pressure(60, "psi", "gauge"))


def test_moulds_in_a_pot():
    """Boxes 70 by 90 mm, 140 high, in a round pot 250 wide and 300 high: four, in two layers."""
    fit = fit_moulds(POT, (70, 90, 140))
    assert (fit.fits, fit.layers, fit.moulds) == (True, 2, 8)
    one = fit_moulds(POT, (150, 200, 100))
    assert (one.moulds, one.spare_width_mm) == (3, 0.0)
    wide = fit_moulds(POT, (160, 200, 310))
    assert not wide.fits
    assert wide.moulds == 0
    assert wide.spare_width_mm == pytest.approx(250 - math.hypot(160, 200))
    assert wide.spare_height_mm == -10
    assert fit_moulds(POT, (250, 250, 300), round_box=True).moulds == 1
    assert not fit_moulds(POT, (250, 250, 300)).fits


@given(x=st.floats(5, 400), y=st.floats(5, 400), z=st.floats(5, 400))
def test_moulds_never_take_more_room_than_there_is(x, y, z):
    fit = fit_moulds(POT, (x, y, z))
    assert fit.fits == (math.hypot(x, y) <= 250 + 1e-9 and z <= 300 + 1e-9)
    if fit.fits:
        assert fit.moulds >= 1
        if fit.moulds > fit.layers:  # a lone one that just fits may touch the wall
            assert fit.moulds / fit.layers * x * y <= math.pi / 4 * 250**2
        assert fit.layers * z <= 300 + 1e-6


def test_marked_maximum_is_never_exceeded():
    cure = ATMOSPHERE_PA + 60 * PSI_PA
    assert check_pressure(POT, cure) == POT.marked_most
    with pytest.raises(InputError, match=r"60\.06 psi gauge is above the pot's marked maximum"):
        check_pressure(POT, cure * 1.0008)
    with pytest.raises(InputError, match="nameplate"):
        check_pressure(Vessel("pot", 250, 300), cure)
    with pytest.raises(InputError, match="never takes pressure"):
        check_pressure(Vessel("chamber", 250, 300), cure)
    # The same absolute pressure is more above the thin air of a mountain.
    with pytest.raises(InputError, match="above the pot's marked maximum"):
        check_pressure(POT, cure, atmosphere_pa(1500))
    with pytest.raises(InputError, match="gauge pressure"):
        Vessel("pot", 250, 300, Pressure(5, "bar", "absolute"))


def test_cautions_stand_where_the_work_is():
    found = cautions_for(PU, BOTH)
    assert [c.place for c in found] == [
        "rubber", "knife", "mixing", "vacuum", "pressure", "pressure", "copying",
    ]  # fmt: skip
    assert all(c.place in PLACES for c in found)
    assert [c.place for c in cautions_for(EPOXY, OPEN, tin=False)] == ["knife", "mixing", "copying"]
    assert resin_caution(PU).hazard == "Isocyanate"
    assert "Peroxide" in resin_caution(resin_named("polyester")).hazard
    assert resin_caution(EPOXY).hazard == "Resin and hardener"
    for caution in found:
        assert "safe to" not in caution.words


def bench(**values) -> BenchSettings:
    return BenchSettings.from_table(values)


def test_all_together():
    settings = bench(
        casts=10, moulds=4, mould_price=40.0, pot_diameter_mm=250, pot_height_mm=300,
        pot_marked_most="60 psi gauge", casts_made=15,
    )  # fmt: skip
    resin = dataclasses.replace(PU, price_per_kg=12.0)
    plan = plan_bench(resin, BOTH, settings, [Order("heron", 33.83, 10, 4)], (70, 90, 280))
    assert plan.casts_per_mix == 2  # the pot holds four, the pot life allows two
    assert plan.pot_fit.moulds == 4
    assert plan.mixes.count == 5
    # Weighing 4, hard at 15, two to demould at 3 min: 25 min; 465 min a day hold 18 rounds.
    assert (plan.day.cycle_min, plan.day.rounds, plan.day.days) == (25.0, 18, 1)
    assert plan.day.casts == 10
    assert plan.moulds[0].left == 20
    assert plan.moulds[0].needed == 0
    mass_kg = (plan.mixes.part_a_g + plan.mixes.part_b_g) / 1000
    assert plan.cost.total == pytest.approx(12 * mass_kg / 10 + 40 / 20)
    assert plan.stored_energy_j == pytest.approx(
        stored_energy_j(BOTH.cure_pa, math.pi / 4 * 2.5**2 * 3)
    )
    assert not plan.undecided
    assert [n.code for n in plan.notes] == ["tight"]


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ({}, ["no_mark"]),
        ({"temperature_c": 35}, ["too_slow", "no_mark"]),
        ({"temperature_c": 3}, ["far_temperature", "no_mark"]),
        ({"pot_diameter_mm": 90, "pot_height_mm": 90}, ["does_not_fit", "no_mark"]),
        ({"pot_marked_most": "60 psig", "casts_made": 20}, ["mould_life"]),
        ({"pot_marked_most": "60 psig", "scale_step_g": 5.0}, ["coarse_scale"]),
    ],
)
def test_what_is_told(values, codes):
    plan = plan_bench(PU, BOTH, bench(**values), [Order("a", 30.0)], (60, 80, 100))
    assert [n.code for n in plan.notes if n.code != "tight"] == codes
    assert plan.undecided == any(n.open for n in plan.notes)


def test_pressure_above_the_mark_is_refused():
    with pytest.raises(InputError, match="never exceeded"):
        plan_bench(PU, BOTH, bench(pot_marked_most="40 psig"), [Order("a", 30.0)])
    plan_bench(PU, OPEN, bench(pot_marked_most="40 psig"), [Order("a", 30.0)])


def test_altitude_reaches_the_clock():
    """An open pour on a mountain is neither vacuum nor pressure."""
    high = process_of("open", altitude_m=3000)
    plan = plan_bench(PU, high, bench(altitude_m=3000), [Order("a", 30.0)])
    assert [s.code for s in plan.steps] == ["weigh", "mix", "fill", "cure", "demould"]
    assert not plan.notes


def test_settings_round_trip_and_names():
    settings = bench(casts=3, scale_step_g=0.01, day_h=6, pot_marked_most="4 bar gauge")
    assert BenchSettings.from_table(settings.table()) == settings
    assert BenchSettings().table() == BenchSettings.from_table({}).table()


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"casts": 0}, "bench.casts"),
        ({"casts": 2.5}, "bench.casts"),
        ({"colour": 1}, "bench.colour"),
        ({"mix_min": 0}, "bench.mix_min"),
        ({"temperature_c": -10}, "bench.temperature_c"),
        ({"altitude_m": 9999}, "bench.altitude_m"),
        ({"pot_marked_most": "60 psi"}, "gauge or absolute"),
        ({"pot_marked_most": 60}, "pot_marked_most"),
        ({"pot_diameter_mm": 200}, "only one size"),
        ({"mould_life": 0}, "bench.mould_life"),
        ({"day_h": 25}, "bench.day_h"),
    ],
)
def test_bad_settings(values, named):
    with pytest.raises(InputError) as caught:
        bench(**values)
    assert named in str(caught.value)


def test_overnight_cure_is_one_round_a_day():
    plan = plan_bench(EPOXY, OPEN, bench(), [Order("a", 30.0, 10, 2)])
    assert (plan.day.rounds, plan.day.casts, plan.day.days) == (1, 2, 5)
    unknown = dataclasses.replace(EPOXY, demould_min=None)
    plan = plan_bench(unknown, OPEN, bench(), [Order("a", 30.0)])
    assert plan.day.rounds is None
    assert plan.steps[-1].code == "fill"


def test_day_defaults_are_checked():
    with pytest.raises(InputError, match="mould_price"):
        DaySettings(mould_price=-1)


def test_the_pot_limits_a_mix():
    settings = bench(fill_min=0.2, pot_diameter_mm=250, pot_height_mm=300)
    order = [Order("a", 10.0, 12, 12)]
    assert plan_bench(PU, BOTH, settings, order).casts_per_mix == 6
    assert plan_bench(PU, BOTH, settings, order, (150, 200, 290)).casts_per_mix == 1
    assert plan_bench(PU, BOTH, settings, order, (70, 90, 290)).casts_per_mix == 4
