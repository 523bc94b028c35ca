"""The command line on a machine that runs out of disk: one line, status 2, old files intact."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import pourwright
from tests.core.figures import export_figure

resource = pytest.importorskip("resource", reason="limits of a process are not on every system")
CORE = Path(pourwright.__file__).parents[1]
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
