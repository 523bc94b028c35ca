from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourwright.errors import InputError
from pourwright.shop.resin import (
    Resin,
    liquid_density_g_ml,
    mix,
    read_resins,
    resin_named,
    resins,
    weight_ratio,
)

PLAIN = Resin(
    name="plain", title="Plain", part_a="A", part_b="B",
    part_a_density_g_ml=1.00, part_b_density_g_ml=1.20, cured_density_g_ml=1.15,
    ratio_basis="volume", ratio_a=1, ratio_b=1,
    pot_life_min=5, viscosity_mpa_s=100, source="made up for tests",
)  # fmt: skip

MINIMAL = """
[plain]
title = "Plain"
part_a = "A"
part_b = "B"
cured_density_g_ml = 1.1
ratio_basis = "weight"
ratio_a = 100
ratio_b = 40
pot_life_min = 5
viscosity_mpa_s = 100
source = "made up for tests"
"""


def changed(**values) -> Resin:
    return dataclasses.replace(PLAIN, **values)


def test_presets_are_the_generic_families():
    assert list(resins()) == ["polyurethane", "epoxy", "polyester"]
    assert all(name == resin.name for name, resin in resins().items())


def test_presets_cannot_be_spoilt_by_a_caller():
    resins().clear()
    assert resin_named("epoxy").name == "epoxy"


def test_unknown_name_lists_the_names():
    with pytest.raises(InputError, match="polyurethane, epoxy, polyester"):
        resin_named("butter")


def test_volume_ratio_to_weight():
    assert weight_ratio(PLAIN) == pytest.approx((100.0, 120.0))


def test_weight_ratio_is_taken_as_it_is():
    assert weight_ratio(changed(ratio_basis="weight", ratio_a=50, ratio_b=20)) == (100.0, 40.0)


def test_masses_of_a_volume_ratio():
    """110 ml of equal volumes: 55 ml at 1.20 and 55 ml at 1.02."""
    result = mix(resin_named("polyurethane"), 100.0, 0.10)
    assert result.poured_ml == 100.0
    assert result.to_mix_ml == pytest.approx(110.0)
    assert result.part_a_g == pytest.approx(66.0)
    assert result.part_b_g == pytest.approx(56.1)


def test_uneven_volume_ratio():
    """90 ml of 2:1 by volume are 60 ml and 30 ml."""
    result = mix(changed(ratio_a=2, ratio_b=1), 90.0, 0.0)
    assert result.part_a_g == pytest.approx(60.0)
    assert result.part_b_g == pytest.approx(36.0)


def test_weight_ratio_with_densities_uses_the_liquid_mixture():
    """100 g at 1.00 and 120 g at 1.20 fill 200 ml."""
    resin = changed(ratio_basis="weight", ratio_a=100, ratio_b=120)
    assert liquid_density_g_ml(resin) == pytest.approx(220 / 200)
    result = mix(resin, 200.0, 0.0)
    assert (result.part_a_g, result.part_b_g) == pytest.approx((100.0, 120.0))


@pytest.mark.parametrize("unknown", ["part_a_density_g_ml", "part_b_density_g_ml"])
def test_weight_ratio_without_a_density_uses_the_cured_one(unknown):
    resin = changed(ratio_basis="weight", ratio_a=100, ratio_b=25, **{unknown: None})
    result = mix(resin, 100.0, 0.0)
    assert (result.part_a_g, result.part_b_g) == pytest.approx((92.0, 23.0))


@pytest.mark.parametrize("unknown", ["part_a_density_g_ml", "part_b_density_g_ml"])
def test_volume_ratio_without_a_density_is_refused(unknown):
    resin = changed(**{unknown: None})
    for function in (weight_ratio, liquid_density_g_ml, lambda r: mix(r, 10.0, 0.1)):
        with pytest.raises(InputError, match="density of a part is not known"):
            function(resin)


@given(
    density_a=st.floats(0.5, 2.0), density_b=st.floats(0.5, 2.0),
    ratio_a=st.floats(1, 100), ratio_b=st.floats(1, 100), poured=st.floats(0.1, 1e5),
    margin=st.floats(0, 1),
)  # fmt: skip
def test_parts_fill_the_volume_whatever_the_basis(
    density_a, density_b, ratio_a, ratio_b, poured, margin
):
    by_volume = changed(
        part_a_density_g_ml=density_a, part_b_density_g_ml=density_b,
        ratio_a=ratio_a, ratio_b=ratio_b,
    )  # fmt: skip
    result = mix(by_volume, poured, margin)
    volume_a, volume_b = result.part_a_g / density_a, result.part_b_g / density_b
    assert volume_a + volume_b == pytest.approx(poured * (1 + margin), rel=1e-9)
    assert volume_b / volume_a == pytest.approx(ratio_b / ratio_a, rel=1e-9)

    hundred, b_per_100 = weight_ratio(by_volume)
    by_weight = dataclasses.replace(
        by_volume, ratio_basis="weight", ratio_a=hundred, ratio_b=b_per_100
    )
    again = mix(by_weight, poured, margin)
    assert (again.part_a_g, again.part_b_g) == pytest.approx(
        (result.part_a_g, result.part_b_g), rel=1e-9
    )


@pytest.mark.parametrize("poured", [0.0, -1.0, float("nan"), float("inf"), "1", None, True])
def test_bad_volume(poured):
    with pytest.raises(InputError, match="poured volume"):
        mix(PLAIN, poured, 0.1)


@pytest.mark.parametrize("margin", [-0.01, 1.5, float("nan"), float("inf"), "10 %", None])
def test_bad_margin(margin):
    with pytest.raises(InputError, match="margin"):
        mix(PLAIN, 10.0, margin)


def test_reading_a_minimal_preset():
    resin = read_resins(MINIMAL, "mine.toml")["plain"]
    assert resin.part_a_density_g_ml is None
    assert resin.demould_min is None
    assert weight_ratio(resin) == (100.0, 40.0)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("ratio_b = 40", "ratio_b = 0", "plain.ratio_b"),
        ("ratio_b = 40", "ratio_b = nan", "plain.ratio_b"),
        ("ratio_b = 40", "ratio_b = true", "plain.ratio_b"),
        ("cured_density_g_ml = 1.1", "cured_density_g_ml = 1100", "plain.cured_density_g_ml"),
        ("cured_density_g_ml = 1.1", 'cured_density_g_ml = "1.1"', "plain.cured_density_g_ml"),
        ("cured_density_g_ml = 1.1", "", "lacks cured_density_g_ml"),
        ("pot_life_min = 5", "pot_life_min = -5", "plain.pot_life_min"),
        ('ratio_basis = "weight"', 'ratio_basis = "mass"', "plain.ratio_basis"),
        ('title = "Plain"', "title = 3", "plain.title"),
        ('title = "Plain"', 'title = " "', "plain.title"),
        ("ratio_a = 100", "ratio_a = 100\ncolour = 'red'", "plain.colour"),
        ("[plain]", "[plain", "not valid TOML"),
        ("[plain]", "plain = 3\n[other]", "plain is 3"),
    ],
)
def test_broken_preset_names_file_and_key(old, new, named):
    assert old in MINIMAL
    with pytest.raises(InputError) as caught:
        read_resins(MINIMAL.replace(old, new), "mine.toml")
    assert named in str(caught.value)
    assert "mine.toml" in str(caught.value)
    assert "\n" not in str(caught.value)
