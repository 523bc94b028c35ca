"""Straight vents: where they stand, what they clear, what they cannot serve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapes import as_mesh, box

from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.shop.process import PROCESSES
from pourwright.solid import boolean, intake
from pourwright.sprue import BaseSettings
from pourwright.vents import VentSettings

OPEN = Job(process=PROCESSES["open"], base=BaseSettings(width_mm=24))


def planned(*boxes, job: Job = OPEN):
    return plan_pour(intake([as_mesh(box(*b)) for b in boxes]), job)


# A post with an arm, and a hand hanging from the arm's end: one pocket in the hand.
POST, ARM, HAND = ((-4, -4, 0), (4, 4, 40)), ((0, -3, 30), (40, 3, 36)), ((34, -3, 18), (40, 3, 31))


def test_a_free_hanging_pocket_gets_a_rod_to_the_mould_top_plane():
    plan = planned(POST, ARM, HAND)
    (vent,) = plan.vents
    assert vent.kind == "rod"
    assert vent.serves == (0,)
    (x, y, z), (x2, y2, z2) = vent.path_mm
    assert 34 <= x <= 40 and -3 <= y <= 3
    assert (x, y) == pytest.approx((x2, y2), abs=1e-9)
    assert z == pytest.approx(18)
    assert -z2 == pytest.approx(plan.board_height_mm, abs=1e-6)
    assert vent.length_mm == pytest.approx(z - z2)
    assert plan.pockets_after == () or not any(p.matters for p in plan.pockets_after)
    assert not plan.undecided


def test_the_pocket_is_measured_from_where_the_hand_meets_the_arm():
    (pocket,) = (p for p in planned(POST, ARM, HAND).pockets if p.matters)
    assert pocket.saddle_height_mm == pytest.approx(-30)
    assert pocket.peak_mm[2] == pytest.approx(18)
    assert pocket.volume_mm3 == pytest.approx(6 * 6 * 12)


def test_above_the_base_the_rod_is_a_bridge():
    job = replace(OPEN, base=BaseSettings(width_mm=110))
    plan = planned(POST, ARM, HAND, job=replace(job, funnel=replace(job.funnel, height_mm=25)))
    (vent,) = plan.vents
    assert vent.kind == "bridge"
    assert vent.path_mm[1][2] == pytest.approx(1.0)  # the base's top face
    assert not plan.undecided


def test_a_bridge_to_a_part_that_is_drained_itself():
    """The hand hangs over a shelf: the rod ends on the shelf."""
    shelf = ((0, -8, 4), (50, 8, 10))
    plan = planned(POST, ARM, HAND, shelf)
    assert {v.kind for v in plan.vents} == {"bridge", "rod"} or [
        v.kind for v in plan.vents
    ] == ["bridge"]
    over_shelf = [v for v in plan.vents if v.path_mm[0][2] == pytest.approx(18)]
    assert over_shelf[0].path_mm[1][2] == pytest.approx(10)
    assert not any(p.matters for p in plan.pockets_after)


def test_a_pocket_with_two_tops_gets_two_rods():
    fork = ((34, -9, 12), (40, -5, 18.5)), ((34, 5, 12), (40, 9, 18.5)), ((34, -9, 18), (40, 9, 22))
    plan = planned(POST, ARM, HAND, *fork)
    assert len(plan.vents) == 2
    assert {v.serves for v in plan.vents} == {(0,)}
    assert not any(p.matters for p in plan.pockets_after)


def test_the_wall_of_a_thin_shelf_is_not_pierced():
    """A rod through a thin shelf would make a new high point on its far side."""
    shelf = ((0, -8, 6), (50, 8, 6.4))
    plan = planned(POST, ARM, HAND, shelf)
    rod = next(v for v in plan.vents if v.path_mm[0][2] == pytest.approx(18))
    body = plan.vent_meshes[plan.vents.index(rod)]
    assert body.bounds_mm[0, 2] > 6.0
    assert not any(p.matters for p in plan.pockets_after)


def test_what_a_straight_rod_cannot_serve_is_said():
    """The hand stands in a well of the figure: walls too near on all sides."""
    wall = 0.9
    well = [
        ((34 - wall - 2, -3 - wall - 2, 6), (34 - wall, 3 + wall + 2, 28)),
        ((40 + wall, -3 - wall - 2, 6), (40 + wall + 2, 3 + wall + 2, 28)),
        ((34 - wall - 2, -3 - wall - 2, 6), (42 + wall, -3 - wall, 28)),
        ((34 - wall - 2, 3 + wall, 6), (42 + wall, 3 + wall + 2, 28)),
        ((0, -3, 10), (35, 3, 16)),
    ]
    thick = replace(OPEN, vents=VentSettings(diameter_mm=9, least_diameter_mm=9, web_mm=3))
    plan = planned(POST, ARM, HAND, *well, job=thick)
    assert plan.undecided
    left = [w for w in plan.warnings if w.code == "pocket_left"]
    assert left and all(w.open and w.at_mm for w in left)
    assert any("no straight rod fits" in w.message for w in left)
    assert any(p.matters for p in plan.pockets_after)


def test_where_the_thick_rod_has_no_room_a_thinner_one_is_used():
    finger = ((37, -1, 18), (39, 1, 31))
    slot = [
        ((33, -6, 2), (35.8, 6, 14)), ((40.2, -6, 2), (43, 6, 14)),
        ((33, -6, 2), (43, -3.2, 14)), ((33, 3.2, 2), (43, 6, 14)), ((0, -6, 2), (34, 6, 6)),
    ]
    rules = VentSettings(diameter_mm=4.0, least_diameter_mm=1.0, web_mm=1.0)
    job = replace(OPEN, vents=rules)
    plan = planned(POST, ARM, finger, *slot, job=job)
    over = [v for v in plan.vents if v.path_mm[0][2] == pytest.approx(18)]
    assert [v.diameter_mm for v in over] == [pytest.approx(1.0)]
    thick = replace(job, vents=replace(rules, least_diameter_mm=4.0))
    assert planned(POST, ARM, finger, *slot, job=thick).undecided


def test_webs_are_as_measured_on_the_finished_geometry():
    """Away from its two ends a rod keeps the web it says, by manifold3d's own distance."""
    plan = planned(POST, ARM, HAND, ((30, 5, 0.5), (50, 8, 12)))
    rules = plan.job.vents
    rest = boolean.union([plan.figure.mesh, plan.base, plan.funnel])
    meter = boolean.GapMeter(rest)
    for vent, body in zip(plan.vents, plan.vent_meshes, strict=True):
        zone = rules.web_mm + vent.diameter_mm / 2
        low, high = sorted(p[2] for p in vent.path_mm)
        if vent.kind == "bridge":
            low += zone
        core = body.vertices.copy()
        core[:, 2] = np.clip(core[:, 2], low, high - zone)
        gap = meter.gap_mm(type(body)(core, body.faces), rules.web_mm)
        assert gap == pytest.approx(vent.web_mm, abs=1e-6)


def test_rods_follow_a_tilted_pour_direction():
    up = (0.3, 0.1, -1.0)
    plan = planned(POST, ARM, HAND, job=replace(OPEN, up=up))
    direction = np.array(up) / np.linalg.norm(up)
    assert plan.vents
    for vent in plan.vents:
        step = np.subtract(vent.path_mm[1], vent.path_mm[0])
        np.testing.assert_allclose(step / np.linalg.norm(step), direction, atol=1e-9)
        if vent.kind == "rod":
            assert np.dot(vent.path_mm[1], direction) == pytest.approx(
                plan.board_height_mm, abs=1e-6
            )
    assert not any(p.matters for p in plan.pockets_after)


@pytest.mark.parametrize("process", PROCESSES)
def test_more_pressure_never_needs_more_vents(process):
    plan = planned(POST, ARM, HAND, job=replace(OPEN, process=PROCESSES[process]))
    assert len(plan.vents) <= len(planned(POST, ARM, HAND).vents)
    assert not any(p.matters for p in plan.pockets_after)
