"""The whole plan: the master is one watertight body, its numbers add up, the proof is real."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from random_bodies import random_body
from reference import mesh_of, parts_above
from shapes import as_mesh, box, together, turned_in

from pourwright.air import AirPocket, prepare, top_plane_vertices
from pourwright.errors import Cancelled, InputError
from pourwright.gates.settings import GateSettings
from pourwright.plan.job import Job
from pourwright.plan.pipeline import check_air, judge, plan_pour
from pourwright.shop.process import PROCESSES, Process
from pourwright.solid import boolean, intake
from pourwright.sprue import BaseSettings, FunnelSettings

CROSS = together(box((-4, -4, 0), (4, 4, 50)), box((-20, -3, 30), (20, 3, 36)),
                 box((14, -3, 20), (20, 3, 33)), box((-20, -3, 24), (-14, 3, 33)))


@pytest.fixture(scope="module")
def plan():
    return plan_pour(intake([as_mesh(CROSS)]), Job(base=BaseSettings(width_mm=20)))


def test_master_is_one_watertight_body(plan):
    mesh = trimesh.Trimesh(plan.master.mesh.vertices, plan.master.mesh.faces)
    assert mesh.is_watertight
    assert mesh.body_count == 1
    assert mesh.volume == pytest.approx(plan.master.volume_mm3, rel=1e-9)


def test_volume_is_the_parts_less_what_they_share(plan):
    master = plan.master
    total = sum(master.parts_mm3.values()) - master.overlap_mm3 + master.filled_mm3
    assert total == pytest.approx(master.volume_mm3, rel=1e-12)
    # Independently: what each part adds to the union of those before it.
    parts = [plan.figure.mesh, plan.base, plan.funnel, *plan.vent_meshes]
    shared, so_far = 0.0, parts[0]
    for part in parts[1:]:
        both = boolean.union([so_far, part])
        shared += so_far.volume_mm3 + part.volume_mm3 - both.volume_mm3
        so_far = both
    assert shared == pytest.approx(master.overlap_mm3, rel=1e-6)


def test_the_sunk_part_of_the_figure_is_shared_with_the_base(plan):
    assert plan.master.parts_mm3["figure"] == pytest.approx(plan.figure.volume_mm3)
    assert plan.master.overlap_mm3 >= 8 * 8 * plan.job.base.embed_mm


def test_resin_follows_from_the_master(plan):
    assert plan.resin.poured_ml == pytest.approx(plan.master.volume_mm3 / 1000)
    assert plan.resin.to_mix_ml == pytest.approx(plan.resin.poured_ml * 1.10)


def test_only_the_mould_top_plane_is_open(plan):
    heights = plan.master.mesh.vertices @ np.array(plan.up)
    assert heights.max() == pytest.approx(plan.board_height_mm, abs=1e-6)
    surface = prepare(plan.master.mesh)
    mouth = surface.vertices[top_plane_vertices(surface, np.array(plan.up))]
    assert np.ptp(mouth[:, 0]) >= plan.job.funnel.mouth_mm - 1e-6


def test_the_proof_agrees_with_cutting_the_master_apart(plan):
    """At many levels, every part of the cavity that is closed there is a reported pocket."""
    body = boolean.to_manifold(plan.master.mesh)
    up = np.array(plan.up)
    for level in np.linspace(-49.5, plan.board_height_mm - 0.5, 40):
        closed = [p for p in parts_above(body, up, level) if p[1] < plan.board_height_mm - 1e-3]
        known = [
            p for p in plan.pockets_after
            if p.saddle_height_mm is not None and p.saddle_height_mm <= level < p.peak_height_mm
        ]
        assert sum(v for v, _ in closed) <= sum(p.volume_mm3 for p in known) + 1e-6
        assert not [v for v, _ in closed if plan.job.process.matters(v)]


def test_without_vents_the_same_check_finds_the_pockets(plan):
    sprued = boolean.union([plan.figure.mesh, plan.base, plan.funnel])
    body = boolean.to_manifold(sprued)
    level = -29.9
    closed = [p for p in parts_above(body, np.array(plan.up), level)
              if p[1] < plan.board_height_mm - 1e-3]
    assert sorted(round(p[1], 6) for p in closed) == [-24.0, -20.0]
    assert len([p for p in plan.pockets if p.matters]) == 2


def test_every_pocket_that_mattered_has_its_vent(plan):
    served = {i for v in plan.vents for i in v.serves}
    assert {i for i, p in enumerate(plan.pockets) if p.matters} <= served


def test_plan_is_the_same_every_time(plan):
    again = plan_pour(intake([as_mesh(CROSS)]), plan.job)
    np.testing.assert_array_equal(again.master.mesh.vertices, plan.master.mesh.vertices)
    assert again.vents == plan.vents
    assert again.pockets == plan.pockets


@pytest.mark.parametrize("up", [(0, 0, -1), (0, 0, 1), (1, 0, 0), (0.4, -0.3, -1), (0, 1, 0.2)])
@pytest.mark.parametrize("funnel", [True, False])
def test_any_pour_direction(up, funnel):
    """The base always goes to the top side of the pour."""
    job = Job(up=up, base=BaseSettings(width_mm=30), funnel=FunnelSettings(enabled=funnel))
    plan = plan_pour(intake([as_mesh(CROSS)]), job)
    direction = np.array(up) / np.linalg.norm(up)
    assert (plan.base.vertices @ direction).max() > (plan.figure.mesh.vertices @ direction).max()
    assert plan.master.watertight
    assert not any(p.matters for p in plan.pockets_after) or plan.undecided


@pytest.mark.parametrize("seed", range(12))
def test_random_figures_are_vented_or_the_plan_says_where_not(seed):
    rng = np.random.default_rng(seed)
    body = random_body("csg", rng).scale((5.0, 5.0, 5.0))
    plan = plan_pour(intake([mesh_of(body)]), Job(process=PROCESSES["pressure"]))
    left = [p for p in plan.pockets_after if p.matters]
    told = [w for w in plan.warnings if w.code == "pocket_left"]
    assert len(left) == len(told)
    assert plan.undecided == bool(told or [w for w in plan.warnings if w.open])
    assert trimesh.Trimesh(plan.master.mesh.vertices, plan.master.mesh.faces).is_watertight


def test_a_part_that_touches_nothing_is_told():
    far = box((30, 30, 30), (36, 36, 36))
    plan = plan_pour(intake([as_mesh(together(CROSS, far))]), Job(base=BaseSettings(width_mm=20),
                     gates=GateSettings(enabled=False), process=Process("calm", "calm", 1.0, 1e9)))
    told = [w for w in plan.warnings if w.code == "no_feed"]
    assert len(told) == 1 and told[0].open
    assert (np.array(told[0].at_mm) >= 30 - 1e-6).all()


def test_a_closed_hollow_is_told_with_its_volume():
    hollow = together(box((-10, -10, 0), (10, 10, 30)), turned_in(box((-5, -5, 10), (5, 5, 20))))
    plan = plan_pour(intake([as_mesh(hollow)]), Job())
    (told,) = (w for w in plan.warnings if w.code == "closed_void")
    assert "1e+03 mm3" in told.message or "1000 mm3" in told.message


def test_gaps_closed_in_under_the_figure_are_filled():
    """A figure with a dished bottom, sunk deep enough to shut the dish off from the rubber."""
    block = box((-10, -10, 0), (10, 10, 20))
    dish = box((-5, -5, -1), (5, 5, 3))
    figure = boolean.difference(as_mesh(block), [as_mesh(dish)])
    plan = plan_pour(intake([figure]), Job(base=BaseSettings(width_mm=60, embed_mm=1.0),
                                           funnel=FunnelSettings(height_mm=30)))
    assert plan.master.filled_mm3 == pytest.approx(10 * 10 * 2)
    assert len(boolean.pieces(plan.master.mesh)) == 1


def test_progress_rises_and_cancelling_stops():
    seen: list[float] = []
    solid = intake([as_mesh(CROSS)])
    plan_pour(solid, Job(), lambda f, _: seen.append(f))
    assert seen == sorted(seen)
    assert seen[0] == 0 and seen[-1] == 1

    def stop(fraction: float, text: str) -> None:
        if fraction > 0.3:
            raise Cancelled

    with pytest.raises(Cancelled):
        plan_pour(solid, Job(), stop)


class TestAirAlone:
    """Air of a model as it is."""

    solid = intake([as_mesh(CROSS)])

    def test_the_highest_vertex_is_open_by_default(self):
        found = check_air(self.solid, (0, 0, -1), [], PROCESSES["open"])
        assert [round(p.peak_mm[2]) for p in found.pockets if p.matters] == [20, 24]
        assert found.openings_mm[0][2] == 0

    def test_vents_open_the_cavity_where_they_are(self):
        vents = [(0.0, 0.0, 0.0), (17.0, 0.0, 20.0), (-17.0, 0.0, 24.0)]
        found = check_air(self.solid, (0, 0, -1), vents, PROCESSES["open"])
        assert not any(p.matters for p in found.pockets)
        assert len(found.openings_mm) == 3

    def test_length_of_the_direction_does_not_count(self):
        a = check_air(self.solid, (0, 0, -1), [], PROCESSES["open"]).pockets
        b = check_air(self.solid, (0, 0, -250), [], PROCESSES["open"]).pockets
        assert a == b

    def test_no_direction(self):
        with pytest.raises(InputError):
            check_air(self.solid, (0, 0, 0), [], PROCESSES["open"])

    def test_a_part_without_an_opening_matters_however_small(self):
        speck = AirPocket((0.0, 0.0, 0.0), 0.0, None, 1e-9, 0, 0)
        shallow = replace(speck, saddle_height_mm=-1.0)
        never, small = judge([speck, shallow], PROCESSES["open"])
        assert never.matters and not small.matters

    def test_what_matters_depends_on_the_process(self):
        calm = replace(PROCESSES["open"], visible_defect_mm=50.0)
        assert not any(p.matters for p in check_air(self.solid, (0, 0, -1), [], calm).pockets)


def test_a_piece_that_would_fall_over_is_told():
    """A long arm far beyond a small base of a given size, and the same on a base for its size."""
    arm = intake([as_mesh(box((-3, -3, 0), (3, 3, 30))), as_mesh(box((0, -3, 26), (60, 3, 34)))])
    small = plan_pour(arm, Job(base=BaseSettings(width_mm=14.0)))
    (told,) = [w for w in small.warnings if w.code == "unsteady"]
    assert "falls over" in told.message and "mm outside" in told.message
    assert not any(w.code == "unsteady" for w in plan_pour(arm, Job()).warnings)
