"""Gates, funnel, socket, own base, print and scale as the plan has them."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from shapes import as_mesh, box, together

from pourwright.cli import main
from pourwright.errors import InputError, MeshError
from pourwright.files.plan_json import plan_to_dict
from pourwright.gates.settings import GateSettings
from pourwright.plan.job import Job
from pourwright.plan.model import PourPlan
from pourwright.plan.pipeline import plan_pour
from pourwright.shop.flow import Section, fill_time_s, liquid_of
from pourwright.shop.printer import DEFAULT_PRINTER
from pourwright.shop.process import PROCESSES
from pourwright.shop.resin import resin_named
from pourwright.shop.shrinkage import ShrinkageSettings
from pourwright.solid import boolean, intake
from pourwright.sprue.settings import (
    BaseSettings,
    FunnelSettings,
    OwnBaseSettings,
    SocketSettings,
)

POST = box((-6, -6, 0), (6, 6, 50))
# A block on a thread of half a mm: it fills too slowly through that.
THREAD, BLOCK = box((5, -0.25, 40), (16, 0.25, 40.5)), box((15, -10, 30), (35, 10, 48))
BLOCK_MM3 = 20 * 20 * 18.0
PLAIN = intake([as_mesh(POST)])
BADLY_FED = intake([as_mesh(part) for part in (POST, THREAD, BLOCK)])
OPEN_POUR = PROCESSES["open"]
HURRY = GateSettings(pot_life_share=0.05)


def codes(plan: PourPlan) -> list[str]:
    return [w.code for w in plan.warnings]


def open_codes(plan: PourPlan) -> list[str]:
    return [w.code for w in plan.warnings if w.open]


def volume_mm3(mesh) -> float:
    return float(trimesh.Trimesh(mesh.vertices, mesh.faces).volume)


class TestGates:
    plan = plan_pour(BADLY_FED, Job(process=OPEN_POUR, gates=HURRY))

    def test_the_block_gets_one_and_is_full_in_time(self):
        (gate,) = self.plan.gates
        assert gate.feeds.volume_mm3 == pytest.approx(BLOCK_MM3, rel=0.05)
        # Through the thread it would take far longer: by hand, as a round channel of its area.
        thread = Section(2 * math.sqrt(0.25 / math.pi), 9.0)
        liquid = liquid_of(resin_named("polyurethane"))
        assert fill_time_s([thread], liquid, BLOCK_MM3, 100.0) > self.plan.fill.limit_s
        assert gate.fill_time_s <= self.plan.fill.limit_s
        assert self.plan.fill.in_time and "fill_slow" not in codes(self.plan)
        # 5 % of 3 minutes.
        assert self.plan.fill.limit_s == pytest.approx(9.0)

    def test_it_is_in_the_master_and_in_the_account(self):
        parts = self.plan.master.parts_mm3
        assert parts["gates"] == pytest.approx(sum(map(volume_mm3, self.plan.gate_meshes)))
        assert parts["gates"] > 10
        assert sum(parts.values()) - self.plan.master.overlap_mm3 + self.plan.master.filled_mm3 == (
            pytest.approx(self.plan.master.volume_mm3)
        )
        (body,) = self.plan.gate_meshes
        assert boolean.difference(body, [self.plan.master.mesh]).volume_mm3 == pytest.approx(0)
        master = self.plan.master.mesh
        assert trimesh.Trimesh(master.vertices, master.faces).is_volume

    def test_pockets_are_those_with_the_gate(self):
        """The gate opens what it reaches, so it is also a way out for air."""
        without = plan_pour(BADLY_FED, Job(process=OPEN_POUR, gates=replace(HURRY, enabled=False)))
        assert without.gates == () and without.master.parts_mm3["gates"] == 0
        assert "fill_slow" in open_codes(without) and not without.fill.in_time
        largest = max(p.volume_mm3 for p in without.pockets)
        assert largest > 0.5 * BLOCK_MM3
        assert max((p.volume_mm3 for p in self.plan.pockets), default=0.0) < largest
        left = [p for p in self.plan.pockets_after if p.matters]
        assert len(left) == codes(self.plan).count("pocket_left")

    def test_json_and_rods(self):
        data = plan_to_dict(self.plan)
        (gate,) = data["gates"]
        assert gate["path_mm"][0] == pytest.approx(list(self.plan.gates[0].path_mm[0]), abs=1e-6)
        steps = np.linalg.norm(np.diff(np.array(gate["path_mm"]), axis=0), axis=1)
        assert gate["length_mm"] == pytest.approx(steps.sum(), abs=1e-4)
        assert data["fill"]["slowest_s"] == pytest.approx(self.plan.fill.slowest_s)
        assert data["fill"]["reynolds"] > 0 and isinstance(data["fill"]["notes"], list)
        json.dumps(data, allow_nan=False)

    def test_where_no_gate_fits_it_is_told(self):
        """A lid of the figure's own lies under all of the block."""
        lid = box((-30, -30, 20), (60, 30, 24))
        wall = box((4, -4, 0), (10, 4, 22))
        figure = intake([as_mesh(p) for p in (POST, THREAD, BLOCK, lid, wall)])
        plan = plan_pour(figure, Job(process=OPEN_POUR, gates=replace(HURRY, most_gates=0)))
        assert plan.gates == ()
        assert {"gate_blocked", "fill_slow"} & set(open_codes(plan))


class TestFunnel:
    def test_one_that_is_too_small_is_told_with_a_size_that_does(self):
        small = FunnelSettings(mouth_mm=9.0, neck_mm=8.0, height_mm=4.0, head_mm=3.0)
        plan = plan_pour(PLAIN, Job(funnel=small, shrinkage=ShrinkageSettings(resin=0.02)))
        assert "funnel_small" in open_codes(plan)
        check = plan.funnel_check
        assert not check.enough and check.height_mm is not None
        # Volume shrinkage of 2 % along a line, 1 - 0.98^3, of all but the funnel.
        cavity = plan.master.volume_mm3 - plan.master.parts_mm3["funnel"]
        assert check.need.shrinkage_mm3 == pytest.approx(cavity * (1 - 0.98**3))
        wide = replace(small, mouth_mm=math.ceil(check.mouth_mm))
        better = plan_pour(PLAIN, Job(funnel=wide, shrinkage=ShrinkageSettings(resin=0.02)))
        assert "funnel_small" not in codes(better)

    def test_an_open_underside_has_none(self):
        plan = plan_pour(PLAIN, Job(funnel=FunnelSettings(enabled=False)))
        assert plan.funnel_check is None and plan_to_dict(plan)["funnel"] is None


class TestSocket:
    @pytest.mark.parametrize("closed", [True, False])
    @pytest.mark.parametrize("up", [(0.0, 0.0, -1.0), (0.3, 0.0, -1.0)])
    def test_base_less_the_feet_with_a_gap(self, closed, up):
        job = Job(up=up, socket=SocketSettings(enabled=True, clearance_mm=0.3),
                  funnel=FunnelSettings(enabled=closed))  # fmt: skip
        plan = plan_pour(PLAIN, job)
        mesh = plan.socket.mesh
        body = trimesh.Trimesh(mesh.vertices, mesh.faces)
        assert body.is_volume and body.body_count == 1
        # Nothing of it comes nearer to the figure than the gap.
        seen, _ = trimesh.sample.sample_surface(body, 4000, seed=1)
        low, high = POST.bounds
        off = np.linalg.norm(np.maximum(np.maximum(low - seen, seen - high), 0.0), axis=1)
        assert off.min() >= 0.3 - 0.02
        if up == (0.0, 0.0, -1.0):
            whole = plan.master.parts_mm3
            assert body.volume < whole["base"] + whole["funnel"] - 12 * 12 * 0.9
        assert plan.ready.bodies == 1

    def test_the_base_is_written_and_the_master_too(self, tmp_path):
        POST.export(tmp_path / "post.stl")
        out = tmp_path / "out"
        arguments = ["plan", str(tmp_path / "post.stl"), "--out", str(out), "--socket", "--quiet"]
        assert main([*arguments, "--unit", "mm"]) in (0, 1)
        data = json.loads((out / "plan.json").read_text())
        base = trimesh.load(out / "base.stl")
        assert base.volume == pytest.approx(data["socket"]["volume_mm3"], rel=1e-4)
        assert (out / "base.3mf").exists() and (out / "master.3mf").exists()

    def test_it_is_never_scaled(self):
        job = Job(socket=SocketSettings(enabled=True),
                  shrinkage=ShrinkageSettings(scale_master=True, resin=0.01))  # fmt: skip
        plan = plan_pour(PLAIN, job)
        assert not plan.scale.applied and "not_scaled" in codes(plan)
        assert plan.moulded_figure.volume_mm3 == pytest.approx(PLAIN.volume_mm3)


class TestOwnBase:
    PLANK = as_mesh(box((-40, -30, -60), (40, 30, -45)), "plank")

    def test_it_goes_under_the_figure_and_stays_as_it_is(self):
        before = self.PLANK.vertices.copy()
        plan = plan_pour(PLAIN, Job(own_base=OwnBaseSettings(embed_mm=2.0)), own_base=self.PLANK)
        assert np.array_equal(self.PLANK.vertices, before)
        assert plan.base.volume_mm3 == pytest.approx(80 * 60 * 15, rel=1e-6)
        assert plan.base.bounds_mm[1, 2] == pytest.approx(2.0, abs=1e-6)
        assert plan.master.watertight and plan_to_dict(plan)["base"]["kind"] == "own"

    def test_a_ball_is_cut_level_and_that_is_told(self):
        ball = as_mesh(trimesh.creation.icosphere(subdivisions=3, radius=30))
        plan = plan_pour(PLAIN, Job(), own_base=ball)
        assert "base_cut" in codes(plan) and plan.base_cut.removed_mm3 > 0
        assert plan.base.volume_mm3 + plan.base_cut.removed_mm3 == pytest.approx(ball.volume_mm3)

    def test_a_tilted_pour(self):
        plan = plan_pour(PLAIN, Job(up=(0.0, 0.2, -1.0)), own_base=self.PLANK)
        assert plan.master.watertight and not any(p.matters for p in plan.pockets_after)

    def test_the_command_takes_a_file(self, tmp_path, capsys):
        POST.export(tmp_path / "post.stl")
        trimesh.Trimesh(self.PLANK.vertices, self.PLANK.faces).export(tmp_path / "plank.stl")
        out = tmp_path / "out"
        arguments = ["plan", str(tmp_path / "post.stl"), "--out", str(out), "--unit", "mm",
                     "--base-model", str(tmp_path / "plank.stl")]  # fmt: skip
        assert main(arguments) == 0
        data = json.loads((out / "plan.json").read_text())
        assert data["master"]["parts_mm3"]["base"] == pytest.approx(80 * 60 * 15, rel=1e-6)
        assert main([*arguments, "--base", "coin"]) == 2
        assert "not allowed with" in capsys.readouterr().err

    def test_a_file_that_is_none_is_named(self, tmp_path, capsys):
        POST.export(tmp_path / "post.stl")
        arguments = ["plan", str(tmp_path / "post.stl"), "--out", str(tmp_path / "out")]
        assert main([*arguments, "--base-model", str(tmp_path / "none.stl")]) == 2
        assert "none.stl" in capsys.readouterr().err and not (tmp_path / "out").exists()

    def test_an_open_body_is_no_base(self):
        mesh = trimesh.Trimesh(self.PLANK.vertices, self.PLANK.faces[:-1], process=False)
        with pytest.raises(MeshError):
            plan_pour(PLAIN, Job(), own_base=as_mesh(mesh))


class TestPrint:
    def test_a_printer_that_is_too_small_says_where_to_cut(self):
        tall = intake([as_mesh(box((-6, -6, 0), (6, 6, 200)))])
        small = replace(DEFAULT_PRINTER, build_x_mm=100.0, build_y_mm=100.0, build_z_mm=100.0)
        plan = plan_pour(tall, Job(printer=small))
        assert "too_big" in open_codes(plan) and not plan.ready.fit.fits
        assert plan.ready.cuts
        heights = sorted(cut.at_mm[2] for cut in plan.ready.cuts)
        edges = [plan.master.mesh.bounds_mm[0, 2], *heights, plan.master.mesh.bounds_mm[1, 2]]
        assert max(np.diff(edges)) <= 100.0 + 1e-6

    def test_without_a_named_printer_it_is_a_hint_only(self):
        tall = intake([as_mesh(box((-6, -6, 0), (6, 6, 400)))])
        plan = plan_pour(tall, Job())
        assert "too_big" in codes(plan) and "too_big" not in open_codes(plan)

    def test_walls_that_the_printer_does_not_draw_are_told(self):
        sheet = intake([as_mesh(POST), as_mesh(box((5, -10, 20), (25, 10, 20.3)))])
        coarse = replace(DEFAULT_PRINTER, smallest_wall_mm=0.8)
        plan = plan_pour(sheet, Job(printer=coarse))
        assert "wall_thin" in codes(plan)
        assert plan.ready.walls.smallest_mm == pytest.approx(0.3, abs=0.02)

    def test_the_command_names_printers(self, tmp_path, capsys):
        POST.export(tmp_path / "post.stl")
        arguments = ["plan", str(tmp_path / "post.stl"), "--out", str(tmp_path / "out")]
        assert main([*arguments, "--printer", "loom"]) == 2
        assert "resin_medium" in capsys.readouterr().err
        assert main(["printers"]) == 0
        assert "resin_medium" in capsys.readouterr().out


class TestScale:
    def test_the_master_is_larger_and_the_figure_s_volume_is_told_as_given(self):
        job = Job(shrinkage=ShrinkageSettings(scale_master=True, resin=0.01, rubber=0.005))
        plan = plan_pour(PLAIN, job)
        factor = 1 / (0.99 * 0.995)
        assert plan.scale.factor == pytest.approx(factor)
        data = plan_to_dict(plan)
        assert data["figure"]["volume_mm3"] == pytest.approx(PLAIN.volume_mm3)
        assert data["master"]["parts_mm3"]["figure"] == pytest.approx(PLAIN.volume_mm3 * factor**3)
        assert data["scale"]["applied"] and data["scale"]["factor"] == pytest.approx(factor)
        # The base is a thing of its own and keeps its size.
        plain = plan_pour(PLAIN, Job(base=BaseSettings(width_mm=40)))
        larger = plan_pour(PLAIN, replace(job, base=BaseSettings(width_mm=40)))
        assert larger.base.volume_mm3 == pytest.approx(plain.base.volume_mm3, rel=1e-6)

    def test_by_default_it_is_only_told(self):
        plan = plan_pour(PLAIN, Job())
        assert not plan.scale.applied and plan.scale.factor > 1.0
        assert plan.moulded_figure.volume_mm3 == pytest.approx(PLAIN.volume_mm3)


def test_bad_settings_are_named():
    for settings in (
        lambda: Job(printer="resin_medium"),  # type: ignore[arg-type]
        lambda: Job(gates=None),  # type: ignore[arg-type]
        lambda: SocketSettings(enabled=True, clearance_mm=-0.1),
        lambda: ShrinkageSettings(resin=0.5),
        lambda: OwnBaseSettings(place="beside"),
    ):
        with pytest.raises(InputError):
            settings()


def test_a_figure_in_two_pieces_is_fed_in_both():
    """What hangs free gets a gate of its own; no part is left to the vents."""
    far = box((30, 30, 30), (36, 36, 36))
    plan = plan_pour(intake([as_mesh(together(POST, far))]), Job(process=OPEN_POUR))
    assert len(plan.gates) == 1 and "no_feed" not in codes(plan)
    assert plan.gates[0].feeds.volume_mm3 == pytest.approx(6**3, rel=0.05)
    assert "not_one_piece" not in codes(plan)


class TestMaterials:
    OWN = """
[quick]
title = "Quick"
part_a = "A"
part_b = "B"
part_a_density_g_ml = 1.0
part_b_density_g_ml = 1.2
cured_density_g_ml = 1.1
ratio_basis = "volume"
ratio_a = 1
ratio_b = 1
pot_life_min = 2
viscosity_mpa_s = 60
linear_shrinkage = 0.004
source = "this test"
"""

    def test_a_preset_of_the_shop_s_own_is_planned_with(self, tmp_path, capsys):
        POST.export(tmp_path / "post.stl")
        (tmp_path / "own").mkdir()
        (tmp_path / "own" / "resin-quick.toml").write_text(self.OWN)
        out = tmp_path / "out"
        arguments = ["plan", str(tmp_path / "post.stl"), "--out", str(out), "--unit", "mm",
                     "--material", "quick", "--quiet"]  # fmt: skip
        assert main(arguments) == 2
        assert "There is no material 'quick'" in capsys.readouterr().err
        assert main([*arguments, "--materials", str(tmp_path / "own")]) == 0
        data = json.loads((out / "plan.json").read_text())
        resin = data["resin"]
        # 1:1 by volume at 1.0 and 1.2 g/ml is 100:120 by weight.
        assert resin["part_b_g"] / resin["part_a_g"] == pytest.approx(1.2)
        assert data["fill"]["limit_s"] == pytest.approx(0.25 * 120)
        assert data["scale"]["resin_shrinkage"] == pytest.approx(0.004)
        assert "Quick" in (out / "sheet.html").read_text("utf-8")
