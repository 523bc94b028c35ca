"""The search for a way up from the shell, from a job file and from the worker."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

import pourwright
import pourwright.pose.search
from pourwright.cli import main
from pourwright.errors import Cancelled, InputError
from pourwright.files.pose_json import pose_to_dict
from pourwright.plan.job import Job
from pourwright.plan.job_file import parse_job
from pourwright.pose.search import search
from pourwright.pose.settings import PoseSettings, PoseWeights
from pourwright.shop.process import PROCESSES
from pourwright.solid import intake
from tests.core.figures import export_figure, tree
from tests.core.pose_bodies import pose_body

CORE = Path(pourwright.__file__).parents[1]
QUICK = ["--directions", "40", "--keep", "3"]
POSE_KEYS = {
    "up", "score", "pockets", "residual_mm3", "rods", "rod_mm", "height_mm", "footprint_cm2",
    "protected", "misfit_mm", "tilt_deg", "reasons",
}  # fmt: skip


@pytest.fixture
def models(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return export_figure()


def test_ranking_in_the_terminal_and_as_json(models, capsys):
    Path("job.toml").write_text("[pose]\ndirections = 40\nkeep = 9\n[pose.weights]\nrod = 3\n")
    assert main(["pose", *models, "--unit", "mm", "--job", "job.toml", "--keep", "3",
                 "--process", "open", "--json", "p.json", "--picture", "p.svg"]) == 0  # fmt: skip
    out, err = capsys.readouterr()
    assert err == ""
    assert out.isascii()
    assert max(map(len, out.splitlines())) <= 100
    data = json.loads(Path("p.json").read_text())
    assert list(data)[:2] == ["schema", "poses"]
    assert data["schema"] == 1
    assert 1 <= len(data["poses"]) <= 3
    for pose in [*data["poses"], data["standing"]]:
        assert set(pose) == POSE_KEYS
        assert np.linalg.norm(pose["up"]) == pytest.approx(1.0, abs=1e-11)
        expected = sum(
            data["weights"][w] * pose[t]
            for t, w in (
                ("pockets", "pocket"), ("residual_mm3", "residual_mm3"), ("rods", "rod"),
                ("rod_mm", "rod_mm"), ("height_mm", "height_mm"),
                ("footprint_cm2", "footprint_cm2"), ("protected", "protected"),
                ("misfit_mm", "misfit_mm"),
            )
        )  # fmt: skip
        assert pose["score"] == pytest.approx(expected, rel=1e-9)
    assert [p["score"] for p in data["poses"]] == sorted(p["score"] for p in data["poses"])
    assert data["standing"]["up"] == [0.0, 0.0, -1.0]
    assert data["weights"]["rod"] == 3.0
    assert data["sweep"]["directions"] >= 40
    assert (data["sweep"]["cone_deg"], data["sweep"]["axis"]) == (180.0, [0.0, 0.0, -1.0])
    assert data["process"]["name"] == "open"
    assert data["embed_mm"] == Job().base.embed_mm
    best = data["poses"][0]
    row = next(line.split() for line in out.splitlines() if line.startswith("  1 "))
    up = re.search(r"--up (\S+):", out).group(1)
    np.testing.assert_allclose([float(c) for c in up.split(",")], best["up"], atol=1e-4)
    assert row[2:4] == [f"{best['score']:.2f}", str(best["pockets"])]
    assert best["reasons"][0] in out
    assert "--up 0,0,-1: the standing pose" in out
    assert "3 a rod, 0.02 a mm of rod" in out
    assert out.endswith("Written\n  p.json\n  p.svg\n")
    assert "protected  " not in out
    assert "too big" not in out


def test_pockets_are_those_that_air_reports(models, capsys):
    main(["pose", *models, *QUICK, "--process", "open", "--json", "p.json"])
    for pose in json.loads(Path("p.json").read_text())["poses"]:
        up = ",".join(map(repr, pose["up"]))
        main(["air", *models, f"--up={up}", "--process", "open", "--json", "a.json", "--force"])
        air = json.loads(Path("a.json").read_text())
        matter = [p["volume_mm3"] for p in air["pockets"] if p["matters"]]
        assert (len(matter), sum(matter)) == (
            pose["pockets"], pytest.approx(pose["residual_mm3"], abs=1e-6)
        )  # fmt: skip


def test_options_reach_the_search(models, capsys, monkeypatch):
    seen = []
    real = pourwright.pose.search.search

    def watched(solid, process, settings, embed_mm, progress):
        seen.append((solid, process, settings, embed_mm))
        return real(solid, process, settings, embed_mm, progress)

    monkeypatch.setattr(pourwright.pose.search, "search", watched)
    Path("job.toml").write_text("[base]\nembed_mm = 2.5\n[pose]\ncone_deg = 5\n")
    Path("face.csv").write_text("0,0,8,1\n")
    assert main(["pose", *models, "--unit", "mm", "--job", "job.toml", "--cone", "33.5",
                 "--directions", "12", "--axis", "-1,0,0", "--keep", "2", "--pot-height", "50",
                 "--pot-diameter", "20", "--process", "pressure", "--protect", "face.csv"]) == 0
    ((solid, process, settings, embed_mm),) = seen
    assert settings == PoseSettings(12, 33.5, (-1.0, 0.0, 0.0), 2, 50.0, 20.0)
    assert (process, embed_mm) == (PROCESSES["pressure"], 2.5)
    assert solid.protection is not None
    out = capsys.readouterr().out
    assert "up to 33.5 deg from up (-1, 0, 0)" in out
    assert "too big" in out


def test_protected_column_only_where_something_is_touched(models, capsys):
    Path("all.csv").write_text("".join(f"0,0,{z},1\n" for z in range(-22, 9)))
    main(["pose", "body.stl", *QUICK, "--protect", "all.csv", "--unit", "mm"])
    assert "protected" in capsys.readouterr().out.split("Pour")[1].split("Points:")[0]


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        (["--cone", "-1"], "pose.cone_deg is -1.0"),
        (["--cone", "nan"], "pose.cone_deg"),
        (["--cone", "wide"], "--cone"),
        (["--directions", "0"], "pose.directions is 0"),
        (["--directions", "2.5"], "--directions"),
        (["--keep", "0"], "pose.keep is 0"),
        (["--axis", "0,0,0"], "points nowhere"),
        (["--axis", "-1,0"], "three numbers"),
        (["--process", "steam"], "There is no process 'steam'"),
        (["--pot-height", "-5"], "pose.pot_height_mm"),
        (["--up", "0,0,1"], "--up"),
        (["--job", "none.toml"], "none.toml"),
        (["--job", "bad.toml"], "pose.weights.rods is not known"),
        (["--protect", "none.csv"], "none.csv"),
        (["--picture", "body.stl"], "cannot be written over"),
        (["--picture", "taken.svg"], "Already there: taken.svg"),
        (["--picture", "up.png"], "end its name in .svg"),
        (["--json", "x", "--picture", "./x"], "asked for twice"),
    ],
    ids=lambda v: v[-1] if isinstance(v, list) else "",
)
def test_bad_input(models, capsys, wrong, named):
    Path("bad.toml").write_text("[pose.weights]\nrods = 2\n")
    Path("taken.svg").write_text("mine")
    before = tree()
    assert main(["pose", *models, *wrong]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert named in err
    assert tree() == before


@pytest.mark.parametrize("error", [KeyboardInterrupt(), Cancelled()])
def test_stop_by_the_user(models, capsys, monkeypatch, error):
    def stopped(*given):
        raise error

    monkeypatch.setattr(pourwright.pose.search, "search", stopped)
    before = tree()
    assert main(["pose", *models, "--json", "p.json"]) == 130
    assert capsys.readouterr() == ("", "pourwright: stopped\n")
    assert tree() == before


def test_plan_with_the_best_pose(models, capsys):
    Path("job.toml").write_text("[pose]\ndirections = 40\nkeep = 3\n")
    arguments = ["plan", *models, "--job", "job.toml", "--unit", "mm", "--process", "open"]
    assert main([*arguments, "--find-pose", "--out", "found", "--json", "copy.json"]) in (0, 1)
    out = capsys.readouterr().out
    data = json.loads(Path("found/plan.json").read_text())
    assert Path("copy.json").read_bytes() == Path("found/plan.json").read_bytes()
    assert data["up"] == pytest.approx(data["poses"][0]["up"], abs=1e-9)
    assert set(data["poses"][0]) == set(data["standing"]) == POSE_KEYS
    assert data["job"]["pose"]["directions"] == 40
    reason = data["poses"][0]["reasons"][0]
    assert re.search(rf"best of \d+ directions: {reason}", out)
    standing, best = data["standing"], data["poses"][0]
    assert best["score"] < standing["score"]
    main([*arguments, "--out", "as-it-stands"])
    plain = json.loads(Path("as-it-stands/plan.json").read_text())
    assert "poses" not in plain
    assert plain["up"] == [0.0, 0.0, -1.0]
    # What the pose was chosen for holds once base and vents are there.
    assert len(data["vents"]) <= len(plain["vents"])
    capsys.readouterr()
    assert main([*arguments, "--find-pose", "--up", "0,0,1", "--out", "x"]) == 2
    assert "not allowed with" in capsys.readouterr().err


FULL = """
[pose]
directions = 60
cone_deg = 45
axis = [0, 1, 0]
keep = 4
pot_height_mm = 90
pot_diameter_mm = 70.5

[pose.weights]
pocket = 1.5
residual_mm3 = 0.25
rod = 3
rod_mm = 0.5
height_mm = 0.125
footprint_cm2 = 0.75
protected = 20
misfit_mm = 6
"""


def test_every_setting_of_the_job_file():
    job = parse_job(FULL)
    weights = PoseWeights(1.5, 0.25, 3, 0.5, 0.125, 0.75, 20, 6)
    assert job.pose == PoseSettings(60, 45, (0.0, 1.0, 0.0), 4, 90, 70.5, weights)
    assert parse_job("").pose == PoseSettings()
    for settings in (PoseSettings, PoseWeights):
        for f in fields(settings):
            assert f"\n{f.name} = " in FULL or f.name == "weights"


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("pose = 3", "make it a table: \\[pose\\]"),
        ("[pose]\ncone = 3", "pose.cone is not known"),
        ("[pose]\ncone_deg = -1", "pose.cone_deg is -1"),
        ("[pose]\ndirections = 1.5", "pose.directions is 1.5"),
        ("[pose]\naxis = 'up'", "pose.axis"),
        ("[pose]\naxis = [0, 0, 0]", "points nowhere"),
        ("[pose]\nweights = 2", "make it a table: \\[pose.weights\\]"),
        ("[pose.weights]\nspeed = 2", "pose.weights.speed is not known"),
        ("[pose.weights]\nrod = -1", "pose.weights.rod is -1"),
        ("[pose.weights]\nrod = 'much'", "pose.weights.rod"),
    ],
)
def test_bad_tables_of_the_job_file(text, named):
    with pytest.raises(InputError, match=named):
        parse_job(text)


def test_job_wants_pose_settings():
    with pytest.raises(InputError, match="job's pose is a dict"):
        Job(pose={"cone_deg": 30})


def run_worker(folder: Path, job: str) -> tuple[int, dict, list[dict]]:
    """Run the worker as the extension does, with its standard input open; status, result, told."""
    mesh = pose_body(5)[1].mesh
    np.savez(folder / "meshes.npz", vertices_0=mesh.vertices, faces_0=mesh.faces)
    (folder / "job.json").write_text(json.dumps({"task": "pose", "job": job, "names": ["body"]}))
    with subprocess.Popen(
        [sys.executable, "-m", "pourwright.worker", str(folder)], stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(CORE)},
    ) as worker:  # fmt: skip
        lines = worker.stdout.readlines()
        status = worker.wait(60)
    return status, json.loads((folder / "result.json").read_text()), list(map(json.loads, lines))


def test_worker_searches(tmp_path):
    text = '[pour]\nprocess = "open"\n[pose]\ndirections = 40\nkeep = 2\n'
    status, result, told = run_worker(tmp_path, text)
    assert status == 0
    assert result.pop("objects") == []
    mesh = pose_body(5)[1].mesh
    job = parse_job(text)
    expected = search(intake([mesh]), job.process, job.pose, job.base.embed_mm)
    np.testing.assert_array_equal(result["sweep"].pop("directions"), expected.directions)
    np.testing.assert_array_equal(result["sweep"].pop("scores"), expected.scores)
    plain = pose_to_dict(expected)
    plain["sweep"].pop("directions")
    assert result == plain
    assert told[-1]["fraction"] == 1.0
    assert any(line["text"].startswith("Trying directions") for line in told)


def test_worker_names_a_wrong_setting(tmp_path):
    status, result, _ = run_worker(tmp_path, "[pose]\ncone_deg = 200\n")
    assert status == 2
    assert result["error"]["kind"] == "InputError"
    assert "pose.cone_deg is 200" in result["error"]["message"]
