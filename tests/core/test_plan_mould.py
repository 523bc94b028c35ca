"""The mould as the plan has it: in its files, its report, its warnings."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh
from shapes import as_mesh, box

from pourwright.cli import main
from pourwright.errors import GeometryError, InputError
from pourwright.files.plan_json import plan_to_dict
from pourwright.mould.settings import BoxSettings, GuideSettings, KeySettings, MouldSettings
from pourwright.plan import moulding
from pourwright.plan.job import Job
from pourwright.plan.job_file import parse_job
from pourwright.plan.pipeline import plan_pour
from pourwright.report import plan_report
from pourwright.shop.bench import BenchSettings
from pourwright.shop.mixing import MixSettings
from pourwright.solid import boolean, intake

POST = box((-6, -6, 0), (6, 6, 50))
ARM = box((-6, -6, 38), (30, 6, 46))
FIGURE = intake([as_mesh(POST), as_mesh(ARM)])
TILTED = (0.2, 0.1, -1.0)


@pytest.fixture(scope="module", params=[(0.0, 0.0, -1.0), TILTED], ids=["upside down", "tilted"])
def plan(request):
    return plan_pour(FIGURE, Job(up=request.param))


def test_silicone_is_box_less_master(plan):
    data = plan_to_dict(plan)
    along, across, height = data["silicone"]["box_mm"]
    area = math.pi / 4 * along**2 if data["mould"]["box"]["shape"] == "round" else along * across
    master = trimesh.Trimesh(plan.master.mesh.vertices, plan.master.mesh.faces).volume
    volume_ml = (area * height - master) / 1000
    assert data["silicone"]["volume_ml"] == pytest.approx(volume_ml, rel=1e-4)
    assert data["silicone"]["to_mix_ml"] == pytest.approx(1.15 * volume_ml, rel=1e-4)
    both = data["silicone"]["part_a_g"] + data["silicone"]["part_b_g"]
    assert both == pytest.approx(1.15 * volume_ml * 1.15, rel=1e-4)
    # 10 mm of rubber or more on all sides, in the frame of the board.
    turned = plan.mould.turn @ plan.master.mesh.vertices.T
    assert height >= np.ptp(turned[2]) + 10


def test_all_places_are_in_the_standing_frame(plan):
    data = plan_to_dict(plan)["mould"]
    mesh = trimesh.Trimesh(plan.master.mesh.vertices, plan.master.mesh.faces)
    line = np.array(data["cut_line"]["path_mm"] + data["cut_line"]["hinge_mm"])
    low, high = mesh.bounds
    assert (line >= low - 1e-3).all() and (line <= high + 1e-3).all()
    # On the surface: each point is in the plane of some face, within its triangle.
    for point in line[:: max(len(line) // 40, 1)]:
        near = trimesh.triangles.closest_point(
            mesh.triangles, np.repeat(point[None], len(mesh.triangles), axis=0)
        )
        assert np.linalg.norm(near - point, axis=1).min() < 0.01
    up = np.array(plan.up)
    middle = np.array(data["box"]["board_middle_mm"])
    assert middle @ up == pytest.approx(plan.board_height_mm, abs=1e-3)
    assert np.array(data["cut_line"]["opening"]) @ up == pytest.approx(0, abs=1e-9)


def test_the_loop_goes_through_the_base(plan):
    """It starts at the pour opening, goes over the figure and comes back."""
    data = plan_to_dict(plan)["mould"]["cut_line"]
    height = np.array(data["path_mm"]) @ np.array(plan.up)
    assert height[0] == pytest.approx(plan.board_height_mm, abs=0.01)
    assert height.min() <= (plan.master.mesh.vertices @ np.array(plan.up)).min() + 1.5
    assert data["hinge_mm"][-1] == data["path_mm"][0] and data["parts_the_rubber"]


def test_the_arm_s_underside_traps_no_air_but_its_top_does_not_matter(plan):
    """Rubber is poured from above with the base down: air stays under the arm."""
    if plan.up != (0.0, 0.0, -1.0):
        pytest.skip("the arm hangs otherwise there")
    pockets = plan_to_dict(plan)["mould"]["trapped_air"]
    # The arm's underside is level and open at its sides: nothing that is closed off all round.
    assert not any(p["matters"] and p["peak_mm"][2] > 30 for p in pockets)


def test_a_hood_traps_air_that_is_told():
    hood = trimesh.boolean.difference(
        [box((-20, -20, 30), (20, 20, 50)), box((-16, -16, 29), (16, 16, 46)),
         ], engine="manifold",
    )  # fmt: skip
    plan = plan_pour(intake([as_mesh(POST), as_mesh(hood)]), Job())
    (pocket,) = (p for p in plan_to_dict(plan)["mould"]["trapped_air"] if p["volume_mm3"] > 100)
    assert pocket["volume_mm3"] == pytest.approx((32 * 32 - 12 * 12) * 16, rel=1e-3)
    assert "rubber_air" in [w.code for w in plan.warnings]


def test_rods_are_reached_or_listed(plan):
    rods = plan_to_dict(plan)["mould"]["rods"]
    assert [r["rod"] for r in rods] == list(range(len(plan.vents) + len(plan.gates)))
    assert all(r["reached"] or r["gap_mm"] > 0 for r in rods)


def test_vessels_of_the_bench_are_compared_with_the_mould():
    bench = BenchSettings(pot_diameter_mm=90, pot_height_mm=60, mix=MixSettings(cup_ml=300.0))
    plan = plan_pour(FIGURE, Job(bench=bench))
    (told,) = (w for w in plan.warnings if w.code == "mould_too_big")
    assert told.open and "mm too tall" in told.message
    (fit,) = plan_to_dict(plan)["mould"]["fits"]
    assert not fit["fits"] and fit["over_mm"][1] == pytest.approx(fit["needs_mm"][1] - 60)
    # A cup of 300 ml holds a quarter of that at a time.
    silicone = plan_to_dict(plan)["silicone"]
    assert silicone["mixes"] == math.ceil(4 * silicone["to_mix_ml"] / 300)
    wide = BenchSettings(pot_diameter_mm=250, pot_height_mm=250)
    assert "mould_too_big" not in [w.code for w in plan_pour(FIGURE, Job(bench=wide)).warnings]


def test_the_pose_that_would_fit_is_named():
    tall = intake([as_mesh(box((-6, -6, 0), (6, 6, 120)))])
    bench = BenchSettings(pot_diameter_mm=220, pot_height_mm=90)
    (told,) = (w for w in plan_pour(tall, Job(bench=bench)).warnings if w.code == "mould_too_big")
    assert "poured with -X or +X up it would" in told.message


@pytest.mark.parametrize(("kind", "sign"), [("raised", 1), ("engraved", -1)])
def test_a_guide_line_comes_onto_the_master(kind, sign):
    plain = plan_pour(FIGURE, Job())
    settings = MouldSettings(guide=GuideSettings(kind=kind, width_mm=0.8))
    plan = plan_pour(FIGURE, Job(mould=settings))
    change = plan.master.volume_mm3 - plain.master.volume_mm3
    # Half a round rod of that width along the line.
    cut = plan.mould.cut.line.cut_mm
    half = math.pi / 8 * 0.8**2 * np.linalg.norm(np.diff(cut, axis=0), axis=1).sum()
    assert sign * change == pytest.approx(half, rel=0.25)
    assert plan.master.watertight and plan.board_height_mm == plain.board_height_mm
    up = np.array(plan.up)
    assert (plan.master.mesh.vertices @ up).max() == pytest.approx(plan.board_height_mm)
    assert not any(p.matters for p in plan.pockets_after) or plan.undecided
    gap = plan.mould.rubber.box_mm3 - plan.master.volume_mm3 - plan.mould.rubber.volume_mm3
    assert gap == pytest.approx(0, abs=1e-4 * plan.mould.rubber.volume_mm3)


def test_a_guide_line_may_keep_off_the_figure():
    plain = plan_pour(FIGURE, Job())
    guide = GuideSettings(kind="raised", width_mm=0.8, figure_too=False)
    plan = plan_pour(FIGURE, Job(mould=MouldSettings(guide=guide)))
    assert plan.master.volume_mm3 > plain.master.volume_mm3
    added = boolean.difference(plan.master.mesh, [plain.master.mesh])
    # The figure sinks in by 1 mm, so the base's top is at 1, and half of the line stands on it.
    assert added.bounds_mm[1, 2] == pytest.approx(1.4, abs=0.01)


def test_a_part_that_hangs_on_a_gate_is_left_out_of_the_cut():
    island = box((12, -4, 12), (20, 4, 20))
    plan = plan_pour(intake([as_mesh(box((-4, -4, 0), (4, 4, 30))), as_mesh(island)]), Job())
    assert plan.mould is not None and len(plan.gates) == 1
    path = np.array(plan_to_dict(plan)["mould"]["cut_line"]["path_mm"])
    assert (path[:, 0] < 11.9).all() or (path[:, 2] < 11).any()


def test_a_master_without_a_mould_is_still_a_master(monkeypatch):
    def refuse(*_, **__):
        raise GeometryError("No line runs over it", hint="turn it", at_mm=(1.0, 2.0, 3.0))

    monkeypatch.setattr(moulding, "make_mould", refuse)
    plan = plan_pour(FIGURE, Job())
    (told,) = (w for w in plan.warnings if w.code == "no_mould")
    assert told.open and "No line runs over it" in told.message and told.at_mm == (1.0, 2.0, 3.0)
    assert plan.mould is None and plan.master.watertight


def test_without_a_mould():
    plan = plan_pour(FIGURE, Job(mould=MouldSettings(enabled=False)))
    data = plan_to_dict(plan)
    assert plan.mould is None and data["mould"] is None and data["silicone"] is None
    assert "Mould:" not in plan_report(plan, ["x"], [])


def test_the_report_says_what_to_cut_and_to_weigh(plan):
    report = plan_report(plan, ["post.stl"], [])
    data = plan_to_dict(plan)
    for panel in data["mould"]["box"]["panels"]:
        assert f"{panel['width_mm']:.1f}" in report and panel["name"] in report
    assert f"{data['silicone']['to_mix_ml']:.1f} ml" in report
    assert "Cut away from you" in report


def test_files(tmp_path):
    trimesh.util.concatenate([POST, ARM]).export(tmp_path / "figure.stl")
    out = tmp_path / "out"
    command = ["plan", str(tmp_path / "figure.stl"), "--unit", "mm", "--out", str(out), "--quiet"]
    assert main(command) in (0, 1)
    data = json.loads((out / "plan.json").read_text())
    points = [
        [float(c) for c in line.split()[1:]]
        for line in (out / "cut.obj").read_text().splitlines() if line.startswith("v ")
    ]  # fmt: skip
    path = data["mould"]["cut_line"]["path_mm"]
    assert np.allclose(points[: len(path)], path, atol=1e-5)
    for side in ("front", "right", "back", "left"):
        drawing = ElementTree.parse(out / f"cut-{side}.svg").getroot()
        assert drawing.tag.endswith("svg") and side in "".join(drawing.itertext())
    html = (out / "sheet.html").read_text("utf-8")
    assert data["mould"]["box"]["panels"][0]["name"] in html
    again = tmp_path / "again"
    assert main([*command[:5], str(again), "--quiet", "--no-mould"]) in (0, 1)
    assert not (again / "cut.obj").exists()


def test_settings_come_and_go_by_the_job_file():
    text = """
[mould]
silicone = "addition"
[mould.box]
shape = "round"
wall_mm = 8
[mould.cut]
opening_deg = 90
viewer = [1, 0, 0]
[mould.registration]
kind = "keys"
[mould.guide]
kind = "raised"
"""
    settings = parse_job(text).mould
    assert settings == MouldSettings(
        silicone="addition",
        box=BoxSettings(shape="round", wall_mm=8),
        cut=replace(MouldSettings().cut, opening_deg=90, viewer=(1.0, 0.0, 0.0)),
        registration=KeySettings(kind="keys"),
        guide=GuideSettings(kind="raised"),
    )
    assert MouldSettings.from_table(settings.table()) == settings
    assert MouldSettings.from_table(MouldSettings().table()) == MouldSettings()


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[mould]\nsilicone = 'putty'", "no silicone 'putty'"),
        ("[mould]\nwalls = 3", "mould"),
        ("[mould.box]\nwall_mm = -1", "mould.box.wall_mm"),
        ("[mould.box]\nshape = 'oval'", "mould.box.shape"),
        ("[mould.cut]\nviewer = [0, 0, 0]", "mould.cut.viewer"),
        ("[mould.registration]\nkind = 'pins'", "mould.registration.kind"),
        ("[mould.guide]\nwidth_mm = 'wide'", "mould.guide.width_mm"),
        ("mould = 3", "mould"),
    ],
)
def test_bad_settings_are_named(text, named):
    with pytest.raises(InputError, match=named):
        parse_job(text)
