"""The demo's scene: the extension's source run without being installed, in a process of its own."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = """
import sys, tomllib
from pathlib import Path
from blend_demo.__main__ import JOB
from blend_demo.heron import heron
from blend_demo.scene import save_scene
made = save_scene(heron(0.2), tomllib.loads(JOB.read_text()), Path(sys.argv[1]))
assert made["master"]["watertight"] and made["vents"], made["warnings"]
"""


@pytest.mark.skipif(importlib.util.find_spec("bpy") is None, reason="needs Blender as a module")
def test_the_scene_is_made_from_source(tmp_path):
    run = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(tmp_path / "heron.blend")],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'core'}"},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    assert (tmp_path / "heron.blend").stat().st_size > 100_000
