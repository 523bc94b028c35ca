from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from pourwright.plan.job import Job
from pourwright.report import air_report, materials_report, plan_report
from pourwright.shop.resin import resins
from pourwright.solid.protect import Protection
from tests.core.example_plan import example_check, example_plan, pocket


def rows_under(report: str, headline: str) -> list[list[str]]:
    lines = iter(report.splitlines())
    assert any(line.startswith(headline) for line in lines)
    next(lines)
    rows = []
    for line in lines:
        if not line.startswith("  "):
            break
        rows.append(line.split())
    return rows


def test_plan_report_has_what_a_caster_needs():
    text = plan_report(example_plan(), ["figure.stl"], [Path("out/master.3mf")])
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 100
    assert "10.0 x 10.0 x 10.0 mm, 1.00 ml, 2 shells, 24 triangles" in text
    assert "turned at (1.0, 2.0, 3.0)" in text
    assert "3, of which 2 matter (bubble over 0.3 mm)" in text
    assert rows_under(text, "Air pockets before") == [
        ["1", "1.0", "2.0", "-5.0", "12.50", "1.85", "yes", "1"],
        ["3", "1.0", "2.0", "-5.0", "12.50", "1.85", "yes", "2"],
        ["2", "1.0", "2.0", "-5.0", "1e-07", "0.00", "no", "1"],
    ]
    assert rows_under(text, "Vents: 2 rods")[:2] == [
        ["1", "rod", "1.0", "2.0", "-5.0", "1.5", "28.2", "2.0", "1,", "2"],
        ["2", "bridge", "4.0", "0.0", "-5.0", "0.8", "4.0", "1.2", "3"],
    ]
    assert rows_under(text, "  Rods with joints") == [
        ["1", "7.2", "+", "21.0", "56", "34", "0"]
    ]
    assert rows_under(text, "Air pockets of the finished") == [
        ["1", "1.0", "2.0", "-5.0", "1e-05", "0.02", "no"]
    ]
    assert (
        "\n\nLoops of rubber to slit\n  vent 2: It joins the figure at both ends; "
        "slit the rubber at (6.0, 0.0, -7.0)\n\n"
    ) in text
    assert "part A       29.7 g   isocyanate part" in text
    assert "part B       25.2 g   polyol part" in text
    assert "TO DECIDE: A part of the cavity has no opening at (0.0, 0.0, 1.0)" in text
    assert "  The pot life is short" in text
    assert text.endswith("Written\n  out/master.3mf")
    assert "\n\n\n" not in text
    assert "protected" not in text


def test_straight_rods_need_no_table_of_pieces():
    plan = example_plan()
    text = plan_report(dataclasses.replace(plan, vents=plan.vents[1:]), ["a"], [])
    assert "Vents: 1 rod" in text
    assert "joints" not in text


def test_a_ring_that_the_warnings_tell_of_is_not_told_twice():
    plan = example_plan()
    told = dataclasses.replace(plan.warnings[1], message=plan.rings[0].message)
    text = plan_report(dataclasses.replace(plan, warnings=(told,)), ["a"], [])
    assert text.count("slit the rubber") == 1
    assert "Loops" not in text


def test_report_says_what_is_protected():
    check = example_check()
    cloud = Protection(np.array([[1.0, 2, 3], [4, 5, 6], [9, 9, 9]]), np.array([0.5, 1, 0]))
    figure = dataclasses.replace(check.figure, protection=cloud)
    text = air_report(dataclasses.replace(check, figure=figure), ["a"])
    assert "  protected: surface between (1.0, 2.0, 3.0) and (4.0, 5.0, 6.0)\n" in text


def test_drops_of_catalyst_are_not_rounded_away():
    plan = example_plan(job=Job(material="polyester"))
    assert plan.resin.part_b_g == pytest.approx(49.5 * 1.2 * 1.5 / 101.5)
    assert "part B       0.88 g   peroxide catalyst" in plan_report(plan, ["a"], [])


def test_place_is_not_told_twice():
    plan = example_plan()
    at = (1.0, 2.0, 3.0)
    told = dataclasses.replace(plan.warnings[0], message="Air at (1.0, 2.0, 3.0) mm", at_mm=at)
    text = plan_report(dataclasses.replace(plan, warnings=(told,)), ["a"], [])
    assert text.endswith("TO DECIDE: Air at (1.0, 2.0, 3.0) mm")


def test_clean_plan_is_short():
    plan = dataclasses.replace(
        example_plan(), pockets=(), vents=(), pockets_after=(), warnings=(), rings=()
    )
    text = plan_report(plan, ["a.stl", "b.stl"], [])
    assert "Air pockets before venting: none" in text
    assert "Vents: none" in text
    assert "Warnings" not in text
    assert "Loops" not in text
    assert "Written" not in text
    assert text.startswith("Figure   a.stl, b.stl\n")


def test_air_report():
    check = example_check((pocket(), pocket(matters=False, residual_diameter_mm=0.1)))
    text = air_report(check, ["a.stl"])
    assert "2, of which 1 matters (bubble over 0.3 mm)" in text
    assert "trapped air ends up at 27 % of its volume" in text
    assert "Open at  (0.0, 0.0, -5.0)" in text
    assert text.endswith("1 pocket would leave a visible bubble.")
    assert air_report(example_check(()), ["a"]).endswith("No pocket leaves a visible bubble.")


def test_largest_bubbles_come_first_and_the_table_ends():
    many = tuple(pocket(residual_diameter_mm=i / 100) for i in range(100))
    rows = rows_under(air_report(example_check(many), ["a"]), "Air pockets")
    assert [row[0] for row in rows[:-1]] == [str(i) for i in range(100, 70, -1)]
    assert rows[-1] == ["...", "and", "70", "smaller", "ones"]


def test_materials_report_lists_every_resin():
    text = materials_report(resins().values())
    assert "polyurethane      100:85        1.05     3 min   15 min" in text
    assert all(name in text for name in resins())
