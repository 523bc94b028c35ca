"""Gates, funnel, socket, own base, scale and print in the whole plan."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from gate_figures import ball, rod
from shapes import as_mesh, box, together

from pourwright.cli import main
from pourwright.errors import InputError
from pourwright.files.plan_json import plan_to_dict, to_json
from pourwright.gates import GateSettings
from pourwright.mould.settings import MouldSettings
from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.shop.feed import frustum_mm3
from pourwright.shop.printer import PRINTERS
from pourwright.shop.shrinkage import ShrinkageSettings
from pourwright.solid import boolean, fits, intake
from pourwright.sprue import BaseSettings, FunnelSettings, forms
from pourwright.sprue.settings import OwnBaseSettings, SocketSettings

# A ball of 2 ml on a leg of 1 mm: far too slow for 45 s.
LOLLIPOP = intake([as_mesh(rod(0.5, 0, 16)), as_mesh(ball(8, 23))])
POST = intake([as_mesh(box((-5, -4, 0), (5, 4, 40)))])


def job_of(**choices):
    """A job without a mould, which is not looked at here and takes time."""
    return Job(mould=MouldSettings(enabled=False), **choices)


def codes(plan):
    return [w.code for w in plan.warnings]


@pytest.fixture(scope="module")
def fed():
    return plan_pour(LOLLIPOP, job_of())


def test_a_part_behind_a_thin_leg_gets_a_gate(fed):
    bare = plan_pour(LOLLIPOP, job_of(gates=GateSettings(enabled=False)))
    assert bare.gates == () and "fill_slow" in codes(bare) and bare.undecided
    assert bare.fill.slowest_s > bare.fill.limit_s == pytest.approx(45.0)
    assert len(fed.gates) == 1
    assert fed.fill.in_time and not {"fill_slow", "gate_blocked"} & set(codes(fed))
    assert fed.gates[0].feeds.time_s == pytest.approx(bare.fill.slowest_s, rel=0.05)
    assert fed.fill.reynolds > 0 and fed.fill.laminar


def test_gates_are_in_the_master_and_its_account(fed):
    master = fed.master
    assert master.parts_mm3["gates"] == pytest.approx(fed.gate_meshes[0].volume_mm3)
    total = sum(master.parts_mm3.values()) - master.overlap_mm3 + master.filled_mm3
    assert total == pytest.approx(master.volume_mm3, rel=1e-12)
    both = boolean.union([master.mesh, *fed.gate_meshes])
    assert both.volume_mm3 == pytest.approx(master.volume_mm3, rel=1e-6)
    assert len(boolean.pieces(master.mesh)) == 1
    assert not any(p.matters for p in fed.pockets_after)


def test_vents_keep_off_gates(fed):
    gate = fed.gate_meshes[0]
    for vent, body in zip(fed.vents, fed.vent_meshes, strict=True):
        if vent.kind == "rod":
            assert fits.gap_mm(gate, body, 5.0) > 0.5


def test_a_part_that_hangs_on_nothing_gets_one_too():
    apart = together(box((-4, -4, 0), (4, 4, 30)), box((12, -4, 12), (20, 4, 20)))
    figure = intake([as_mesh(apart)])
    plan = plan_pour(figure, job_of())
    assert len(plan.gates) == 1 and plan.gates[0].feeds.time_s is None
    assert "no_feed" not in codes(plan) and len(boolean.pieces(plan.master.mesh)) == 1
    none = plan_pour(figure, job_of(gates=GateSettings(enabled=False)))
    assert "no_feed" in codes(none) and none.fill.slowest_s is None


def test_a_gate_that_does_not_go_is_told():
    plan = plan_pour(LOLLIPOP, job_of(gates=GateSettings(least_mm=0.3, most_mm=0.4)))
    (told,) = [w for w in plan.warnings if w.code == "gate_blocked"]
    assert told.open and "take a resin that is thinner" in told.message
    assert np.linalg.norm(np.subtract(told.at_mm, (0, 0, 23))) < 5


def test_the_funnel_that_is_told_would_do():
    small = job_of(material="polyester", funnel=FunnelSettings(mouth_mm=6, neck_mm=5, height_mm=8))
    plan = plan_pour(POST, small)
    check = plan.funnel_check
    (told,) = [w for w in plan.warnings if w.code == "funnel_small"]
    assert told.open and f"{check.needed_mm3 / 1000:.2f} ml" in told.message
    # The neck's outline is a polygon inside its circle; the crown takes some of the height.
    assert check.holds_mm3 <= frustum_mm3(5, 6, 8)
    sunk = math.pi / 4 * 5**2 * forms.OVERLAP_MM  # reaches into the base
    assert check.holds_mm3 == pytest.approx(plan.funnel.volume_mm3 - sunk, rel=0.02)
    cavity = plan.master.volume_mm3 - plan.master.parts_mm3["funnel"]
    assert check.need.shrinkage_mm3 == pytest.approx(cavity * (1 - (1 - 0.031) ** 3))
    wide, tall = (math.ceil(10 * size) / 10 for size in (check.mouth_mm, check.height_mm))
    assert f"a mouth of {wide:.1f} mm or a height of {tall:.1f} mm would do" in told.message
    wider = plan_pour(POST, replace(small, funnel=replace(small.funnel, mouth_mm=wide)))
    assert wider.funnel_check.enough and "funnel_small" not in codes(wider)
    assert plan_pour(POST, job_of(funnel=FunnelSettings(enabled=False))).funnel_check is None


@pytest.mark.parametrize("funnel", [True, False])
@pytest.mark.parametrize("up", [(0, 0, -1), (0, 0.3, -1)])
def test_socket_is_one_part_without_the_figure(funnel, up):
    base = BaseSettings(width_mm=34, embed_mm=2.0, height_mm=9)
    job = job_of(up=up, base=base, funnel=FunnelSettings(enabled=funnel),
                 socket=SocketSettings(True, 0.25), shrinkage=ShrinkageSettings(True))
    plan = plan_pour(POST, job)
    part = plan.socket.mesh
    read = trimesh.Trimesh(part.vertices, part.faces)
    assert read.is_watertight and read.body_count == 1
    assert fits.gap_mm(part, plan.figure.mesh, 1.0) == pytest.approx(0.25, abs=0.01)
    feet = plan.figure.mesh.volume_mm3 + plan.base.volume_mm3
    feet -= boolean.union([plan.figure.mesh, plan.base]).volume_mm3
    whole = boolean.union([plan.base, *([plan.funnel] if funnel else [])]).volume_mm3
    assert part.volume_mm3 < whole - feet
    if funnel:
        with_funnel = boolean.union([part, plan.funnel]).volume_mm3
        assert with_funnel == pytest.approx(part.volume_mm3, rel=1e-9)
    # It is this part that is printed.
    size = part.bounds_mm[1] - part.bounds_mm[0]
    assert plan.ready.fit.size_mm[2] < 40 and (up[1] or sorted(plan.ready.fit.size_mm) == (
        pytest.approx(sorted(size))))
    assert not plan.scale.applied and "not_scaled" in codes(plan)
    np.testing.assert_array_equal(plan.moulded_figure.vertices, plan.figure.mesh.vertices)


def test_rods_that_would_be_in_the_figures_way_are_told():
    """A hanging end is vented past an arm below it, over which the rod then leans."""
    arms = [box((5, -4, 34), (22, 4, 40)), box((16, -4, 28), (22, 4, 35)),
            box((5, -4, 4), (30, 4, 9))]  # fmt: skip
    figure = intake([POST.mesh, *(as_mesh(arm) for arm in arms)])
    plan = plan_pour(figure, job_of(socket=SocketSettings(True), base=BaseSettings(embed_mm=2)))
    (told,) = [w for w in plan.warnings if w.code == "not_on_base"]
    (left,) = plan.socket.left_out
    assert (left.part, left.number) == ("vent", 0) and told.at_mm == left.at_mm
    assert told.message.startswith("Vent 1 is not printed with the base: it reaches over a part")
    assert boolean.union([plan.socket.mesh, plan.vent_meshes[0]]).volume_mm3 > (
        plan.socket.mesh.volume_mm3 + 1.0
    )


def test_a_socket_through_the_floor_is_refused():
    job = job_of(base=BaseSettings(height_mm=1.5, embed_mm=1.2, crown_deg=0.0),
                 funnel=FunnelSettings(enabled=False), socket=SocketSettings(True))
    with pytest.raises(InputError, match="under the socket"):
        plan_pour(POST, job)


@pytest.mark.parametrize("funnel", [True, False])
def test_own_base(funnel):
    globe = as_mesh(trimesh.creation.icosphere(subdivisions=3, radius=15), "globe")
    job = job_of(funnel=FunnelSettings(enabled=funnel), own_base=OwnBaseSettings(cut_mm=6.0))
    before = globe.vertices.copy()
    plan = plan_pour(POST, job, own_base=globe)
    assert plan.own_base and plan.base_cut.above_lowest_mm == pytest.approx(6.0)
    assert "base_cut" in codes(plan) and plan.master.watertight
    assert len(boolean.pieces(plan.master.mesh)) == 1
    assert not any(p.matters for p in plan.pockets_after)
    np.testing.assert_array_equal(globe.vertices, before)
    assert plan_to_dict(plan)["base"]["kind"] == "own"


def test_too_small_a_printer_leaves_a_decision_only_if_it_is_the_users():
    tall = intake([as_mesh(box((-5, -5, 0), (5, 5, 320)))])
    assumed = plan_pour(tall, job_of())
    told = [w for w in assumed.warnings if w.code == "too_big"]
    assert told and not told[0].open and not assumed.undecided
    named = plan_pour(tall, job_of(printer=PRINTERS["resin_medium"]))
    (told,) = [w for w in named.warnings if w.code == "too_big"]
    assert told.open and "cut it" in told.message and len(named.ready.cuts) >= 1
    room = replace(PRINTERS["resin_medium"], build_z_mm=400.0)
    assert "too_big" not in codes(plan_pour(tall, job_of(printer=room)))


def test_a_scaled_master_makes_casts_of_the_figures_size():
    plain = plan_pour(POST, job_of())
    large = plan_pour(POST, job_of(shrinkage=ShrinkageSettings(True)))
    factor = 1 / (1 - 0.003) / (1 - 0.001)
    assert plain.scale.factor == large.scale.factor == pytest.approx(factor)
    assert not plain.scale.applied and large.scale.applied
    assert plain.master.parts_mm3["figure"] == pytest.approx(8 * 10 * 40)
    assert large.master.parts_mm3["figure"] == pytest.approx(8 * 10 * 40 * factor**3)
    assert large.figure.volume_mm3 == pytest.approx(8 * 10 * 40)
    assert large.resin.poured_ml == pytest.approx(large.master.volume_mm3 / 1000)
    middle = large.moulded_figure.bounds_mm.mean(axis=0)
    np.testing.assert_allclose(middle, POST.mesh.bounds_mm.mean(axis=0), atol=1e-9)


def test_the_data_is_strict_json(fed):
    data = plan_to_dict(fed)
    to_json(data)
    (gate,) = data["gates"]
    assert gate["length_mm"] == pytest.approx(sum(gate["segments_mm"]), abs=1e-5)
    assert data["fill"]["slowest_s"] <= data["fill"]["limit_s"]
    assert data["funnel"]["enough"] and data["print"]["assumed"] and data["socket"] is None


def test_the_command_line_takes_them(tmp_path, capsys):
    model, stand = tmp_path / "post.stl", tmp_path / "stand.stl"
    box((-5, -4, 0), (5, 4, 40)).export(model)
    box((-20, -15, 0), (20, 15, 12)).export(stand)
    before = stand.read_bytes()
    out = tmp_path / "out"
    status = main(["plan", str(model), "--unit", "mm", "--out", str(out), "--socket", "--printer",
                   "resin_small", "--base-model", str(stand), "--no-mould"])
    assert status == 0
    part = trimesh.load(out / "base.stl")
    assert part.is_watertight and part.bounds[1][2] < 12
    assert (out / "base.3mf").exists() and (out / "master.stl").exists()
    assert stand.read_bytes() == before
    assert "a base of your own" in capsys.readouterr().out
    assert main(["printers"]) == 0 and "resin_small" in capsys.readouterr().out
    scaled = ["plan", str(model), "--unit", "mm", "--out", str(tmp_path / "two"), "--scale",
              "--no-mould"]
    assert main(scaled) == 0 and "1.0040 times as large as" in capsys.readouterr().out
    assert not (tmp_path / "two" / "base.stl").exists()
    assert main(["plan", str(model), "--out", str(tmp_path / "x"), "--printer", "no"]) == 2
