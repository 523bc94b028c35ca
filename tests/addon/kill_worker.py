"""Kill the worker at random times: each time nothing changes, and the next run works.

    python tests/addon/kill_worker.py EXTENSION.zip [TIMES] [SEED]

Run by hand with a Python that has bpy, for it takes a minute or two; three kills are in the suite.
BLENDER_USER_RESOURCES must name a folder of its own, for the extension is installed there.
"""

import os
import random
import sys
import threading
import time
from pathlib import Path

import bpy
from dump import changes, everything
from in_blender import install
from stage import choose, gate, message, part


def kill_after(running, seconds: float, killed: list[float]) -> None:
    """Kill the worker that is started next, so long after its start."""
    while not running.busy():
        time.sleep(0.001)
    job = running.current.job
    time.sleep(max(0.0, job.started + seconds - time.monotonic()))
    if job.running:
        job.process.kill()
        killed.append(job.fraction)


def left_behind() -> list[str]:
    """Return the jobs' folders that are still there."""
    return sorted(str(p) for p in Path(bpy.app.tempdir).glob("pourwright-*"))


def main(package: str, times: int = 20, seed: int = 1) -> None:
    """Make a master, kill `times` further runs, and make one at the end."""
    install(str(Path(package).resolve()))
    bpy.ops.wm.read_homefile(use_empty=True)
    bpy.context.scene.unit_settings.scale_length = 0.001
    choose(gate())
    start = time.monotonic()
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    whole_s = time.monotonic() - start
    chance, running, before = random.Random(seed), part("running"), everything()
    killed: list[float] = []
    missed = 0
    while len(killed) < times:
        seconds = chance.uniform(0.0, whole_s)
        number = len(killed)
        killer = threading.Thread(target=kill_after, args=(running, seconds, killed))
        killer.start()
        try:
            bpy.ops.pourwright.make_master()
        except RuntimeError as error:
            assert "SIGKILL" in str(error), error
        killer.join()
        if len(killed) == number:  # it ended before: start again from what it made
            missed += 1
            assert missed < times, "the worker is quicker than it was"
            before = everything()
            continue
        differ = changes(before, everything())
        assert not differ, differ[:10]
        assert not running.busy() and not left_behind(), left_behind()
        print(f"killed after {seconds:.2f} s at {killed[-1]:.0%}: nothing changed", flush=True)
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert message().kind == "INFO" and not left_behind()
    print(f"{times} kills within {whole_s:.1f} s: nothing changed, and the next run worked")


if __name__ == "__main__":
    main(sys.argv[1], *(int(text) for text in sys.argv[2:4]))
    sys.stdout.flush()
    # The bpy module may crash while an interpreter with loaded extensions shuts down.
    os._exit(0)
