from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourwright.errors import InputError
from pourwright.shop.mixing import MixSettings, Order, most_ml, plan_mixes, weigh
from pourwright.shop.resin import liquid_density_g_ml, mix, resin_named, resins, weight_ratio

RESINS = list(resins().values())
PU = resin_named("polyurethane")
PLAIN = MixSettings()
ANY_RESIN = st.sampled_from(RESINS)


@settings(max_examples=150)
@given(
    resin=ANY_RESIN, ml=st.floats(0.5, 5e4), step=st.sampled_from([0.001, 0.01, 0.1, 0.25, 1.0]),
    limit=st.floats(0.002, 0.1),
)  # fmt: skip
def test_weighing_is_enough_and_in_ratio(resin, ml, step, limit):
    w = weigh(resin, ml, MixSettings(scale_step_g=step, ratio_error=limit))
    need = ml * liquid_density_g_ml(resin)
    assert w.exact_a_g + w.exact_b_g == pytest.approx(need, rel=1e-9)
    assert w.total_g >= need * (1 - 1e-9) - 1e-6
    for mass in (w.part_a_g, w.part_b_g):
        assert mass / step == pytest.approx(round(mass / step), abs=1e-3)
        assert mass > 0
    hundred, b = weight_ratio(resin)
    assert w.ratio_error == pytest.approx(w.part_b_g / w.part_a_g / (b / hundred) - 1, abs=1e-6)
    if w.within_limit:
        assert abs(w.ratio_error) <= limit + 1e-9
        assert w.total_g <= 1.25 * need + 2 * step + 1e-6
        assert w.finer_g is None
    else:
        assert w.finer_g < step
        finer = weigh(resin, ml, MixSettings(scale_step_g=max(w.finer_g, 1e-4), ratio_error=limit))
        assert finer.within_limit or w.finer_g < 1e-4


@settings(max_examples=60)
@given(resin=ANY_RESIN, ml=st.floats(1, 2000), more=st.floats(0, 500),
       step=st.sampled_from([0.01, 0.1, 1.0]))  # fmt: skip
def test_a_larger_mix_never_weighs_less(resin, ml, more, step):
    scale = MixSettings(scale_step_g=step)
    small, large = weigh(resin, ml, scale), weigh(resin, ml + more, scale)
    assert large.total_g >= small.total_g - 1e-6


@settings(max_examples=60)
@given(
    ml=st.floats(0.5, 500), casts=st.integers(1, 60), moulds=st.integers(1, 8),
    most=st.integers(1, 9), residue=st.floats(0, 20),
)  # fmt: skip
def test_more_casts_never_need_less(ml, casts, moulds, most, residue):
    given_ = MixSettings(residue_ml=residue)
    now, then = (
        plan_mixes(PU, [Order("a", ml, n, moulds)], given_, most) for n in (casts, casts + 1)
    )
    assert then.count >= now.count
    assert then.to_mix_ml > now.to_mix_ml
    for key in ("part_a_g", "part_b_g"):
        assert getattr(then, key) >= getattr(now, key) - 1e-6


@settings(max_examples=60)
@given(
    orders=st.lists(
        st.tuples(st.floats(1, 80), st.integers(1, 40), st.integers(1, 5)), min_size=1, max_size=4
    ),
    most=st.integers(1, 8),
)
def test_every_cast_is_filled_once(orders, most):
    made = [Order(f"m{i}", ml, n, m) for i, (ml, n, m) in enumerate(orders)]
    plan = plan_mixes(PU, made, PLAIN, most)
    filled = dict.fromkeys((o.name for o in made), 0)
    for m in plan.mixes:
        assert 1 <= m.count <= most
        assert m.times >= 1
        poured = 0.0
        for name, number in m.casts:
            order = next(o for o in made if o.name == name)
            assert number <= order.moulds
            filled[name] += number * m.times
            poured += number * order.poured_ml
        assert m.poured_ml == pytest.approx(poured)
        assert m.to_mix_ml == pytest.approx(poured * 1.1)
        assert m.cup_ml == pytest.approx(4 * m.to_mix_ml)
    assert filled == {o.name: o.casts for o in made}
    assert plan.casts == sum(filled.values())
    exact = sum(m.times * (m.weighing.exact_a_g + m.weighing.exact_b_g) for m in plan.mixes)
    assert exact == pytest.approx(plan.to_mix_ml * liquid_density_g_ml(PU), rel=1e-9)


def test_one_cast_is_the_plans_own_mix():
    w = plan_mixes(PU, [Order("a", 33.83)], PLAIN, 1).mixes[0].weighing
    one = mix(PU, 33.83, 0.1)
    assert (w.exact_a_g, w.exact_b_g) == pytest.approx((one.part_a_g, one.part_b_g))
    assert w.part_a_ml == pytest.approx(w.part_a_g / 1.20)


def test_several_masters_share_a_mix():
    """Two moulds of a, one of b: three mixes hold five and three casts."""
    plan = plan_mixes(PU, [Order("a", 30, 5, 2), Order("b", 10, 3, 1)], PLAIN, 4)
    assert [(m.casts, m.times) for m in plan.mixes] == [
        ((("a", 2), ("b", 1)), 2), ((("a", 1), ("b", 1)), 1),
    ]  # fmt: skip


def test_ten_thousand_casts():
    plan = plan_mixes(PU, [Order("a", 30, 10_000, 3), Order("b", 5, 10_000, 1)], PLAIN, 4)
    assert plan.casts == 20_000
    assert len(plan.mixes) <= 4


def test_catalyst_on_a_coarse_scale():
    """0.6 g of catalyst on a scale of whole grams: no mix near it holds the ratio."""
    w = weigh(resin_named("polyester"), 33.0, MixSettings(scale_step_g=1.0))
    assert not w.within_limit
    assert w.finer_g == 0.01
    assert w.ratio_error > 0.5


def test_cup_and_scale_limit_a_mix():
    cup = MixSettings(cup_ml=400)
    assert most_ml(PU, cup, degassed=False) == 400
    assert most_ml(PU, cup, degassed=True) == 100
    plan = plan_mixes(PU, [Order("a", 30, 7, 7)], cup, 7, degassed=True)
    assert [(m.count, m.times) for m in plan.mixes] == [(3, 2), (1, 1)]
    scale = MixSettings(scale_most_g=100)
    assert all(
        m.weighing.total_g <= 100 for m in plan_mixes(PU, [Order("a", 30, 7, 7)], scale, 7).mixes
    )
    with pytest.raises(InputError, match="cup and scale allow 100 ml"):
        plan_mixes(PU, [Order("a", 95)], cup, 1, degassed=True)


def test_no_density_no_volumes():
    w = weigh(resin_named("epoxy"), 50.0, PLAIN)
    assert w.part_a_ml is None
    unknown = dataclasses.replace(PU, part_a_density_g_ml=None)
    with pytest.raises(InputError, match="density of a part is not known"):
        weigh(unknown, 50.0, PLAIN)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Order("a", 0.0),
        lambda: Order("a", 10.0, 0),
        lambda: Order("a", 10.0, 2.5),
        lambda: Order("a", 10.0, 1, -1),
        lambda: Order(" ", 10.0),
        lambda: Order("a", math.nan),
        lambda: Order("a", 10.0, 10_000_000),
        lambda: MixSettings(scale_step_g=0),
        lambda: MixSettings(cup_factor=3.9),
        lambda: MixSettings(margin=-0.1),
        lambda: MixSettings(scale_step_g=10, scale_most_g=5),
        lambda: plan_mixes(PU, [], PLAIN, 1),
        lambda: plan_mixes(PU, [Order("a", 10.0)], PLAIN, 0),
        lambda: weigh(PU, -1.0, PLAIN),
    ],
)
def test_bad_input(make):
    with pytest.raises(InputError):
        make()


def test_every_mix_has_the_residue_of_its_cup_on_top():
    """By hand: two moulds at once and three casts make two mixes, 7 ml more in each."""
    plan = plan_mixes(PU, [Order("bird", 100.0, 3, 2)], MixSettings(margin=0.1, residue_ml=7.0), 9)
    assert [m.to_mix_ml for m in plan.mixes] == [pytest.approx(227.0), pytest.approx(117.0)]
    assert [m.poured_ml for m in plan.mixes] == [200.0, 100.0]
