"""Flow through channels, funnels that feed, shrinkage: properties, limits and bad input."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from pourwright.errors import InputError
from pourwright.shop.feed import check_funnel, frustum_mm3, funnel_need
from pourwright.shop.flow import (
    Liquid,
    Section,
    diameter_for_mm,
    entry_length_mm,
    fill_time_s,
    flow_mm3_s,
    flow_under_head,
    head_pa,
    resistance_per_mm3,
    reynolds,
    torricelli_m_s,
)
from pourwright.shop.process import PROCESSES, Process
from pourwright.shop.shrinkage import linear_shrinkage, master_scale, volume_shrinkage

RESIN = Liquid(0.08, 1100.0)
WATER = Liquid(1e-3, 1000.0)
mm = st.floats(0.2, 50.0)


@given(d=mm, length=mm, factor=st.floats(0.5, 3.0))
def test_resistance_goes_with_length_and_the_fourth_power(d, length, factor):
    one = resistance_per_mm3([Section(d, length)])
    assert resistance_per_mm3([Section(d, factor * length)]) == pytest.approx(factor * one)
    assert resistance_per_mm3([Section(factor * d, length)]) == pytest.approx(one / factor**4)


@given(sections=st.lists(st.tuples(mm, mm), min_size=1, max_size=5))
def test_sections_in_series_add_up_and_the_narrow_one_rules(sections):
    channel = [Section(d, length) for d, length in sections]
    each = [resistance_per_mm3([s]) for s in channel]
    assert resistance_per_mm3(channel) == pytest.approx(sum(each))
    assert flow_mm3_s(channel, 0.1, 300.0) <= min(300.0 / (0.1 * r) for r in each) * (1 + 1e-9)


@given(head=st.floats(1.0, 200.0), share=st.floats(0.01, 0.999))
def test_falling_head_by_integration(head, share):
    """Time is the integral of dV over the flow at the head that is left."""
    channel, volume = [Section(2.0, 10.0)], 500.0

    def seconds_per_mm3(filled: float) -> float:
        left = head - (head - share * head) * filled / volume
        return 1.0 / flow_mm3_s(channel, RESIN.viscosity_pa_s, head_pa(RESIN.density_kg_m3, left))

    by_steps = quad(seconds_per_mm3, 0.0, volume)[0]
    assert fill_time_s(channel, RESIN, volume, head, share * head) == pytest.approx(by_steps)


def test_head_that_stays_or_hardly_falls():
    channel = [Section(2.0, 10.0)]
    still = fill_time_s(channel, RESIN, 500.0, 40.0)
    assert fill_time_s(channel, RESIN, 500.0, 40.0, 40.0) == still
    assert fill_time_s(channel, RESIN, 500.0, 40.0, 40.0 * (1 - 1e-7)) == pytest.approx(still)
    assert fill_time_s(channel, RESIN, 500.0, 40.0, 20.0) > still
    assert fill_time_s(channel, RESIN, 0.0, 40.0) == 0.0


@given(length=mm, volume=st.floats(1.0, 1e5), head=mm, time=st.floats(0.5, 500.0))
def test_diameter_that_fills_in_time(length, volume, head, time):
    d = diameter_for_mm(length, RESIN, volume, head, time)
    assert fill_time_s([Section(d, length)], RESIN, volume, head) == pytest.approx(time)


@given(d=mm, length=mm, head=mm)
def test_no_channel_lets_more_through_than_a_free_jet(d, length, head):
    flow = flow_under_head([Section(d, length)], WATER, head)
    assert flow.speed_m_s <= torricelli_m_s(head) * (1 + 1e-12)
    assert flow.flow_mm3_s == pytest.approx(flow.speed_m_s * 1000 * math.pi / 4 * d * d)
    assert flow.reynolds == pytest.approx(1000.0 * flow.speed_m_s * d / 1000 / 1e-3)
    assert flow.laminar == (flow.reynolds <= 2000)


def test_each_limit_is_told():
    assert flow_under_head([Section(1.0, 40.0)], RESIN, 40.0).notes == ()
    (short,) = flow_under_head([Section(1.0, 4.9)], RESIN, 10.0).notes
    assert "4.9 diameters" in short
    turbulent = flow_under_head([Section(8.0, 100.0)], WATER, 100.0)
    assert not turbulent.laminar
    assert "turbulent" in turbulent.notes[0] and "free jet" in turbulent.notes[1]
    (entry,) = flow_under_head([Section(1.0, 40.0)], WATER, 40.0).notes
    assert "to form its profile" in entry
    assert entry_length_mm(100.0, 2.0) == pytest.approx(12.0)


def test_the_narrowest_section_is_looked_at():
    flow = flow_under_head([Section(4.0, 30.0), Section(1.0, 5.0), Section(3.0, 5.0)], RESIN, 40.0)
    assert flow.reynolds == pytest.approx(reynolds(flow.flow_mm3_s, 1.0, RESIN))


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf"), "2", None, True])
def test_bad_numbers_are_named(bad):
    with pytest.raises(InputError, match="diameter"):
        Section(bad, 1.0)
    with pytest.raises(InputError, match="length"):
        Section(1.0, bad)
    with pytest.raises(InputError, match="viscosity"):
        Liquid(bad, 1000.0)
    with pytest.raises(InputError, match="density"):
        Liquid(0.1, bad)
    with pytest.raises(InputError, match="head"):
        fill_time_s([Section(1.0, 1.0)], RESIN, 1.0, bad)


def test_more_bad_input():
    with pytest.raises(InputError, match="no sections"):
        resistance_per_mm3([])
    with pytest.raises(InputError, match="head at the end"):
        fill_time_s([Section(1.0, 1.0)], RESIN, 1.0, 10.0, 11.0)
    with pytest.raises(InputError, match="head at the end"):
        fill_time_s([Section(1.0, 1.0)], RESIN, 1.0, 10.0, 0.0)


class TestFunnel:
    """What a funnel has to give and to keep."""

    calm = Process("calm", "calm", 101_325.0, 101_325.0)

    def test_shrinkage_and_squeezed_air(self):
        """Half the volume of two pockets at twice the pressure; 0.897 % of the cavity."""
        need = funnel_need(10_000.0, 0.003, [30.0, 10.0], Process("p", "p", 1e5, 2e5), 5.0)
        assert need.shrinkage_mm3 == pytest.approx(89.7, abs=0.05)
        assert need.air_mm3 == pytest.approx(20.0)
        assert need.given_mm3 == pytest.approx(109.7, abs=0.05)

    def test_air_that_swells_makes_no_room(self):
        assert funnel_need(1.0, 0.0, [30.0], Process("v", "v", 1e5, 1e4), 0.0).air_mm3 == 0.0
        assert funnel_need(1.0, 0.0, [30.0], PROCESSES["open"], 0.0).air_mm3 == 0.0

    def test_what_is_kept_is_the_funnels_lowest_part(self):
        """A funnel of straight sides, 10 wide: a third of the height is a third of the volume."""
        check = check_funnel(funnel_need(0.0, 0.0, [], self.calm, 5.0), 10.0, 10.0, 15.0)
        assert check.holds_mm3 == pytest.approx(math.pi * 25 * 15)
        assert check.kept_mm3 == pytest.approx(check.holds_mm3 / 3)
        assert check.enough and (check.mouth_mm, check.height_mm) == (10.0, 15.0)

    @given(
        cavity=st.floats(1e3, 2e6), head=st.floats(0.0, 30.0), neck=st.floats(2.0, 12.0),
        wider=st.floats(1.0, 3.0), height=st.floats(5.0, 40.0),
    )  # fmt: skip
    def test_the_sizes_that_are_proposed_are_just_enough(self, cavity, head, neck, wider, height):
        need = funnel_need(cavity, 0.02, [100.0], PROCESSES["pressure"], head)
        mouth = neck * wider
        check = check_funnel(need, neck, mouth, height)
        if check.enough:
            assert check.holds_mm3 >= check.needed_mm3 - 1e-6
            return
        if check.mouth_mm is not None:
            assert check_funnel(need, neck, check.mouth_mm, height).enough
            assert not check_funnel(need, neck, 0.999 * check.mouth_mm, height).enough or (
                0.999 * check.mouth_mm < mouth
            )
        else:
            assert head >= height or cavity > 1e4
        if check.height_mm is not None:
            assert check_funnel(need, neck, mouth, check.height_mm).enough
            assert not check_funnel(need, neck, mouth, 0.999 * check.height_mm).enough

    def test_a_head_taller_than_the_funnel(self):
        check = check_funnel(funnel_need(0.0, 0.0, [], self.calm, 20.0), 10.0, 20.0, 15.0)
        assert not check.enough
        assert check.mouth_mm is None
        assert check.height_mm == pytest.approx(20.0)
        beyond = math.pi / 4 * 20.0**2 * 5.0
        assert check.kept_mm3 == pytest.approx(frustum_mm3(10.0, 20.0, 15.0) + beyond)

    def test_bad_input(self):
        need = funnel_need(1.0, 0.003, [], self.calm, 0.0)
        with pytest.raises(InputError, match="neck"):
            check_funnel(need, 12.0, 10.0, 15.0)
        with pytest.raises(InputError, match="pocket"):
            funnel_need(1.0, 0.003, [-1.0], self.calm, 0.0)
        with pytest.raises(InputError, match="linear shrinkage"):
            funnel_need(1.0, 0.3, [], self.calm, 0.0)
        with pytest.raises(InputError, match="head"):
            funnel_need(1.0, 0.003, [], self.calm, -1.0)


class TestShrinkage:
    """Of length and of volume, and the master's size."""

    @given(st.floats(-0.05, 0.2))
    def test_there_and_back(self, linear):
        assert linear_shrinkage(volume_shrinkage(linear)) == pytest.approx(linear, abs=1e-12)

    @given(st.floats(0.0, 0.1), st.floats(0.0, 0.1))
    def test_a_scaled_master_casts_true(self, resin, rubber):
        cast = master_scale(resin, rubber) * (1 - resin) * (1 - rubber)
        assert cast == pytest.approx(1.0)

    @pytest.mark.parametrize("bad", [0.3, -0.1, float("nan"), "1", None])
    def test_bad_numbers(self, bad):
        with pytest.raises(InputError, match="resin's linear shrinkage"):
            master_scale(bad, 0.0)
        with pytest.raises(InputError, match="rubber's linear shrinkage"):
            master_scale(0.0, bad)
