"""The worker process as the extension starts it, in plain Python without Blender."""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
TIMEOUT_S = 120


def _box(low, high):
    x0, y0, z0 = low
    x1, y1, z1 = high
    vertices = [(x, y, z) for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)]
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return np.array(vertices, float), np.array(faces)


def _gallows():
    """A post, an arm and an end that hangs down 12 mm: a dead end of 768 mm3 upside down."""
    return [
        _box((-6, -6, 0), (6, 6, 60)),
        _box((-6, -6, 50), (40, 6, 62)),
        _box((28, -4, 38), (36, 4, 55)),
    ]


def _start(folder: Path) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-s", "-P", "-m", "pourwright.worker", str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={"PYTHONPATH": str(ROOT / "core"), "PATH": "/usr/bin:/bin"},
    )


def _put(folder: Path, task: dict, meshes) -> None:
    arrays = {}
    for i, (vertices, faces, *protect) in enumerate(meshes):
        arrays |= {f"vertices_{i}": vertices, f"faces_{i}": faces}
        arrays |= {f"protect_{i}": weights for weights in protect}
    np.savez(folder / "meshes.npz", **arrays)
    task = {**task, "names": [f"part {i}" for i in range(len(meshes))]}
    (folder / "job.json").write_text(json.dumps(task), encoding="utf-8")


def _run(folder: Path, task: dict, meshes) -> tuple[int, dict, dict, list]:
    """Return status, result, arrays and progress of one job."""
    _put(folder, task, meshes)
    worker = _start(folder)
    lines = worker.stdout.read().splitlines()
    status = worker.wait(TIMEOUT_S)
    errors = worker.stderr.read()
    for pipe in (worker.stdin, worker.stdout, worker.stderr):
        pipe.close()
    assert "Traceback" not in errors, errors
    result = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    arrays = {}
    if (folder / "result.npz").exists():
        with np.load(folder / "result.npz", allow_pickle=False) as stored:
            arrays = dict(stored)
    return status, result, arrays, [json.loads(line) for line in lines]


def _volume(vertices, faces) -> float:
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def _objects(result: dict, arrays: dict) -> dict[str, tuple]:
    return {
        entry["name"]: (arrays[f"vertices_{i}"], arrays[f"faces_{i}"])
        for i, entry in enumerate(result["objects"])
    }


def test_air_gives_pockets_and_their_shapes(tmp_path: Path) -> None:
    status, result, arrays, progress = _run(tmp_path, {"task": "air", "job": ""}, _gallows())
    assert status == 1  # a pocket that matters is left to decide
    (pocket,) = [p for p in result["pockets"] if p["matters"]]
    assert pocket["volume_mm3"] == pytest.approx(768.0, rel=1e-9)
    shape = _objects(result, arrays)["Air Pocket 1"]
    assert _volume(*shape) == pytest.approx(768.0, rel=1e-4)
    fractions = [p["fraction"] for p in progress]
    assert fractions == sorted(fractions) and all(p["text"] for p in progress)


def test_plan_gives_all_parts(tmp_path: Path) -> None:
    status, result, arrays, _ = _run(tmp_path, {"task": "plan", "job": ""}, _gallows())
    assert status == 0 and not result["undecided"]
    objects = _objects(result, arrays)
    roles = [entry["role"] for entry in result["objects"]]
    assert roles[:3] == ["master", "base", "funnel"] and "vent" not in roles
    assert _volume(*objects["Master"]) == pytest.approx(result["master"]["volume_mm3"], rel=1e-9)
    assert _volume(*objects["Sprue Base"]) == pytest.approx(
        result["master"]["parts_mm3"]["base"], rel=1e-9
    )
    # The shape drawn for a pocket is that of the pocket with the same number.
    for entry in result["objects"]:
        if entry["role"] == "pocket":
            drawn = _volume(*objects[entry["name"]])
            assert drawn == pytest.approx(result["pockets"][entry["index"]]["volume_mm3"], abs=0.1)


def test_job_text_is_obeyed(tmp_path: Path) -> None:
    text = "[funnel]\nenabled = false\n[pour]\nmaterial = 'epoxy'\n"
    _, result, arrays, _ = _run(tmp_path, {"task": "plan", "job": text}, _gallows())
    assert "Funnel" not in _objects(result, arrays)
    assert result["resin"]["material"] == "epoxy"


def test_given_vents_are_taken_as_they_are(tmp_path: Path) -> None:
    rod = {"name": "Mine", "path_mm": [[32, 0, 38], [33, 0, 20], [33, 0, -20]], "diameter_mm": 2.0}
    for given, left in (([rod], 0), ([], 1)):
        folder = tmp_path / str(len(given))
        folder.mkdir()
        task = {"task": "plan", "job": "", "given": given}
        status, result, _, _ = _run(folder, task, _gallows())
        assert len(result["vents"]) == len(given) and status == left
        assert sum(p["matters"] for p in result["pockets_after"]) == left
        for vent in result["vents"]:
            assert vent["path_mm"][:2] == [[32, 0, 38], [33, 0, 20]]
            assert vent["diameter_mm"] == 2.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"diameter_mm": 0.0}, "Mine"),
        ({"path_mm": [[32, 0, 38]]}, "two points"),
        ({"path_mm": [[32, 0, 38], [33, 0]]}, "job folder"),
        ({"path_mm": [[32, 0, 38], [32, 0, 10], [32, 0, 20], [32, 0, 0]]}, "rise"),
    ],
)
def test_impossible_vents_are_refused(tmp_path: Path, change: dict, words: str) -> None:
    rod = {"name": "Mine", "path_mm": [[32, 0, 38], [32, 0, -20]], "diameter_mm": 2.0} | change
    task = {"task": "plan", "job": "", "given": [rod]}
    status, result, _, _ = _run(tmp_path, task, _gallows())
    assert status == 2 and result["error"]["kind"] == "InputError"
    assert words in result["error"]["message"]


def test_protect_weights_are_checked(tmp_path: Path) -> None:
    meshes = _gallows()
    meshes[2] = (*meshes[2], np.full(7, 0.5))
    status, result, _, _ = _run(tmp_path, {"task": "plan", "job": ""}, meshes)
    assert status == 2 and "weights" in result["error"]["message"]
    meshes[2] = (*meshes[2][:2], np.full(8, 0.5))
    status, result, _, _ = _run(tmp_path, {"task": "plan", "job": ""}, meshes)
    assert status == 0 and len(result["vents"]) == 1


@pytest.mark.parametrize(
    ("task", "kind", "words"),
    [
        ({"task": "plan", "job": "[base]\nkind = 'cake'\n"}, "InputError", "cake"),
        ({"task": "dance"}, "InputError", "job folder"),
        ({}, "InputError", "job folder"),
    ],
)
def test_bad_jobs_are_refused(tmp_path: Path, task: dict, kind: str, words: str) -> None:
    status, result, arrays, _ = _run(tmp_path, task, _gallows())
    assert status == 2 and set(result) == {"error"} and not arrays
    assert result["error"]["kind"] == kind and words in result["error"]["message"]


def test_open_mesh_is_refused_with_its_place(tmp_path: Path) -> None:
    vertices, faces = _box((0, 0, 0), (20, 20, 20))
    status, result, _, _ = _run(tmp_path, {"task": "plan", "job": ""}, [(vertices, faces[:-2])])
    assert status == 2 and result["error"]["kind"] == "open_boundary"
    assert result["error"]["at_mm"] == pytest.approx([10, 10, 20])


def test_export_keeps_what_is_there(tmp_path: Path) -> None:
    plan_folder, export_folder, out = (tmp_path / n for n in ("plan", "export", "out"))
    for folder in (plan_folder, export_folder, out):
        folder.mkdir()
    _, plan, arrays, _ = _run(plan_folder, {"task": "plan", "job": ""}, _gallows())
    master = _objects(plan, arrays)["Master"]
    plan.pop("objects")
    task = {
        "task": "export", "plan": plan, "folder": str(out), "overwrite": False,
        "files": ["master.3mf", "master.stl", "plan.json", "rods.csv"],
    }
    (out / "master.stl").write_text("mine", encoding="utf-8")
    status, result, _, _ = _run(export_folder, task, [master])
    assert status == 2 and result["error"]["kind"] == "OutputError"
    assert [p.name for p in out.iterdir()] == ["master.stl"]
    assert (out / "master.stl").read_text(encoding="utf-8") == "mine"
    task["overwrite"] = True
    status, result, _, _ = _run(export_folder, task, [master])
    assert status == 0 and sorted(p.name for p in out.iterdir()) == task["files"]
    assert json.loads((out / "plan.json").read_text(encoding="utf-8")) == plan


def test_closed_input_ends_the_worker(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    meshes = [_box(low, low + 8) for low in rng.uniform(0, 60, (3000, 3))]
    _put(tmp_path, {"task": "air", "job": ""}, meshes)
    worker = _start(tmp_path)
    worker.stdout.readline()  # it is at work
    worker.stdin.close()
    start = time.monotonic()
    worker.wait(30)
    assert worker.returncode == 2 and time.monotonic() - start < 10
    worker.stdout.close()
    worker.stderr.close()


def test_wrong_arguments_are_told() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pourwright.worker"],
        capture_output=True, text=True, check=False, env={"PYTHONPATH": str(ROOT / "core")},
    )
    assert done.returncode == 2 and done.stderr.startswith("usage:")
