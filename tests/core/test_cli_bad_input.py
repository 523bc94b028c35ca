"""Bad input of the command line: status 2, one line on standard error, nothing written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

import pourwright.plan.pipeline
from pourwright.cli import main
from tests.core.figures import export_figure, tree


@pytest.fixture(autouse=True)
def models(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    export_figure()


def write_nan_stl() -> None:
    mesh = trimesh.creation.box()
    mesh.export("whole.stl")
    data = bytearray(Path("whole.stl").read_bytes())
    data[84 + 12 : 84 + 16] = np.float32("nan").tobytes()
    Path("nan.stl").write_bytes(data)
    Path("whole.stl").unlink()


def write_bad_models() -> None:
    Path("folder").mkdir()
    Path("empty.stl").touch()
    whole = Path("body.stl").read_bytes()
    Path("cut.stl").write_bytes(whole[: len(whole) // 2 + 7])
    Path("cut_header.stl").write_bytes(whole[:60])
    Path("text.stl").write_text("This is not a mesh.\nNot at all.\n" * 40)
    Path("text.obj").write_text("This is not a mesh.\n" * 40)
    Path("text.ply").write_text("This is not a mesh.\n" * 40)
    Path("text.3mf").write_text("This is not a mesh.\n" * 40)
    Path("text.glb").write_text("This is not a mesh.\n" * 40)
    Path("noise.stl").write_bytes(np.random.default_rng(1).bytes(5000))
    Path("model.xyz123").write_bytes(whole)
    Path("model").write_bytes(whole)
    write_nan_stl()
    box = trimesh.creation.box(extents=(20, 20, 20))
    trimesh.Trimesh(box.vertices, box.faces[1:], process=False).export("open.stl")
    flat = trimesh.Trimesh([[0, 0, 0], [9, 0, 0], [0, 9, 0]], [[0, 1, 2], [2, 1, 0]], process=False)
    flat.export("flat.stl")
    Path("solid_only.stl").write_text("solid nothing\nendsolid nothing\n")
    Path("bad.toml").write_text("[base]\nheight_mm = -1\n")
    Path("broken.toml").write_text("[base\n")
    Path("a_file").write_text("mine")
    Path("points.csv").write_text("1,2,3\n4,5,six\n")
    Path("free.csv").write_text("1,2,3,0\n")
    Path("heavy.csv").write_text("1,2,3,2\n")
    Path("latin.csv").write_bytes(b"1,2,3 # \xe9\n")
    Path("folder/master.3mf").mkdir()


BAD_MODELS = [
    "missing.stl", "folder", "empty.stl", "cut.stl", "cut_header.stl", "text.stl", "text.obj",
    "text.ply", "text.3mf", "text.glb", "noise.stl", "model.xyz123", "model", "nan.stl",
    "open.stl", "flat.stl", "solid_only.stl", "a_file/body.stl", "n" * 300 + ".stl", "",
]  # fmt: skip


def assert_refused(capsys, arguments: list[str], named: str = "") -> None:
    before = tree()
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("pourwright: ")
    assert err.count("\n") == 1
    assert err.endswith("\n")
    assert "Traceback" not in err
    assert "this is a bug" not in err
    assert named in err
    assert tree() == before


@pytest.mark.parametrize("bad", BAD_MODELS)
def test_bad_models(capsys, bad):
    write_bad_models()
    named = Path(bad).name if bad else ""
    assert_refused(capsys, ["air", bad, "--json", "air.json"], named)
    assert_refused(capsys, ["plan", "body.stl", bad, "--out", "out"], named)


@pytest.mark.parametrize(("unit", "named"), [
    ("micron", "would sink 1 mm into the base, which leaves nothing of it to see; check the unit"),
    ("m", "is the unit right?"),
])  # fmt: skip
def test_figures_in_the_wrong_unit(capsys, unit, named):
    arguments = ["plan", "body.stl", "--unit", unit, "--out", "out", "--no-mould"]
    assert_refused(capsys, arguments, named)


AIR = ["air", "body.stl"]
PLAN = ["plan", "body.stl", "--out", "out"]
BAD_OPTIONS = [
    ([], "COMMAND"),
    (["pour"], "'pour'"),
    (["air"], "MODEL"),
    (["plan", "body.stl"], "--out"),
    (["air", "body.stl", "empty.stl"], "empty.stl is empty"),
    (["air", "body.stl", "missing.stl"], "no file missing.stl"),
    (["air", "body.stl", "folder"], "folder is a folder"),
    (["air", "body.stl", "/dev/null"], "/dev/null is not a file"),
    ([*AIR, "--colour"], "--colour"),
    ([*AIR, "--u", "0,0,1"], "--u"),
    ([*AIR, "--up"], "--up"),
    ([*AIR, "--up", "0,0,0"], "points nowhere"),
    ([*AIR, "--up", "-0,0,0"], "points nowhere"),
    ([*AIR, "--up", "nan,0,1"], "not finite"),
    ([*AIR, "--up", "inf,0,1"], "not finite"),
    ([*AIR, "--up", "0,0"], "three numbers"),
    ([*AIR, "--up", "0,0,1,2"], "three numbers"),
    ([*AIR, "--up", "-x,0,1"], "--up"),
    ([*AIR, "--up", "1e300,0,0"], "--up"),
    ([*AIR, "--vent", "1,2"], "three numbers"),
    ([*AIR, "--vent", "nan,0,0"], "not finite"),
    ([*AIR, "--unit", "furlong"], "--unit"),
    ([*AIR, "--process", "steam"], "choose one of open, pressure, vacuum_pressure"),
    ([*AIR, "--json", "folder"], "folder"),
    ([*AIR, "--json", "body.stl", "--force"], "body.stl is read"),
    ([*AIR, "--json", "a_file"], "Already there: a_file"),
    ([*AIR, "--json", "a_file/air.json"], "a_file is a file"),
    ([*AIR, "--json", "/dev/null", "--force"], "Not a plain file"),
    ([*AIR, "--json", "/proc/air.json"], "/proc"),
    ([*PLAN, "--up", "0,0,0"], "points nowhere"),
    (["plan", "body.stl", "--out", ""], "the name is empty"),
    ([*PLAN, "--base", "mug"], "round-plinth, rectangular-plinth"),
    ([*PLAN, "--base", "coin", "--base-model", "hinged.stl"], "not allowed with"),
    ([*PLAN, "--base-model"], "--base-model"),
    ([*PLAN, "--base-model", "missing.stl"], "no file missing.stl"),
    ([*PLAN, "--base-model", "folder"], "folder is a folder"),
    ([*PLAN, "--base-model", "empty.stl"], "empty.stl is empty"),
    ([*PLAN, "--json", "free.csv", "--base-model", "free.csv", "--force"], "free.csv is read"),
    ([*PLAN, "--printer", "mangle"], "choose one of resin_small"),
    ([*PLAN, "--socket", "yes"], "arguments: yes"),
    ([*PLAN, "--socket", "--json", "out/base.stl"], "own files"),
    ([*PLAN, "--material", "butter"], "polyurethane, epoxy, polyester"),
    ([*PLAN, "--process", "steam"], "choose one of"),
    ([*PLAN, "--job", "missing.toml"], "missing.toml"),
    ([*PLAN, "--job", "folder"], "folder"),
    ([*PLAN, "--job", "bad.toml"], "line 2: base.height_mm is -1; give a number from 0.5"),
    ([*PLAN, "--job", "broken.toml"], "broken.toml"),
    ([*PLAN, "--job", "body.stl"], "body.stl"),
    ([*PLAN, "--json", "out/master.stl"], "own files"),
    ([*PLAN, "--json", "out/rods.csv"], "own files"),
    ([*PLAN, "--json", "free.csv", "--protect", "free.csv", "--force"], "free.csv is read"),
    ([*PLAN, "--protect"], "--protect"),
    ([*PLAN, "--protect", ""], "is a folder"),
    ([*PLAN, "--protect", "missing.csv"], "no file missing.csv"),
    ([*PLAN, "--protect", "missing.ply"], "no file missing.ply"),
    ([*PLAN, "--protect", "folder"], "folder is a folder"),
    ([*PLAN, "--protect", "/dev/null"], "/dev/null is not a file"),
    ([*PLAN, "--protect", "n" * 300 + ".ply"], "Cannot read"),
    ([*PLAN, "--protect", "empty.stl"], "empty.stl is empty"),
    ([*PLAN, "--protect", "cut.stl"], "cut.stl"),
    ([*PLAN, "--protect", "text.ply"], "text.ply"),
    ([*PLAN, "--protect", "a_file"], "a_file, line 1: 'mine'"),
    ([*PLAN, "--protect", "points.csv"], "points.csv, line 2: '4,5,six'"),
    ([*PLAN, "--protect", "free.csv"], "free.csv protects nothing"),
    ([*PLAN, "--protect", "heavy.csv"], "the weight is 2"),
    ([*PLAN, "--protect", "latin.csv"], "neither a model nor a text"),
    ([*AIR, "--protect", "points.csv"], "--protect"),
    (["plan", "body.stl", "--out", "folder"], "Not a plain file"),
    (["plan", "body.stl", "--out", "folder", "--force"], "Not a plain file"),
    (["plan", "body.stl", "--out", "a_file"], "a_file is a file"),
    (["plan", "body.stl", "--out", "a_file/sub"], "a_file is a file"),
    (["plan", "body.stl", "--out", "/proc/out"], "/proc"),
    (["plan", "body.stl", "--out", "n" * 300], "Cannot"),
    (["bases", "--json", "a_file"], "Already there"),
    (["materials", "--json", "folder"], "Not a plain file"),
    (["printers", "--json", "a_file"], "Already there"),
    (["printers", "resin_small"], "resin_small"),
]


@pytest.mark.parametrize(
    ("arguments", "named"), BAD_OPTIONS, ids=lambda value: " ".join(value)[-60:]
)
def test_bad_options_are_refused_before_the_work(capsys, monkeypatch, arguments, named):
    write_bad_models()

    def must_not_run(*given, **options):
        raise AssertionError("the heavy work ran")

    for name in ("check_air", "plan_pour"):
        monkeypatch.setattr(pourwright.plan.pipeline, name, must_not_run)
    monkeypatch.setattr("pourwright.solid.read_models", must_not_run)
    monkeypatch.setattr("pourwright.solid.intake", must_not_run)
    assert_refused(capsys, arguments, named)


def test_protection_that_misses_the_figure(capsys):
    Path("far.csv").write_text("100,200,300\n")
    arguments = ["plan", "body.stl", "--out", "out", "--protect", "far.csv"]
    assert_refused(capsys, arguments, "far.csv protects nothing of the figure")


def test_weights_of_a_model_out_of_range(capsys):
    body = trimesh.load("body.stl")
    body.vertex_attributes["protect"] = np.full(len(body.vertices), 2.0, np.float32)
    body.export("body.ply")
    for command in (["air", "body.ply"], ["plan", "body.ply", "--out", "out"]):
        assert_refused(capsys, command, "'body.ply': protect weight 2 of vertex 0")


def test_a_model_is_never_written_over(capsys):
    Path("master.stl").write_bytes(Path("body.stl").read_bytes())
    assert_refused(
        capsys, ["plan", "master.stl", "--out", ".", "--force"], "master.stl is read"
    )  # fmt: skip
    Path("plan.json").write_text("[pour]")
    arguments = ["plan", "body.stl", "--job", "plan.json", "--out", ".", "--force"]
    Path("plan.json").write_text("")
    assert_refused(capsys, arguments, "plan.json is read")


@pytest.mark.parametrize("bad", ["open.stl", "flat.stl", "text.stl", "nan.stl"])
def test_a_base_model_that_is_no_body_is_refused(capsys, bad):
    write_bad_models()
    assert_refused(capsys, [*PLAN, "--base-model", bad])


def test_a_socket_that_cannot_be_is_refused(capsys):
    Path("thin.toml").write_text(
        "[base]\nheight_mm = 1.5\nembed_mm = 1.2\ncrown_deg = 0\n"
        "[funnel]\nenabled = false\n[mould]\nenabled = false\n"
    )
    named = "under the socket"
    assert_refused(capsys, [*PLAN, "--unit", "mm", "--socket", "--job", "thin.toml"], named)
