"""What routed vents promise, measured on finished masters of small figures in several poses."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import manifold3d
import numpy as np
import pytest
import vent_measures as vm

from blend_demo.heron import heron
from pourwright.plan.job import Job
from pourwright.plan.model import PourPlan
from pourwright.plan.pipeline import plan_pour
from pourwright.shop.process import PROCESSES
from pourwright.solid import TriMesh, intake
from pourwright.solid.boolean import from_manifold

Manifold = manifold3d.Manifold
UPS = ((0.0, 0.0, -1.0), (0.35, 0.1, -0.93), (1.0, 0.0, 0.1))


def limb(start, end, low: float, high: float) -> manifold3d.Manifold:
    """A round limb between two points with balls at both."""
    ends = [(start, low), (end, high)]
    return sum(
        (Manifold.sphere(r, 20).translate(tuple(map(float, p))) for p, r in ends), Manifold()
    ).hull()


def stool() -> list[TriMesh]:
    """A seat with a hanging rim, three splayed legs and a tray between them."""
    seat = Manifold.cylinder(6, 16, 18, 40).translate((0, 0, 26))
    seat -= Manifold.cylinder(4, 13, 14, 40).translate((0, 0, 25))
    body = seat + Manifold.cylinder(1.5, 8, 8, 30).translate((0, 0, 12))
    for turn in (0, 120, 240):
        a = np.radians(turn)
        foot = (15 * np.cos(a), 15 * np.sin(a), 1.0)
        body += limb(foot, (7 * np.cos(a), 7 * np.sin(a), 31), 2.0, 2.0)
    return [from_manifold(body, "stool")]


def tree() -> list[TriMesh]:
    """A trunk whose branches droop, fork and pass under each other."""
    body = limb((0, 0, 0), (0, 0, 40), 4.0, 3.0)
    for k, height in enumerate((14.0, 22.0, 30.0, 38.0)):
        a = np.radians(77.0 * k)
        out = np.array([np.cos(a), np.sin(a), 0.0])
        side = np.array([-np.sin(a), np.cos(a), 0.0])
        elbow = 14 * out + (0, 0, height + 4)
        body += limb((0, 0, height), elbow, 2.2, 1.8)
        for s in (-1, 1):
            body += limb(elbow, 20 * out + 5 * s * side + (0, 0, height - 7), 1.8, 1.4)
    return [from_manifold(body, "tree")]


def bird() -> list[TriMesh]:
    """The demo's heron at 0.7 of its size, which leaves it some twenty needs."""
    return [TriMesh(0.7 * p.vertices, p.faces.astype(np.int64), p.name) for p in heron(0.25)]


FIGURES = {"stool": (stool, "open"), "tree": (tree, "open"), "heron": (bird, "vacuum_pressure")}
RUNS = [(name, up) for name in ("stool", "tree") for up in UPS] + [("heron", UPS[0])]


@dataclass(frozen=True)
class Run:
    plan: PourPlan
    watch: Any


@cache
def run(name: str, up: tuple[float, float, float]) -> Run:
    make, process = FIGURES[name]
    with vm.watched() as watch:
        plan = plan_pour(intake(make()), Job(up=up, process=PROCESSES[process]))
    return Run(plan, watch)


@pytest.mark.parametrize(("name", "up"), RUNS)
def test_no_air_that_matters_is_left_or_the_plan_says_why(name, up):
    plan = run(name, up).plan
    assert any(p.matters for p in plan.pockets)
    assert plan.vents
    left = [p for p in plan.pockets_after if p.matters]
    told = [w for w in plan.warnings if w.code == "pocket_left"]
    assert len(told) == len(left)
    assert all("no rod fits" in w.message for w in told)
    if name != "heron":
        assert not left


@pytest.mark.parametrize(("name", "up"), RUNS)
def test_rods_keep_their_web_from_everything_but_at_their_ends(name, up):
    r = run(name, up)
    rules = r.plan.job.vents
    least = rules.web_mm - r.watch.site.grid.pitch_mm / 2
    found = vm.clearances(r.plan, r.watch.walls)
    zones = [sum(vm.end_zones_mm(r.plan, i)) for i in range(len(r.plan.vents))]
    longer = {i for i, v in enumerate(r.plan.vents) if v.length_mm > zones[i] + 0.1}
    assert longer <= {c.vent for c in found}
    for c in found:
        assert c.gap_mm >= least - 1e-6, c
    for c in found:
        if c.to == "walls":
            assert c.gap_mm >= r.plan.vents[c.vent].web_mm - 0.05, c


@pytest.mark.parametrize("up", UPS)
@pytest.mark.parametrize("name", ["stool", "tree"])
def test_rods_meet_the_figure_only_at_their_ends(name, up):
    r = run(name, up)
    assert vm.touches(r.plan, r.watch.walls) == []


@pytest.mark.parametrize(("name", "up"), RUNS)
def test_every_piece_of_every_rod_rises_at_the_slope_or_more(name, up):
    plan = run(name, up).plan
    assert vm.worst_slope_deg(plan.vents, up) >= plan.job.vents.slope_deg - 1e-6


@pytest.mark.parametrize(("name", "up"), RUNS)
def test_rods_end_in_the_mould_top_plane_on_the_master_or_on_a_rod(name, up):
    plan = run(name, up).plan
    axis = np.array(plan.up)
    for number, vent in enumerate(plan.vents):
        end = np.array(vent.path_mm[-1])
        if vent.kind == "rod":
            assert end @ axis == pytest.approx(plan.board_height_mm, abs=1e-6)
        elif vm.joined(plan.vents, number) < 0:
            walls = run(name, up).watch.walls
            ball = Manifold.sphere(0.05, 8).translate(tuple(end))
            assert vm.to_manifold(walls).min_gap(ball, 1.0) < 1e-3


@pytest.mark.parametrize(("name", "up"), RUNS)
def test_the_master_is_one_closed_piece_with_a_rod_for_each_need(name, up):
    r = run(name, up)
    assert r.plan.master.watertight
    assert not any(w.code == "not_one_piece" for w in r.plan.warnings)
    assert len(r.plan.vents) + len(r.watch.unserved) == r.watch.needs


@pytest.mark.parametrize("up", UPS)
@pytest.mark.parametrize("name", ["stool", "tree"])
def test_the_longest_rod_is_about_as_cheap_as_the_oracles_best(name, up):
    r = run(name, up)
    cost = vm.longest_rod_cost(r.watch, r.plan)
    if cost is None:
        pytest.skip("all rods are shorter than the grid can tell")
    found, best = cost
    assert found <= 1.05 * best


def test_the_same_figure_gets_the_same_rods():
    name, up = "tree", UPS[1]
    make, process = FIGURES[name]
    again = plan_pour(intake(make()), Job(up=up, process=PROCESSES[process]))
    assert [v.path_mm for v in again.vents] == [v.path_mm for v in run(name, up).plan.vents]


def test_the_measures_see_a_rod_that_comes_too_near():
    """Moved sideways or laid flatter, rods fail the measures that good ones pass."""
    r = run("tree", UPS[0])
    plan, walls = r.plan, r.watch.walls
    number = int(np.argmax([v.length_mm for v in plan.vents]))
    path = np.array(plan.vents[number].path_mm)
    done = np.concatenate([[0.0], np.cumsum(plan.vents[number].segments_mm)])
    low, high = vm.end_zones_mm(plan, number)
    at = (low + done[-1] - high) / 2
    middle = np.array([np.interp(at, done, path[:, i]) for i in range(3)])
    block = Manifold.cube((1, 1, 1), True).translate(tuple(middle + (2.0, 0, 0)))
    crowded = from_manifold(vm.to_manifold(walls) + block, "walls").moved(np.zeros(3))
    assert min(c.gap_mm for c in vm.clearances(plan, crowded)) < 1.75
    across = Manifold.cube((9, 9, 1), True).translate(tuple(middle))
    pierced = from_manifold(vm.to_manifold(walls) + across, "walls").moved(np.zeros(3))
    assert number in vm.touches(plan, pierced)
    assert vm.worst_slope_deg(plan.vents, (1.0, 0.0, 0.0)) < 20
