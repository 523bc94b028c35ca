"""The extension as users get it: the built zip, installed in each Blender there is.

POURWRIGHT_BPY_PYTHONS lists Python programs that have the bpy module, separated like PATH;
without it this Python is used if it has bpy. All cases of one Blender run in one process.
"""

import fcntl
import json
import os
import subprocess
from functools import cache
from pathlib import Path

import pytest
from blenders import HERE, ROOT, interpreters

TIMEOUT_S = 1800


@pytest.fixture(scope="session")
def extension_zip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the zip with the first Blender's packaging tool, once for all test processes."""
    pythons = interpreters()
    if not pythons:
        pytest.skip("no Python with bpy; set POURWRIGHT_BPY_PYTHONS")
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent  # each process has its own folder in that of the run
    with (shared / "dist.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not list(shared.glob("dist/*.zip")):
            _build(pythons[0], shared / "dist")
    (made,) = shared.glob("dist/*.zip")
    return made


def _build(python: str, out: Path) -> None:
    done = subprocess.run(
        [python, str(ROOT / "addon" / "build.py"), "--out", str(out)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.fixture(scope="session")
def case_results(extension_zip: Path, tmp_path_factory: pytest.TempPathFactory):
    """Return a function from interpreter to {case name: None or a traceback}."""

    @cache
    def run(python: str) -> dict[str, str | None]:
        folder = tmp_path_factory.mktemp("blender")
        env = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
        env["BLENDER_USER_RESOURCES"] = str(folder / "resources")
        env["TMPDIR"] = str(folder)
        result = folder / "results.json"
        done = subprocess.run(
            [python, str(HERE / "in_blender.py"), str(extension_zip), str(result)],
            capture_output=True,
            text=True,
            check=False,
            timeout=TIMEOUT_S,
            env=env,
            cwd=folder,
        )
        said = done.stdout[-4000:] + done.stderr[-4000:]
        assert result.exists(), f"Blender ended with status {done.returncode}:\n{said}"
        results = json.loads(result.read_text(encoding="utf-8"))
        left = sorted(str(p) for p in folder.glob("**/job.json"))
        results["no_job_folder_is_left"] = f"left: {left}" if left else None
        assert done.returncode == 0, f"{results}\n{said}"
        return results

    return run
