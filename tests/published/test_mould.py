"""Mould rubber against worked numbers, with where they are from.

"Derived" means computed by hand from definitions; "from memory" and "common practice, no source"
mean what they say.
"""

from __future__ import annotations

import pytest

from pourwright.mould.rubber import CUP_TIMES_MIX
from pourwright.mould.settings import BoxSettings
from pourwright.mould.trapped import VACUUM_SHARE
from pourwright.shop.process import ATMOSPHERE_PA, INHG_PA
from pourwright.shop.resin import mix, weight_ratio
from pourwright.shop.silicone import silicone_named

# Name: density and linear shrinkage, lowest and highest; from memory.
FAMILIES = {"condensation": ((1.05, 1.35), (0.002, 0.012)), "addition": ((1.03, 1.20), (0, 0.002))}


@pytest.mark.parametrize("name", FAMILIES)
def test_families_are_in_their_ranges(name):
    """From memory; a product's data sheet overrides them."""
    rubber, (density, shrinkage) = silicone_named(name), FAMILIES[name]
    assert density[0] <= rubber.cured_density_g_ml <= density[1]
    assert shrinkage[0] <= rubber.linear_shrinkage <= shrinkage[1]
    assert bool(rubber.inhibited_by) == (name == "addition")


def test_ten_to_one_by_weight():
    """1 l of 1.15 g/ml, 10:1 by weight: 1150 g are 1045.45 g and 104.55 g; derived."""
    rubber = silicone_named("condensation")
    assert weight_ratio(rubber) == (100.0, pytest.approx(10.0))
    mixed = mix(rubber, 1000.0, 0.0)
    assert mixed.part_a_g == pytest.approx(1045.4545)
    assert mixed.part_b_g == pytest.approx(104.5454)


def test_rules_of_the_trade():
    """Common practice, no source: rubber 6 to 12 mm, margin 10 to 20 %, cup 3-5 times mix."""
    box = BoxSettings()
    assert 6 <= box.wall_mm <= 12 and 6 <= box.cover_mm <= 12
    assert 0.10 <= box.margin <= 0.20
    assert 3 <= CUP_TIMES_MIX <= 5


def test_what_a_vacuum_leaves():
    """29 inHg at sea level is 3.12 kPa absolute, 3.08 % of an atmosphere; Boyle, derived."""
    left = (ATMOSPHERE_PA - 29 * INHG_PA) / ATMOSPHERE_PA
    assert pytest.approx(left, abs=2e-4) == VACUUM_SHARE
