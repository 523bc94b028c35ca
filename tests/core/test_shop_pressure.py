from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourwright.errors import InputError
from pourwright.shop.pressure import (
    REFERENCES,
    UNITS_PA,
    Pressure,
    atmosphere_pa,
    parse_pressure,
    reading,
)
from pourwright.shop.process import ATMOSPHERE_PA, INHG_PA, PSI_PA, Process
from pourwright.shop.ways import WAYS, compare_ways, process_of

VACUUM = Pressure(27, "inHg", "vacuum")
PRESSURE = Pressure(40, "psi", "gauge")


@given(
    pa=st.floats(10.0, 4e6), unit=st.sampled_from(sorted(UNITS_PA)),
    reference=st.sampled_from(REFERENCES), altitude=st.floats(-500, 6000),
)  # fmt: skip
def test_reading_and_back(pa, unit, reference, altitude):
    ambient = atmosphere_pa(altitude)
    if (reference == "gauge" and pa < ambient) or (reference == "vacuum" and pa > ambient):
        with pytest.raises(InputError):
            reading(pa, unit, reference, ambient)
        return
    shown = reading(pa, unit, reference, ambient)
    assert (shown.unit, shown.reference) == (unit, reference)
    assert shown.absolute_pa(ambient) == pytest.approx(pa, rel=1e-9)


@given(a=st.floats(-500, 6000), b=st.floats(-500, 6000))
def test_air_gets_thinner(a, b):
    if a < b:
        assert atmosphere_pa(a) >= atmosphere_pa(b)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("60 psi gauge", Pressure(60, "psi", "gauge")),
        ("60psig", Pressure(60, "psi", "gauge")),
        (" 2.5 BAR abs ", Pressure(2.5, "bar", "absolute")),
        ("29 inhg vac", Pressure(29, "inHg", "vacuum")),
        ("3 kPaa", Pressure(3, "kPa", "absolute")),
        ("1e5 Pa absolute", Pressure(1e5, "Pa", "absolute")),
    ],
)
def test_texts(text, expected):
    assert parse_pressure(text) == expected
    assert parse_pressure(str(expected)) == expected


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("60 psi", "gauge or absolute"),
        ("60", "no pressure"),
        ("", "no pressure"),
        ("1.2.3 bar gauge", "no pressure"),
        ("-5 psi gauge", "is -5"),
        ("60 psi up", "no label"),
        ("5 mmHg vacuum", "no pressure"),
        ("1e400 psi gauge", "is inf"),
    ],
)
def test_bad_texts(text, named):
    with pytest.raises(InputError) as caught:
        parse_pressure(text)
    assert named in str(caught.value)


def test_gauge_counts_from_the_air_of_the_place():
    assert PRESSURE.absolute_pa() == pytest.approx(ATMOSPHERE_PA + 40 * PSI_PA)
    high = atmosphere_pa(2000)
    assert PRESSURE.absolute_pa(high) == pytest.approx(high + 40 * PSI_PA)
    absolute = Pressure(300, "kPa", "absolute")
    assert absolute.absolute_pa(high) == absolute.absolute_pa() == 300_000


@pytest.mark.parametrize("kpa", [101.325, 120])
def test_no_better_than_nothing(kpa):
    with pytest.raises(InputError, match="cannot be reached"):
        Pressure(kpa, "kPa", "vacuum").absolute_pa()


def test_ways():
    for altitude in (0, 600):
        ambient = atmosphere_pa(altitude)
        made = {
            way: process_of(way, VACUUM if "vacuum" in way else None,
                            PRESSURE if "pressure" in way else None, altitude)
            for way in WAYS
        }  # fmt: skip
        trap = ambient - 27 * INHG_PA
        cure = PRESSURE.absolute_pa(ambient)
        assert [(p.trap_pa, p.cure_pa) for p in made.values()] == [
            (ambient, ambient), (trap, ambient), (ambient, cure), (trap, cure),
        ]  # fmt: skip
        assert all(isinstance(p, Process) and p.name == way for way, p in made.items())


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("vacuum",), "needs a vacuum"),
        (("vacuum_pressure", VACUUM), "needs a pressure"),
        (("open", VACUUM), "has no vacuum"),
        (("pressure", VACUUM, PRESSURE), "has no vacuum"),
        (("stir",), "way to pour"),
        (("vacuum", Pressure(120, "kPa", "absolute")), "no vacuum: the air has 101.3"),
        (("pressure", None, Pressure(90, "kPa", "absolute")), "not above the air"),
        (("pressure", None, Pressure(0, "psi", "gauge")), "not above the air"),
        (("vacuum", VACUUM, None, 9000), "altitude"),
        (("vacuum", VACUUM, None, float("nan")), "altitude"),
        (("vacuum", VACUUM, None, 1500), "at 1500 m"),
    ],
)
def test_ways_that_do_not_go(arguments, named):
    with pytest.raises(InputError) as caught:
        process_of(*arguments)
    assert named in str(caught.value)


def test_more_done_leaves_less():
    ways = compare_ways([0.5, 3.0, 200.0], VACUUM, PRESSURE)
    order = [ways[w].factor for w in ("open", "pressure", "vacuum", "vacuum_pressure")]
    assert order == sorted(order, reverse=True)
    for result in ways.values():
        seen = sum(d > 0.3 for d in result.bubbles_mm)
        assert result.visible == seen
        assert list(result.bubbles_mm) == sorted(result.bubbles_mm)
