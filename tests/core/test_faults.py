"""The command line where disk, memory or rights run out, or somebody kills it.

Always one line, status 2 and no half file; what was there before is there still.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

import pourwright
from tests.core.figures import export_figure

resource = pytest.importorskip("resource", reason="limits of a process are not on every system")
CORE = Path(pourwright.__file__).parents[1]
ROOT = Path(__file__).parents[2]
LIMIT_BYTES = 100


@pytest.mark.parametrize("old", [b"", b"mine"])
def test_a_file_that_cannot_grow_leaves_the_old_one(tmp_path, monkeypatch, old):
    monkeypatch.chdir(tmp_path)
    export_figure()
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "air.json").write_bytes(old)
    run = subprocess.run(
        [sys.executable, "-B", "-m", "pourwright", "air", "body.stl", "--json", "out/air.json",
         "--force"],
        env={"PYTHONPATH": str(CORE)}, capture_output=True, text=True, timeout=60, check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (LIMIT_BYTES,) * 2),
    )  # fmt: skip
    assert run.returncode == 2
    assert run.stderr.count("\n") == 1
    assert "Cannot write" in run.stderr
    assert "Traceback" not in run.stderr
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == {"air.json": old}


def test_too_little_memory_to_load_what_is_needed_is_told(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    export_figure()
    run = subprocess.run(
        [sys.executable, "-B", "-m", "pourwright", "air", "body.stl"],
        env={"PYTHONPATH": str(CORE)}, capture_output=True, text=True, timeout=60, check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (150 << 20,) * 2),
    )  # fmt: skip
    assert run.returncode == 2 and run.stderr.count("\n") == 1
    assert "not enough memory" in run.stderr, run.stderr


# Runs a command in children of a process that has all modules; a child says what came of it.
FORKS = """
import contextlib, io, json, os, resource, sys
import numpy
numpy.eye(300) @ numpy.eye(300)  # some BLAS wait for ever where the memory for a first one lacks
import trimesh, scipy.spatial, scipy.ndimage, manifold3d
from pourwright.cli import main
import pourwright.plan.pipeline, pourwright.report, pourwright.sheet.sheet
import pourwright.files.plan_files, pourwright.files.plan_json

def command(arguments):
    said = io.StringIO()
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
        status = main(arguments)
    return {"status": status, "said": said.getvalue()}

def child(before, arguments):
    into, out = os.pipe()
    number = os.fork()
    if number == 0:
        os.close(into)
        try:
            before()
            os.write(out, json.dumps(command(arguments)).encode())
        finally:
            os._exit(0)
    os.close(out)
    with os.fdopen(into, "rb") as stream:
        told = stream.read()
    ended = os.waitstatus_to_exitcode(os.waitpid(number, 0)[1])
    return json.loads(told) if told else {"status": ended, "said": ""}
"""


def forks(script: str, *arguments: str) -> list[dict]:
    run = subprocess.run(
        [sys.executable, "-B", "-c", FORKS + script, *arguments],
        env={**os.environ, "PYTHONPATH": f"{CORE}:{ROOT}", "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    return [json.loads(line) for line in run.stdout.splitlines()]


def assert_told(outcome: dict, words: str) -> None:
    assert outcome["status"] == 2, outcome
    assert words in outcome["said"] and outcome["said"].count("\n") == 1, outcome
    assert "this is a bug" not in outcome["said"]


PLAIN_USER = """
def plain():
    # All modules come in while they can be read.
    assert command(["air", "body.stl", "--json", "first.json"])["status"] in (0, 1)
    if os.getuid() == 0:
        os.setgid(65534)
        os.setuid(65534)

for arguments in (
    ["air", "body.stl", "--json", "locked/air.json", "--force"],
    ["air", "body.stl", "--json", "locked/new/air.json"],
    ["air", "secret.stl"],
    ["air", "hidden/body.stl"],
    ["plan", "body.stl", "--out", "locked", "--force", "--no-mould"],
    ["plan", "body.stl", "--out", "open", "--job", "secret.toml"],
    ["air", "body.stl", "--json", "open/air.json"],
):
    print(json.dumps(child(plain, arguments)))
    with contextlib.suppress(OSError):
        os.unlink("first.json")
"""


def test_a_user_without_rights_is_told_and_nothing_changes(monkeypatch):
    """Tests may run as the superuser, who may do all; the command then gives that up."""
    folder = Path(tempfile.mkdtemp())  # pytest's own folders are closed to others
    try:
        folder.chmod(0o755)
        monkeypatch.chdir(folder)
        export_figure()
        for name in ("locked", "open", "hidden"):
            Path(name).mkdir()
        Path("locked/air.json").write_bytes(b"mine")
        shutil.copy("body.stl", "hidden/body.stl")
        shutil.copy("body.stl", "secret.stl")
        Path("secret.toml").write_text("[pour]\n")
        for name, mode in (("locked", 0o555), ("open", 0o777), ("hidden", 0o000),
                           ("secret.stl", 0o000), ("secret.toml", 0o000)):  # fmt: skip
            Path(name).chmod(mode)
        *refused, done = forks(PLAIN_USER)
        for outcome in refused:
            assert_told(outcome, "ermission denied")
        assert done["status"] in (0, 1)
        Path("locked").chmod(0o755)
        assert [p.name for p in Path("locked").iterdir()] == ["air.json"]
        assert Path("locked/air.json").read_bytes() == b"mine"
        assert [p.name for p in Path("open").iterdir()] == ["air.json"]
    finally:
        monkeypatch.undo()
        for name in ("locked", "hidden"):
            (folder / name).chmod(0o755)
        shutil.rmtree(folder)


MEMORY = """
def limited(more):
    def before():
        pages = int(open("/proc/self/statm").read().split()[0])
        most = pages * resource.getpagesize() + more
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    return before

for more in json.loads(sys.argv[1]):
    print(json.dumps(child(limited(more), ["plan", "body.stl", "--out", "out", "--force",
                                           "--no-mould"])), flush=True)
"""


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="needs /proc")
def test_memory_that_ends_midway_is_told(tmp_path, monkeypatch):
    """From next to nothing to nearly enough."""
    monkeypatch.chdir(tmp_path)
    export_figure()
    Path("out").mkdir()
    Path("out/plan.json").write_bytes(b"mine")
    for outcome in forks(MEMORY, json.dumps([n << 20 for n in (1, 6, 30)])):
        assert_told(outcome, "not enough memory")
    assert {p.name: p.read_bytes() for p in Path("out").iterdir()} == {"plan.json": b"mine"}


def test_a_killed_plan_leaves_old_files_or_new_ones():
    """The whole command, killed while it works and while it writes; more in tests/fuzz/kill.py."""
    run = subprocess.run(
        [sys.executable, "-B", "-m", "tests.fuzz.kill", "--rounds", "4", "--planned"],
        env={**os.environ, "PYTHONPATH": f"{CORE}:{ROOT}", "OPENBLAS_NUM_THREADS": "1"}, cwd=ROOT,
        capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    counts = json.loads(run.stdout)
    assert counts["rounds"] == 4 and counts["half"] == 0
