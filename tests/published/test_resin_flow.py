"""Flow, head, funnels and shrinkage against published and worked numbers, with where they are from.

"Derived" means computed by hand from definitions; "from memory" and "common practice, no source"
mean what they say.
"""

from __future__ import annotations

import pytest

from pourwright.shop.feed import frustum_mm3
from pourwright.shop.flow import (
    GRAVITY_M_S2,
    LAMINAR_REYNOLDS,
    Liquid,
    Section,
    fill_time_s,
    flow_mm3_s,
    flow_under_head,
    head_pa,
    liquid_of,
    pressure_pa,
    torricelli_m_s,
)
from pourwright.shop.resin import resin_named
from pourwright.shop.shrinkage import linear_shrinkage, master_scale, volume_shrinkage

MMHG_PA = 133.322  # millimetre of mercury, NIST SP 811 (from memory)
RESIN = Liquid(viscosity_pa_s=0.1, density_kg_m3=1050.0)


def test_needle_of_a_drip():
    """OpenStax, College Physics, section 12.4 (from memory, arithmetic checked).

    1.2e-7 m3/s of saline, 1e-3 Pa s, through a needle of 0.15 mm radius and 25 mm length into a
    vein at 8 mmHg takes 1.62e4 Pa.
    """
    through = pressure_pa([Section(0.30, 25.0)], 1.0e-3, 1.2e-7 * 1e9)
    assert through + 8 * MMHG_PA == pytest.approx(1.62e4, rel=3e-3)


def test_resin_in_a_vent():
    """2 mm x 50 mm, 0.1 Pa s, 1050 kg/m3, head 50 mm: 515 Pa, 0.0404 mL/s, Re 0.27; derived."""
    flow = flow_under_head([Section(2.0, 50.0)], RESIN, 50.0)
    assert head_pa(1050.0, 50.0) == pytest.approx(515, abs=0.5)
    assert flow.flow_mm3_s / 1000 == pytest.approx(0.0404, abs=5e-5)
    assert flow.reynolds == pytest.approx(0.27, abs=5e-3)
    assert flow.laminar and flow.notes == ()


@pytest.mark.parametrize(("diameter_mm", "pascals"), [(1.0, 111.0), (0.5, 16 * 111.0)])
def test_air_in_a_vent(diameter_mm, pascals):
    """5 mL/s of air through 1 mm x 30 mm: 111 Pa, 11 mm of resin; half the diameter: x16; derived.

    Air of 1.81e-5 Pa s at 20 C (from memory).
    """
    pressure = pressure_pa([Section(diameter_mm, 30.0)], 1.81e-5, 5000.0)
    assert pressure == pytest.approx(pascals, rel=5e-3)
    if diameter_mm == 1.0:
        assert pressure / head_pa(1050.0, 1.0) == pytest.approx(11, abs=0.5)


def test_free_jet():
    """Torricelli, 50 mm: 0.990 m/s, an upper bound only; derived."""
    assert torricelli_m_s(50.0) == pytest.approx(0.990, abs=5e-4)
    assert GRAVITY_M_S2 == 9.80665  # exact by definition


def test_twice_as_wide_is_sixteen_times_as_fast():
    """Hagen and Poiseuille's fourth power."""
    times = [fill_time_s([Section(d, 20.0)], RESIN, 1000.0, 40.0, 10.0) for d in (1.5, 3.0)]
    assert times[0] / times[1] == pytest.approx(16.0)


def test_where_laminar_flow_ends():
    """Textbooks give a Reynolds number of 2000 to 2300 (from memory)."""
    assert 2000 <= LAMINAR_REYNOLDS <= 2300


@pytest.mark.parametrize(
    ("name", "viscosity_mpa_s", "pot_life_min"),
    [("polyurethane", (40, 300), (1.5, 7)), ("epoxy", (200, 1500), (15, 600)),
     ("polyester", (200, 1000), (5, 30))],
)  # fmt: skip
def test_viscosity_and_pot_life_of_generic_resins(name, viscosity_mpa_s, pot_life_min):
    """Ranges from memory; a product's data sheet overrides them."""
    resin = resin_named(name)
    assert viscosity_mpa_s[0] <= resin.viscosity_mpa_s <= viscosity_mpa_s[1]
    assert pot_life_min[0] <= resin.pot_life_min <= pot_life_min[1]
    assert liquid_of(resin).viscosity_pa_s == pytest.approx(resin.viscosity_mpa_s / 1000)


def test_density_of_the_poured_polyurethane():
    """Equal volumes of 1.20 and 1.02 g/ml are 1110 kg/m3; derived."""
    assert liquid_of(resin_named("polyurethane")).density_kg_m3 == pytest.approx(1110.0)


def test_shrinkage_along_a_line_and_of_volume():
    """0.3 % linear is 0.897 % of volume, 1 - (1 - s)^3; derived."""
    assert volume_shrinkage(0.003) == pytest.approx(0.00897, abs=5e-6)
    assert linear_shrinkage(volume_shrinkage(0.003)) == pytest.approx(0.003, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("polyurethane", 0.001, 0.01),
     ("epoxy", linear_shrinkage(0.02), linear_shrinkage(0.07)),
     ("polyester", linear_shrinkage(0.05), linear_shrinkage(0.13))],
)  # fmt: skip
def test_shrinkage_of_generic_resins(name, low, high):
    """Polyurethane from memory; epoxy 2-7 % and polyester 5-13 % of volume, published copies."""
    assert low <= resin_named(name).linear_shrinkage <= high


def test_master_for_resin_and_rubber():
    """0.3 % resin in rubber of 0.4 %: the cast is 0.997 x 0.996 of the master; derived."""
    assert master_scale(0.003, 0.004) == pytest.approx(1.00704, abs=5e-6)


def test_cone_frustum():
    """Radii 3 and 2, height 5: 99.484; derived. Moscow papyrus 14 is the square one: 56."""
    assert frustum_mm3(6.0, 4.0, 5.0) == pytest.approx(99.484, abs=5e-4)


def test_flow_of_the_needle_the_other_way_round():
    """The same needle: the pressure less the vein's drives 0.120 mL/s through it."""
    assert flow_mm3_s([Section(0.30, 25.0)], 1.0e-3, 1.62e4 - 8 * MMHG_PA) == pytest.approx(
        120.0, rel=4e-3
    )
