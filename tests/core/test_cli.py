from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh

import pourwright
import pourwright.plan.pipeline
from pourwright.cli import main
from pourwright.errors import Cancelled
from pourwright.plan.job import Job
from pourwright.solid.protect import Protection
from pourwright.sprue.catalogue import CATALOGUE
from tests.core.figures import export_figure, tree

CORE = Path(pourwright.__file__).parents[1]
PLAN_FILES = ["master.3mf", "master.stl", "plan.json", "rods.csv", "sheet.html"]


@pytest.fixture
def models(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return export_figure()


def names_in(folder: str) -> list[str]:
    return sorted(path.name for path in Path(folder).iterdir())


def run(*arguments: str, **options) -> subprocess.CompletedProcess[str]:
    """Run the command as a process of its own."""
    environment = {**os.environ, "PYTHONPATH": str(CORE), **options.pop("env", {})}
    return subprocess.run(
        [sys.executable, "-m", "pourwright", *arguments],
        env=environment, capture_output=True, text=True, timeout=120, check=False, **options,
    )  # fmt: skip


def test_air_finds_the_hand(models, capsys):
    assert main(["air", *models, "--json", "air.json"]) == 1
    data = json.loads(Path("air.json").read_text())
    mattering = [p for p in data["pockets"] if p["matters"]]
    assert len(mattering) == 1
    (hand,) = mattering
    assert hand["peak_mm"][2] == pytest.approx(-9.0)
    assert hand["saddle_height_mm"] == pytest.approx(2.0, abs=0.01)
    assert hand["volume_mm3"] == pytest.approx(4 * 4 * 7, rel=0.01)
    assert data["up"] == [0.0, 0.0, -1.0]
    assert data["process"]["name"] == Job().process.name
    out, err = capsys.readouterr()
    assert "1 pocket would leave a visible bubble." in out
    assert err == ""


def test_air_with_the_hand_open_is_done(models, capsys):
    assert main(["air", *models, "--vent", "16,0,-9", "--vent", "0,0,-22"]) == 0
    assert "No pocket leaves a visible bubble." in capsys.readouterr().out


@pytest.mark.parametrize("form", [["--up", "-1,0,0"], ["--up=-1,0,0"], ["--up", "-1.0,-0,.0"]])
def test_direction_that_begins_with_a_minus(models, capsys, form):
    assert main(["air", *models, *form, "--json", "air.json"]) in (0, 1)
    assert json.loads(Path("air.json").read_text())["up"] == [-1.0, 0.0, 0.0]


def test_vent_that_begins_with_a_minus(models, capsys):
    main(["air", "body.stl", "--vent", "-8,0,0", "--json", "air.json"])
    (opening,) = json.loads(Path("air.json").read_text())["openings_mm"]
    assert opening == pytest.approx([-8.0, 0.0, 0.0], abs=1e-5)


def test_model_whose_name_begins_like_a_number(models, capsys):
    Path("-1,0,0").write_bytes(Path("body.stl").read_bytes())
    assert main(["air", "--up", "0,0,1", "--", "-1,0,0"]) == 2  # a name without an ending
    assert "-1,0,0" in capsys.readouterr().err


def test_plan_writes_a_vented_master(models, capsys):
    assert main(["plan", *models, "--out", "new/out"]) == 0
    assert names_in("new/out") == PLAN_FILES
    data = json.loads(Path("new/out/plan.json").read_text())
    assert data["undecided"] is False
    assert len(data["vents"]) == 1
    assert not any(p["matters"] for p in data["pockets_after"])
    master = trimesh.load("new/out/master.stl")
    assert master.volume == pytest.approx(data["master"]["volume_mm3"], rel=1e-5)
    out, err = capsys.readouterr()
    assert "new/out/master.3mf" in out
    assert err == ""


def test_same_plan_same_bytes(models, capsys):
    for folder in ("a", "b"):
        assert main(["plan", *models, "--out", folder, "--quiet"]) == 0
    for name in PLAN_FILES:
        assert Path("a", name).read_bytes() == Path("b", name).read_bytes()
    assert capsys.readouterr().out == ""


def test_unit_scales_the_figure(models, capsys):
    main(["air", "body.stl", "--json", "mm.json"])
    main(["air", "body.stl", "--unit", "cm", "--json", "cm.json"])
    mm, cm = (json.loads(Path(f"{u}.json").read_text())["figure"] for u in ("mm", "cm"))
    assert cm["volume_mm3"] == pytest.approx(1000 * mm["volume_mm3"], rel=1e-9)


def test_plan_options_stand_above_the_job_file(models, capsys):
    Path("job.toml").write_text(
        '[pour]\nmaterial = "epoxy"\nprocess = "open"\nmargin = 0.2\n[base]\nheight_mm = 9\n'
    )
    main(["plan", *models, "--out", "out", "--job", "job.toml", "--material", "polyester",
          "--base", "rectangular-plinth", "--up", "0,0.1,-1"])  # fmt: skip
    data = json.loads(Path("out/plan.json").read_text())
    assert data["job"]["pour"]["margin"] == 0.2
    assert data["resin"]["material"] == "polyester"
    assert data["process"]["residual_factor"] == 1.0
    assert data["job"]["base"]["kind"] == "rectangular_plinth"
    assert data["job"]["base"]["height_mm"] == 9
    np.testing.assert_allclose(data["up"], np.array([0, 0.1, -1]) / np.hypot(0.1, 1), atol=1e-9)


def test_json_beside_a_plan_is_the_plan(models, capsys):
    assert main(["plan", *models, "--out", "out", "--json", "copy.json"]) == 0
    assert Path("copy.json").read_bytes() == Path("out/plan.json").read_bytes()
    assert main(["plan", *models, "--out", "o2", "--json", "o2/../o2/plan.json"]) == 0
    assert names_in("o2") == PLAN_FILES
    assert main(["plan", *models, "--out", "o3", "--json", "o3/copy.json"]) == 0
    assert names_in("o3") == ["copy.json", *PLAN_FILES]


def protection_of_plan(monkeypatch, arguments: list[str]) -> Protection | None:
    """Run a plan and return the protection that it was made with."""
    seen = []
    real = pourwright.plan.pipeline.plan_pour

    def watched(solid, *given):
        seen.append(solid.protection)
        return real(solid, *given)

    with monkeypatch.context() as patch:
        patch.setattr(pourwright.plan.pipeline, "plan_pour", watched)
        assert main(arguments) in (0, 1)
    (protection,) = seen
    return protection


def test_protect_reaches_the_plan(models, capsys, monkeypatch):
    Path("face.csv").write_text("x,y,z,weight\n0.8,0,0,0.25\n-0.8,0,0\n")
    arguments = ["plan", "body.stl", "--unit", "cm"]
    found = protection_of_plan(
        monkeypatch, [*arguments, "--out", "a", "--protect", "face.csv"]
    )  # fmt: skip
    assert found.at(np.array([[8.0, 0, 0], [-8, 0, 0], [0, 0, 0]])).tolist() == [0.25, 1, 0]
    assert "protected: surface between (-8.0, 0.0, 0.0) and (8.0, 0.0, 0.0)" in (
        capsys.readouterr().out
    )
    assert protection_of_plan(monkeypatch, [*arguments, "--out", "b"]) is None


def test_protect_joins_what_is_painted_on_the_model(models, capsys, monkeypatch):
    body = trimesh.load("body.stl")
    high = body.vertices[:, 2] > 3
    body.vertex_attributes["protect"] = high.astype(np.float32)
    body.export("body.ply")
    Path("more.txt").write_text("-8 0 0 0.5\n")
    arguments = ["plan", "body.ply", "--unit", "mm"]
    alone = protection_of_plan(monkeypatch, [*arguments, "--out", "a"])
    both = protection_of_plan(monkeypatch, [*arguments, "--out", "b", "--protect", "more.txt"])
    places = np.vstack([body.vertices[high], [[-8.0, 0, 0]]])
    assert alone.at(places).tolist() == [1.0] * int(high.sum()) + [0.0]
    assert both.at(places).tolist() == [1.0] * int(high.sum()) + [0.5]


def test_existing_results_need_force(models, capsys):
    assert main(["plan", *models, "--out", "out", "--json", "copy.json"]) == 0
    before = tree()
    capsys.readouterr()
    assert main(["plan", *models, "--out", "out", "--json", "copy.json"]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert all(name in err for name in [*PLAN_FILES, "copy.json"])
    assert tree() == before
    assert main(["plan", *models, "--out", "out", "--json", "copy.json", "--force"]) == 0
    assert tree() == before


def test_other_files_in_the_folder_are_left_alone(models, capsys):
    Path("out").mkdir()
    Path("out/notes.txt").write_text("mine")
    assert main(["plan", *models, "--out", "out"]) == 0
    assert names_in("out") == [*PLAN_FILES[:2], "notes.txt", *PLAN_FILES[2:]]
    assert Path("out/notes.txt").read_text() == "mine"


def test_lists(models, capsys):
    assert main(["bases", "--json", "bases.json"]) == 0
    assert main(["materials", "--json", "materials.json"]) == 0
    out, _ = capsys.readouterr()
    assert all(name in out for name in ("round-plinth", "rectangular-plinth", "epoxy"))
    bases = json.loads(Path("bases.json").read_text())["bases"]
    assert [b["name"] for b in bases] == list(CATALOGUE)
    stepped = next(b for b in bases if b["name"] == "stepped_plinth")
    assert [p["name"] for p in stepped["parameters"]] == ["steps", "tread_mm", "corner_mm"]
    assert all(kind.title in out and p.help in out for kind in CATALOGUE.values()
               for p in kind.parameters)
    materials = json.loads(Path("materials.json").read_text())["materials"]
    assert [m["name"] for m in materials] == ["polyurethane", "epoxy", "polyester"]


def test_version_and_help(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"pourwright {pourwright.__version__}\n"
    for arguments in (["--help"], ["air", "--help"], ["plan", "--help"]):
        assert main(arguments) == 0
        assert "usage: pourwright" in capsys.readouterr().out


@pytest.mark.parametrize("error", [KeyboardInterrupt(), Cancelled()])
def test_stop_by_the_user(models, capsys, monkeypatch, error):
    def stopped(*given, **options):
        raise error

    monkeypatch.setattr(pourwright.plan.pipeline, "plan_pour", stopped)
    before = tree()
    assert main(["plan", *models, "--out", "out"]) == 130
    assert capsys.readouterr() == ("", "pourwright: stopped\n")
    assert tree() == before


@pytest.mark.parametrize(
    ("error", "named"),
    [
        (MemoryError(), "not enough memory"),
        (RecursionError("deep"), "this is a bug: RecursionError: deep"),
        (ZeroDivisionError("two\nlines"), "this is a bug: ZeroDivisionError: two lines"),
    ],
)
def test_unexpected_errors_are_one_line(models, capsys, monkeypatch, error, named):
    def broken(*given, **options):
        raise error

    monkeypatch.setattr(pourwright.plan.pipeline, "check_air", broken)
    monkeypatch.delenv("POURWRIGHT_TRACEBACK", raising=False)
    assert main(["air", *models]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert named in err
    monkeypatch.setenv("POURWRIGHT_TRACEBACK", "1")
    assert main(["air", *models]) == 2
    assert "Traceback" in capsys.readouterr().err


def test_full_disk_at_the_write_leaves_nothing(models, capsys, monkeypatch):
    def full(*given):
        raise OSError(28, "No space left on device")

    before = tree()
    monkeypatch.setattr(os, "fsync", full)
    assert main(["plan", *models, "--out", "new/out", "--json", "copy.json"]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "No space left on device" in err
    assert tree() == before


def test_as_a_process(models):
    """What only shows from outside: exit status, streams, noise of libraries."""
    done = run("air", "body.stl", "--vent", "0,0,-22")
    assert (done.returncode, done.stderr) == (0, "")
    assert run("air", *models).returncode == 1
    Path("noise.stl").write_bytes(np.random.default_rng(1).bytes(5000))
    refused = run("air", "noise.stl")
    assert (refused.returncode, refused.stdout, refused.stderr.count("\n")) == (2, "", 1)


def test_reader_that_goes_away_is_no_fault(models):
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as closed:
        for arguments in (["air", "body.stl", "--vent", "0,0,-22"], ["--help"], ["materials"]):
            done = subprocess.run(
                [sys.executable, "-m", "pourwright", *arguments], stdout=closed,
                stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(CORE)}, check=False,
            )  # fmt: skip
            assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_report_that_cannot_be_printed():
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "pourwright", "bases"], stdout=full,
            stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(CORE)}, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count(b"\n") == 1
    assert b"No space left on device" in done.stderr


NOISY = """
import logging, sys, warnings
import pourwright.plan.pipeline
from pourwright.cli import main
from pourwright.sprue.catalogue import CATALOGUE
real = pourwright.plan.pipeline.check_air

def noisy(*given):
    warnings.warn("a warning of a library", RuntimeWarning)
    logging.getLogger("trimesh").warning("a log line of a library")
    return real(*given)

pourwright.plan.pipeline.check_air = noisy
sys.exit(main(["air", "body.stl", "--vent", "0,0,-22"]))
"""


def test_noise_of_libraries_stays_off_the_terminal(models):
    done = subprocess.run(
        [sys.executable, "-c", NOISY], env={**os.environ, "PYTHONPATH": str(CORE)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")


INTERRUPTED = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # background jobs inherit it ignored
import pourwright.plan.pipeline
from pourwright.cli import main
from pourwright.sprue.catalogue import CATALOGUE

def endless(*given):
    print("at work", flush=True)
    time.sleep(60)

pourwright.plan.pipeline.plan_pour = endless
sys.exit(main(["plan", "body.stl", "--out", "out"]))
"""


def test_interrupt_of_a_running_plan(models):
    """Ctrl-C while the plan is made: 130, and no file."""
    before = tree()
    process = subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED], env={**os.environ, "PYTHONPATH": str(CORE)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "at work\n"
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert (process.returncode, out, err) == (130, "", "pourwright: stopped\n")
    assert tree() == before


def test_import_is_quick():
    """The heavy libraries wait until a command needs them."""
    code = (
        "import sys, pourwright.cli; "
        "print([m for m in ('numpy', 'scipy', 'trimesh', 'manifold3d') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(CORE)},
    )  # fmt: skip
    assert done.stdout == "[]\n"
