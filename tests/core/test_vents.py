"""Vents on small figures: where they stand, what they clear, what cannot be served and why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapes import as_mesh, box

from pourwright.errors import InputError
from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.shop.process import PROCESSES
from pourwright.solid import boolean, intake
from pourwright.solid.protect import Protection
from pourwright.sprue import BaseSettings, FunnelSettings
from pourwright.vents import GivenVent, VentSettings, place

OPEN = Job(process=PROCESSES["open"], base=BaseSettings(width_mm=24))

# A post with an arm, and a hand hanging from the arm's end: one pocket in the hand.
POST, ARM, HAND = ((-4, -4, 0), (4, 4, 40)), ((0, -3, 30), (40, 3, 36)), ((34, -3, 18), (40, 3, 31))
UPRIGHT = VentSettings(slope_deg=80)


def planned(*boxes, job: Job = OPEN, protection=None, given=None):
    solid = intake([as_mesh(box(*b)) for b in boxes])
    return plan_pour(replace(solid, protection=protection), job, given=given)


def steps(vent) -> np.ndarray:
    return np.diff(np.array(vent.path_mm), axis=0)


def foot(vent) -> np.ndarray:
    return np.array(vent.path_mm[0])


def test_a_free_hanging_pocket_gets_a_rod_to_the_mould_top_plane():
    plan = planned(POST, ARM, HAND, job=replace(OPEN, vents=UPRIGHT))
    (vent,) = plan.vents
    assert vent.kind == "rod"
    assert vent.serves == (0,)
    x, y, z = vent.path_mm[0]
    assert 34 <= x <= 40 and -3 <= y <= 3
    assert z == pytest.approx(18)
    assert -vent.path_mm[-1][2] == pytest.approx(plan.board_height_mm, abs=1e-6)
    assert vent.length_mm == pytest.approx(np.linalg.norm(steps(vent), axis=1).sum())
    assert not any(p.matters for p in plan.pockets_after)
    assert not plan.undecided
    assert plan.rings == ()


def test_the_pocket_is_measured_from_where_the_hand_meets_the_arm():
    (pocket,) = (p for p in planned(POST, ARM, HAND).pockets if p.matters)
    assert pocket.saddle_height_mm == pytest.approx(-30)
    assert pocket.peak_mm[2] == pytest.approx(18)
    assert pocket.volume_mm3 == pytest.approx(6 * 6 * 12)


def test_the_shorter_way_is_a_bridge_to_the_base_and_closes_a_ring():
    wide = replace(OPEN, base=BaseSettings(width_mm=50))
    plan = planned(POST, ARM, HAND, job=wide)
    (vent,) = plan.vents
    assert vent.kind == "bridge"
    assert vent.path_mm[-1][2] == pytest.approx(1.0)  # the base's top face
    assert vent.length_mm < 38
    (ring,) = plan.rings
    assert ring.vent == 0
    assert 1 < ring.cut_at_mm[2] < 18
    assert not plan.undecided


def test_rings_are_the_holes_that_bridges_add():
    """Independently: each ring is one more handle of the master, by its Euler characteristic."""
    plan = planned(POST, ARM, HAND, ((-40, -3, 30), (0, 3, 36)), ((-40, -3, 18), (-34, 3, 31)))
    assert len(plan.vents) == 2
    before = boolean.to_manifold(boolean.union([plan.figure.mesh, plan.base, plan.funnel])).genus()
    assert boolean.to_manifold(plan.master.mesh).genus() - before == len(plan.rings)


def test_a_pocket_with_two_tops_gets_two_rods():
    fork = ((34, -9, 12), (40, -5, 18.5)), ((34, 5, 12), (40, 9, 18.5)), ((34, -9, 18), (40, 9, 22))
    plan = planned(POST, ARM, HAND, *fork)
    assert len(plan.vents) == 2
    assert {v.serves for v in plan.vents} == {(0,)}
    assert not any(p.matters for p in plan.pockets_after)


def test_a_wall_just_above_is_bridged():
    """The hand hangs 3 mm over a shelf, nearer than the grid can route."""
    shelf = ((0, -8, 9), (50, 8, 15))
    plan = planned(POST, ARM, HAND, shelf)
    over = [v for v in plan.vents if foot(v)[2] == pytest.approx(18)]
    assert len(over) == 1
    assert over[0].path_mm[-1][2] == pytest.approx(15)
    assert not any(p.matters for p in plan.pockets_after)


def test_the_wall_of_a_thin_shelf_is_not_pierced():
    """A rod through a thin shelf would make a new high point on its far side."""
    shelf = ((0, -8, 14.6), (50, 8, 15))
    plan = planned(POST, ARM, HAND, shelf)
    rod = next(i for i, v in enumerate(plan.vents) if foot(v)[2] == pytest.approx(18))
    assert plan.vent_meshes[rod].bounds_mm[0, 2] > 14.6
    assert not any(p.matters for p in plan.pockets_after)


def test_rods_go_round_what_is_in_the_way():
    """A wide plate under the hand, joined to nothing a rod may land on but protected all over."""
    plate = ((0, -9, 8), (46, 9, 10))
    grid = np.stack(np.meshgrid(np.arange(0, 47), np.arange(-9, 10), [8.0, 10.0]), -1)
    keep = Protection(grid.reshape(-1, 3).astype(float), np.ones(grid.size // 3))
    plan = planned(POST, ARM, HAND, plate, protection=keep)
    vent = next(v for v in plan.vents if foot(v)[2] == pytest.approx(18))
    end = np.array(vent.path_mm[-1])
    # In as few straight pieces as keep clear, not from voxel to voxel.
    assert 2 < len(vent.path_mm) <= 4
    assert end[2] < 8
    assert not any(p.matters for p in plan.pockets_after)


def test_protected_surface_is_left_alone():
    """The hand's foot is 6 mm wide; with one half protected the rod stands on the other one."""
    points = np.stack(np.meshgrid(np.arange(34, 40.1, 0.5), np.arange(0, 3.1, 0.5), [18.0]), -1)
    keep = Protection(points.reshape(-1, 3), np.ones(points[..., 0].size), reach_mm=0.4)
    free = planned(POST, ARM, HAND).vents[0]
    kept = planned(POST, ARM, HAND, protection=keep).vents[0]
    other = planned(POST, ARM, HAND, protection=replace(
        keep, points_mm=keep.points_mm * [1, -1, 1])).vents[0]
    assert foot(kept)[1] < 0 < foot(other)[1]
    assert foot(free)[2] == foot(kept)[2] == pytest.approx(18)


def test_what_no_rod_can_serve_is_said_with_what_would_help():
    """The hand stands in a well; the asked web does not fit, a thinner one does."""
    w = 1.6
    well = [
        ((34 - w - 2, -3 - w - 2, 0.5), (34 - w, 3 + w + 2, 28)),
        ((40 + w, -3 - w - 2, 0.5), (40 + w + 2, 3 + w + 2, 28)),
        ((34 - w - 2, -3 - w - 2, 0.5), (42 + w, -3 - w, 28)),
        ((34 - w - 2, 3 + w, 0.5), (42 + w, 3 + w + 2, 28)),
    ]
    rules = VentSettings(web_mm=6.0)
    plan = planned(POST, ARM, HAND, *well, job=replace(OPEN, vents=rules))
    assert plan.undecided
    left = [x for x in plan.warnings if x.code == "pocket_left" and x.at_mm[2] > 17.5]
    assert left and all(x.open for x in left)
    assert "no rod fits" in left[0].message
    assert "it would go with a web of" in left[0].message
    fixed = planned(POST, ARM, HAND, *well, job=replace(OPEN, vents=VentSettings(web_mm=1.5)))
    assert not [p for p in fixed.pockets_after if p.matters and p.peak_mm[2] > 17.5]


def test_neighbours_join_where_two_rods_would_stand_too_close():
    """Two fingers 2 mm apart: one rod ends on the other one."""
    fingers = ((34, -3, 18), (36.5, 3, 31)), ((38, -3, 18.5), (40, 3, 31))
    rules = VentSettings(slope_deg=30)
    plan = planned(POST, ARM, *fingers, ((34, -3, 28), (40, 3, 31)), job=replace(OPEN, vents=rules))
    assert len(plan.vents) == 2
    assert not plan.undecided
    assert len(plan.rings) >= 1


def test_a_smaller_process_tolerance_never_needs_fewer_rods():
    counts = [
        len(planned(POST, ARM, HAND, job=replace(OPEN, process=PROCESSES[p])).vents)
        for p in ("vacuum_pressure", "pressure", "open")
    ]
    assert counts == sorted(counts)


@pytest.mark.parametrize("up", [(0, 0, -1), (0.3, 0.1, -1.0), (-0.5, 0.2, -1.0), (1, 0, -0.2)])
def test_every_piece_rises_at_the_slope_asked_for(up):
    direction = np.array(up) / np.linalg.norm(up)
    plan = planned(POST, ARM, HAND, job=replace(OPEN, up=up, base=BaseSettings()))
    assert plan.vents or not [p for p in plan.pockets if p.matters]
    for vent in plan.vents:
        rise = steps(vent) @ direction / np.linalg.norm(steps(vent), axis=1)
        assert (rise >= np.sin(np.radians(plan.job.vents.slope_deg)) - 1e-6).all()
        if vent.kind == "rod":
            assert np.dot(vent.path_mm[-1], direction) == pytest.approx(
                plan.board_height_mm, abs=1e-6
            )
    assert not any(p.matters for p in plan.pockets_after)


def test_rods_have_a_neck_where_they_are_broken_off():
    rules = replace(UPRIGHT, diameter_mm=3.0, neck_mm=1.0, neck_length_mm=2.0)
    plan = planned(POST, ARM, HAND, job=replace(OPEN, vents=rules))
    (body,) = plan.vent_meshes
    (vent,) = plan.vents

    def width(z: float) -> float:
        """Diameter of the rod's section at a height, from the area that is cut there."""
        low = boolean.to_manifold(body).slice(z).area()
        return 2 * np.sqrt(low / np.pi)

    assert width(17.0) == pytest.approx(1.0, rel=0.05)
    assert width(10.0) == pytest.approx(3.0, rel=0.05)
    assert vent.foot_angle_deg < 30 and vent.end_angle_deg < 30


class TestGivenVents:
    """Rods as the user put them are taken as they are."""

    UP = GivenVent(((37.0, 0.0, 18.0), (37.0, 0.0, -19.0)), 2.0)
    JOB = replace(OPEN, funnel=FunnelSettings(height_mm=15))

    def test_a_good_one_drains_the_pocket(self):
        plan = planned(POST, ARM, HAND, job=self.JOB, given=[self.UP])
        (vent,) = plan.vents
        assert vent.diameter_mm == 2.0
        assert vent.path_mm[0] == pytest.approx((37, 0, 18))
        assert vent.serves == (0,)
        assert vent.kind == "rod"
        assert -vent.path_mm[-1][2] == pytest.approx(plan.board_height_mm, abs=1e-6)
        assert not plan.undecided

    def test_its_web_is_measured(self):
        near = GivenVent(((37.0, 0.0, 18.0), (37.0, 0.0, -19.0)), 2.0)
        wall = [((38.6, -5, 0.5), (42, 5, 10)), ((30, -12, 4), (42, -4, 8)),
                ((0, -12, 4), (42, -8, 8))]
        plan = planned(POST, ARM, HAND, *wall, job=self.JOB, given=[near])
        assert plan.vents[0].web_mm == pytest.approx(0.6, abs=1e-3)
        assert plan.vents[0].foot_angle_deg == pytest.approx(0, abs=1e-6)
        assert "thin_web" in {w.code for w in plan.warnings}

    def test_drawn_from_the_other_end_it_is_the_same(self):
        turned = replace(self.UP, path_mm=self.UP.path_mm[::-1])
        a = planned(POST, ARM, HAND, job=self.JOB, given=[self.UP])
        b = planned(POST, ARM, HAND, job=self.JOB, given=[turned])
        np.testing.assert_allclose(a.vents[0].path_mm, b.vents[0].path_mm, atol=1e-9)

    def test_without_any_the_pocket_stays_and_is_told(self):
        plan = planned(POST, ARM, HAND, job=self.JOB, given=[])
        assert plan.vents == ()
        assert [w.code for w in plan.warnings if w.open] == ["pocket_left"]

    def test_one_that_misses_the_figure_is_no_part_of_it(self):
        off = GivenVent(((60.0, 0.0, 18.0), (60.0, 0.0, -19.0)), 2.0)
        plan = planned(POST, ARM, HAND, job=self.JOB, given=[off])
        codes = {w.code for w in plan.warnings if w.open}
        assert {"pocket_left", "not_one_piece"} <= codes

    def test_one_that_does_not_rise_is_refused(self):
        level = GivenVent(((37.0, 0.0, 18.0), (50.0, 0.0, 18.0), (50.0, 0.0, -19.0)), 2.0)
        with pytest.raises(InputError, match="does not rise"):
            planned(POST, ARM, HAND, job=self.JOB, given=[level])

    @pytest.mark.parametrize("path", [(), ((0.0, 0.0, 0.0),)])
    def test_a_path_needs_two_points(self, path):
        with pytest.raises(InputError):
            GivenVent(path, 1.5)


def test_what_the_first_rods_leave_gets_rods_of_its_own(monkeypatch):
    """The first look is made to miss all needs but one; the proof finds the rest."""
    arms = [((-40, -3, 30), (0, 3, 36)), ((-40, -3, 18), (-34, 3, 31)),
            ((-3, -40, 30), (3, 0, 36)), ((-3, -40, 22), (3, -34, 31))]
    whole = planned(POST, ARM, HAND, *arms)
    looks = []
    real = place.find_needs

    def short_sighted(*args):
        found, left = real(*args)
        looks.append(len(found))
        return found[:1], left

    monkeypatch.setattr(place, "find_needs", short_sighted)
    plan = planned(POST, ARM, HAND, *arms)
    assert looks == [3, 2, 1]
    assert len(plan.vents) == len(whole.vents) == 3
    assert sorted(v.serves for v in plan.vents) == [(0,), (1,), (2,)]
    assert not plan.undecided


@pytest.mark.parametrize("gap", [0.15, 0.5, 2.0, 5.8, 6.0])
def test_short_bridges_are_bodies_and_drain(gap):
    """A shelf at any distance under the hand, down to a slit."""
    shelf = ((0, -8, 6), (50, 8, 18 - gap))
    plan = planned(POST, ARM, HAND, shelf)
    vent = next(v for v in plan.vents if foot(v)[2] == pytest.approx(18))
    assert vent.length_mm >= gap - 1e-6
    assert len([p for p in boolean.pieces(plan.master.mesh) if p.volume_mm3 > 0]) == 1
    assert not any(p.matters for p in plan.pockets_after)
