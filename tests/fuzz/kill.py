"""Kill the whole command `pourwright plan` while it writes over an older result, and look.

    python -m tests.fuzz.kill --rounds 20

Every file must be the old one or the new one, to the byte, and nothing else may be left but the
hidden folder of an unfinished write. Half of the kills come at any time, half once that folder is
there. With --planned the plan is made once, so that rounds are short and most kills hit the
writing. Prints the counts as JSON; exit status 1 when a file was neither old nor new.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path
from random import Random

import trimesh

from pourwright.cli import main
from pourwright.files.atomic import STAGE_PREFIX

_PATIENCE_S = 300.0


def run() -> int:
    """Do the rounds in a folder that goes again."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--planned", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        return _rounds(options)


def _rounds(options: argparse.Namespace) -> int:
    for name, size in (("old", 9.0), ("new", 12.0)):
        trimesh.creation.icosphere(subdivisions=1, radius=size).export(f"{name}.stl")
    if options.planned:
        _plan_once()
    assert _whole("old") == 0
    begun = time.monotonic()
    assert _whole("new") == 0
    seconds = time.monotonic() - begun
    old, new = _files(Path("old")), _files(Path("new"))
    assert set(old) == set(new) and all(old[n] != new[n] for n in old if n != "rods.csv")
    rng = Random(options.seed)
    counts = {"rounds": 0, "all_old": 0, "all_new": 0, "some_of_each": 0, "half": 0, "left": 0}
    for number in range(options.rounds):
        shutil.rmtree("out", ignore_errors=True)
        shutil.copytree("old", "out")
        # Half at any time, half once so many files are written in full, the last ones oftener.
        _killed(rng, seconds, len(old) - rng.choice((0, 0, 1, 3)) if number % 2 else 0)
        found = _files(Path("out"))
        same = {
            "all_old": all(found.get(n) == old[n] for n in old),
            "all_new": all(found.get(n) == new[n] for n in new),
            "half": any(data not in (old.get(n), new.get(n)) for n, data in found.items())
            or set(found) != set(old),
        }
        word = next((w for w, yes in same.items() if yes), "some_of_each")
        counts["rounds"] += 1
        counts[word] += 1
        others = [p.name for p in Path("out").iterdir() if p.name not in old]
        counts["left"] += bool(others)
        if not all(name.startswith(STAGE_PREFIX) for name in others):
            counts["half"] += 1
    sys.stdout.write(json.dumps(counts) + "\n")
    return 1 if counts["half"] else 0


def _files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


def _command(name: str, out: str) -> int:
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        status = main(["plan", f"{name}.stl", "--out", out, "--force", "--no-mould"])
    if status == 2:
        sys.stderr.write(said.getvalue())
    return status


def _forked(name: str, out: str) -> int:
    """Start the command in a process of its own and return its number."""
    child = os.fork()
    if child == 0:
        status = 3
        try:
            status = _command(name, out)
        finally:
            os._exit(status)
    return child


def _whole(name: str) -> int:
    """Run the command to its end; 0 or 1 is a plan that was made."""
    status = os.waitstatus_to_exitcode(os.waitpid(_forked(name, name), 0)[1])
    return 0 if status in (0, 1) else status


def _killed(rng: Random, seconds: float, written: int) -> None:
    child = _forked("new", "out")
    if written:
        until = time.monotonic() + _PATIENCE_S
        while time.monotonic() < until and os.waitpid(child, os.WNOHANG) == (0, 0):
            # What the check before the work makes goes at once; the write's own is filled.
            with contextlib.suppress(FileNotFoundError):
                stages = Path("out").glob(STAGE_PREFIX + "*")
                if any(len(list(stage.iterdir())) >= written for stage in stages):
                    break
            time.sleep(0.0005)
        else:
            return
        time.sleep(rng.uniform(0, 0.02) * rng.random())
    else:
        time.sleep(rng.uniform(0, seconds))
    with contextlib.suppress(ProcessLookupError):
        os.kill(child, signal.SIGKILL)
    with contextlib.suppress(ChildProcessError):
        os.waitpid(child, 0)


def _plan_once() -> None:
    """Let the pipeline give, for each figure, the plan that it made the first time."""
    import pickle

    from pourwright.plan import pipeline

    real = pipeline.plan_pour

    def planned(solid, *given):
        kept = Path(f"{solid.mesh.name}.plan")
        if not kept.exists():
            kept.write_bytes(pickle.dumps(real(solid, *given)))
        return pickle.loads(kept.read_bytes())

    pipeline.plan_pour = planned


if __name__ == "__main__":
    sys.exit(run())
