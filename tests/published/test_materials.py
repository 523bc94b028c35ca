"""Numbers of materials and pressures against tables and common practice, with where they are from.

"Derived" means computed here from definitions; "from memory" and "common practice, no source"
mean what they say: such a test guards a default against slips, it proves nothing about a product.
"""

from __future__ import annotations

import pytest

from pourwright.shop.process import (
    ATMOSPHERE_PA,
    INHG_PA,
    PROCESSES,
    PSI_PA,
    Process,
    process_named,
)
from pourwright.shop.resin import resin_named


def pot(psi_gauge: float) -> Process:
    return Process("pot", "pot", ATMOSPHERE_PA, ATMOSPHERE_PA + psi_gauge * PSI_PA)


def test_units_of_pressure():
    assert ATMOSPHERE_PA == 101_325.0  # exact by definition
    assert pytest.approx(6894.757, abs=5e-4) == PSI_PA  # NIST SP 811
    assert pytest.approx(3386.389, abs=5e-4) == INHG_PA  # NIST SP 811, from memory
    # A pound-force on a square inch, from the definitions of pound, inch and standard gravity.
    assert pytest.approx(0.45359237 * 9.80665 / 0.0254**2, rel=1e-7) == PSI_PA


@pytest.mark.parametrize(
    ("psi_gauge", "volume_divisor", "diameter_factor"),
    [(40, 3.722, 0.645), (60, 5.083, 0.582)],
)
def test_bubbles_under_pressure(psi_gauge, volume_divisor, diameter_factor):
    """Boyle's law, derived."""
    process = pot(psi_gauge)
    assert 1 / process.residual_factor == pytest.approx(volume_divisor, abs=5e-4)
    before = pot(0).residual_diameter_mm(10.0)
    assert process.residual_diameter_mm(10.0) / before == pytest.approx(diameter_factor, abs=5e-4)


@pytest.mark.parametrize(
    ("inhg_gauge", "kpa_absolute", "growth"),
    [(25, 16.67, 6.1), (27, 9.89, 10.2), (28, 6.51, 15.6), (29, 3.12, 32.5)],
)
def test_vacuum_gauge_at_sea_level(inhg_gauge, kpa_absolute, growth):
    """Gauge readings at one standard atmosphere, derived; bubbles grow by Boyle's law."""
    absolute_pa = ATMOSPHERE_PA - inhg_gauge * INHG_PA
    assert absolute_pa / 1000 == pytest.approx(kpa_absolute, abs=5e-3)
    degassing = Process("cup", "cup", ATMOSPHERE_PA, absolute_pa)
    assert degassing.residual_factor == pytest.approx(growth, abs=0.05)


def test_vacuum_then_pressure_leaves_little():
    """Sealed at 29 inHg, then 60 psig: 0.61 % of the volume, derived."""
    assert process_named("vacuum_pressure").residual_factor == pytest.approx(0.0061, abs=5e-5)


def test_altitude_makes_29_inhg_impossible():
    """1500 m: about 84.6 kPa (standard atmosphere), which is 25 inHg in all."""
    kpa = 101.325 * (1 - 2.25577e-5 * 1500) ** 5.25588
    assert kpa == pytest.approx(84.6, abs=0.1)
    assert kpa * 1000 / INHG_PA == pytest.approx(25.0, abs=0.1)


def test_named_processes_are_pot_pressures_of_the_trade():
    """40 and 60 psi gauge: common practice, no source."""
    assert set(PROCESSES) == {"open", "pressure", "vacuum_pressure", "vacuum"}
    assert PROCESSES["open"].residual_factor == 1.0
    assert PROCESSES["pressure"].residual_factor == pot(40).residual_factor
    assert PROCESSES["vacuum_pressure"].cure_pa == pot(60).cure_pa


@pytest.mark.parametrize(
    ("name", "key", "low", "default", "high"),
    [
        ("polyurethane", "cured_density_g_ml", 1.02, 1.05, 1.12),
        ("polyurethane", "part_a_density_g_ml", 1.10, 1.20, 1.24),
        ("polyurethane", "part_b_density_g_ml", 0.95, 1.02, 1.08),
        ("polyurethane", "viscosity_mpa_s", 40, 80, 300),
        ("polyurethane", "pot_life_min", 1.5, 3, 7),
        ("polyurethane", "demould_min", 10, 15, 60),
        ("epoxy", "cured_density_g_ml", 1.08, 1.10, 1.20),
        ("epoxy", "viscosity_mpa_s", 200, 500, 1500),
        ("epoxy", "pot_life_min", 15, 40, 300),
        ("epoxy", "demould_min", 8 * 60, 24 * 60, 72 * 60),
        ("polyester", "cured_density_g_ml", 1.12, 1.20, 1.25),
        ("polyester", "viscosity_mpa_s", 200, 400, 1000),
        ("polyester", "pot_life_min", 5, 15, 30),
        ("polyester", "demould_min", 60, 4 * 60, 24 * 60),
    ],
)
def test_default_of_a_family(name, key, low, default, high):
    """Defaults and plausible ranges of generic families, from memory."""
    value = getattr(resin_named(name), key)
    assert value == default
    assert low <= value <= high
    assert "from memory" in resin_named(name).source


def test_mix_ratios_are_of_the_trade():
    """1:1 by volume, 100:25 to 100:50 and 1 to 2 % by weight: common practice, no source."""
    polyurethane, epoxy, polyester = map(resin_named, ("polyurethane", "epoxy", "polyester"))
    assert (polyurethane.ratio_basis, polyurethane.ratio_a, polyurethane.ratio_b) == (
        "volume",
        1,
        1,
    )
    assert epoxy.ratio_basis == polyester.ratio_basis == "weight"
    assert 25 <= 100 * epoxy.ratio_b / epoxy.ratio_a <= 50
    assert 1 <= 100 * polyester.ratio_b / polyester.ratio_a <= 2
    for resin in (polyurethane, epoxy, polyester):
        assert "common practice" in resin.source
        assert "no source" in resin.source
