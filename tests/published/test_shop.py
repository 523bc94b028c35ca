"""Numbers of the bench against definitions, tables and standards, with where they are from.

"Derived" means computed from definitions; "from memory" and "common practice, no source" mean what
they say.
"""

from __future__ import annotations

import pytest

from pourwright.errors import InputError
from pourwright.shop.cautions import ISOCYANATE, NOISE, PRESSURE, VACUUM
from pourwright.shop.clock import Q10, Q10_BAND, pot_life
from pourwright.shop.day import DaySettings
from pourwright.shop.mixing import MixSettings
from pourwright.shop.pressure import Pressure, atmosphere_pa, parse_pressure
from pourwright.shop.process import INHG_PA
from pourwright.shop.resin import Resin, resin_named, weight_ratio
from pourwright.shop.shrinkage import volume_shrinkage
from pourwright.shop.vessel import lid_force_n, stored_energy_j
from pourwright.shop.ways import compare_ways, process_of

VACUUM_29 = Pressure(29, "inHg", "vacuum")


@pytest.mark.parametrize(
    ("altitude_m", "kpa"),
    [(-500, 107.477), (0, 101.325), (1000, 89.8746), (1500, 84.5560), (3000, 70.1085),
     (5000, 54.0199)],
)  # fmt: skip
def test_standard_atmosphere(altitude_m, kpa):
    """Tables of the standard atmosphere (ISO 2533), from memory; the formula is computed anew."""
    assert atmosphere_pa(altitude_m) / 1000 == pytest.approx(kpa, abs=2e-3)


def test_29_inches_cannot_be_had_at_1500_m():
    """1500 m: about 84.6 kPa, which is 25 inHg in all; derived."""
    assert atmosphere_pa(1500) / INHG_PA == pytest.approx(25.0, abs=0.05)
    with pytest.raises(InputError) as caught:
        process_of("vacuum", VACUUM_29, altitude_m=1500)
    assert "84.6 kPa" in str(caught.value)
    assert "at 1500 m" in str(caught.value)
    assert "25 inHg there" in str(caught.value)


@pytest.mark.parametrize(
    ("inhg", "kpa"), [(25, 16.67), (27, 9.89), (28, 6.51), (29, 3.12)]
)
def test_vacuum_gauges_at_sea_level(inhg, kpa):
    """Derived from one standard atmosphere."""
    absolute = parse_pressure(f"{inhg} inHg vacuum").absolute_pa()
    assert absolute / 1000 == pytest.approx(kpa, abs=5e-3)


def test_what_each_way_leaves():
    """Boyle, derived: 40 psig leaves 1/3.722, 29 inHg and then 60 psig 0.61 %."""
    ways = compare_ways([10.0, 1e-4], VACUUM_29, Pressure(60, "psi", "gauge"))
    assert ways["open"].factor == 1.0
    assert ways["vacuum"].factor == pytest.approx(3.12 / 101.325, abs=1e-5)
    assert 1 / ways["pressure"].factor == pytest.approx(5.083, abs=5e-4)
    assert ways["vacuum_pressure"].factor == pytest.approx(0.0061, abs=5e-5)
    assert ways["open"].bubbles_mm[0] == pytest.approx(2.673, abs=1e-3)  # (60/pi)^(1/3)
    assert [ways[w].visible for w in ways] == [1, 1, 1, 1]
    forty = process_of("pressure", pressure=Pressure(40, "psi", "gauge"))
    assert 1 / forty.residual_factor == pytest.approx(3.722, abs=5e-4)


def test_equal_volumes_of_unequal_parts():
    """1:1 by volume at 1.00 and 1.20 is 100:120 by weight; derived."""
    resin = Resin("a", "A", "A", "B", 1.0, 1.2, 1.1, "volume", 1, 1, 5, 100, "made up")
    assert weight_ratio(resin) == pytest.approx((100.0, 120.0))


def test_shrinkage_of_volume():
    """0.3 % along a line is 0.897 % of the volume; derived."""
    assert volume_shrinkage(0.003) == pytest.approx(0.00897, abs=5e-6)


def test_pot_life_and_temperature():
    """Q10 = 2 with a band of 1.3 to 2.2, an activation energy of about 51 kJ/mol; from memory."""
    assert (Q10, Q10_BAND) == (2.0, (1.3, 2.2))
    resin = resin_named("epoxy")
    warm = pot_life(resin, resin.pot_life_at_c + 10)
    assert warm.minutes == pytest.approx(20.0)
    assert (warm.shortest_min, warm.longest_min) == pytest.approx((40 / 2.2, 40 / 1.3))
    cold = pot_life(resin, resin.pot_life_at_c - 10)
    assert (cold.shortest_min, cold.minutes, cold.longest_min) == pytest.approx((52, 80, 88))
    # Arrhenius with 51 kJ/mol over 20 to 30 C doubles the rate.
    import math

    rate = math.exp(51_000 / 8.314462618 * (1 / 293.15 - 1 / 303.15))
    assert rate == pytest.approx(Q10, abs=0.03)


def test_energy_of_compressed_air():
    """ASME PCC-2, App. II: 1 m3 at 1 MPa absolute 1.202 MJ; 10 L at 60 psig 4.79 kJ.

    The standard's air has 101 000 Pa.
    """
    assert stored_energy_j(1e6, 1000.0) / 1e6 == pytest.approx(1.202, abs=1e-3)
    sixty = parse_pressure("60 psi gauge").absolute_pa(101_000.0)
    assert stored_energy_j(sixty, 10.0) / 1000 == pytest.approx(4.79, abs=5e-3)
    assert stored_energy_j(101_000.0, 10.0) == 0.0
    # Isentropic expansion with k = 1.4, from the definition: 0.286 is its (k - 1) / k, rounded.
    exact = sixty * 0.010 / 0.4 * (1 - (101_000 / sixty) ** (0.4 / 1.4))
    assert stored_energy_j(sixty, 10.0) == pytest.approx(exact, rel=2e-3)


def test_force_on_a_vacuum_lid():
    """250 mm under a full atmosphere: about 5 kN; derived."""
    assert lid_force_n(250, 101_325) == pytest.approx(4974, abs=1)
    assert "about 5 kN" in VACUUM.words


def test_defaults_of_the_trade():
    """Degassing cup 3 to 5 x, mould life 20 of 10 to 50: found in trade texts. The sheet asks
    for the larger cup. Resin margin 10 %: common practice, no source."""
    assert MixSettings().cup_factor == 4.0
    assert DaySettings().mould_life == 20
    assert MixSettings().margin == 0.10


def test_cautions_say_what_the_rules_say():
    """NIOSH and OSHA limits, EU 2020/1149, OSHA's hazard bulletin of 20 May 1988 and 1910.95:
    published copies."""
    assert "0.05 mg/m3, ceiling 0.2" in ISOCYANATE.words
    assert "0.1 %" in ISOCYANATE.words
    assert "cannot assess" in ISOCYANATE.words
    for words in ("relief valve", "Never PVC", "competent person", "Vent fully"):
        assert words in PRESSURE.words
    assert "85 dBA" in NOISE.words
    for caution in (ISOCYANATE, PRESSURE, VACUUM, NOISE):
        assert caution.source
        assert " safe" not in caution.words.replace("Safety", "")
