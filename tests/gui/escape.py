"""Press Esc in the middle of every operation that runs long, and see how soon it has stopped.

    blender-gui -t 1200 -o OUT -b blend_demo -z EXTENSION.zip tests/gui/escape.py

The scene has to be what it was, the worker gone, and its folder too.
"""

import os
import time
from pathlib import Path

import bgui
import bpy
from steps import ESC_WITHIN_S, all_again, names, panels, planned_heron, running

OPERATIONS = (
    "find_air", "find_pose", "make_master", "check_again", "plan_mould", "solve_cut",
    "export_master",
)  # fmt: skip
# How far the worker is to be when Esc is pressed: at the start, and well under way.
FRACTIONS = (0.0, 0.3)


def state() -> tuple:
    """Return what a stopped operation must leave alone."""
    stored = bpy.context.scene.pourwright
    lists = (len(stored.air.pockets), len(stored.vents.rods), len(stored.pose.poses))
    return names(), len(bpy.data.meshes), len(bpy.data.curves), stored.plan, lists


@bgui.main
def run():
    yield from planned_heron()
    panels("main")
    yield 1.0
    _, _, region, _ = bgui.view3d()
    x, y = region.x + region.width // 2, region.y + region.height // 2
    folder = Path(os.environ["HOME"]) / "stopped"
    bpy.context.scene.pourwright.export.folder = str(folder)
    before = state()
    for name in OPERATIONS:
        for fraction in FRACTIONS:
            assert bgui.op(f"pourwright.{name}", invoke=True) == {"RUNNING_MODAL"}, name
            job = running().current.job
            while running().busy() and job.fraction < fraction:
                yield 0.02
            if not running().busy():
                print(f"{name}: ended before Esc")
                bgui.undo()
                yield 0.3
                continue
            reached, pressed = job.fraction, time.monotonic()
            bgui.key("ESC", x, y)
            while running().busy():
                assert time.monotonic() - pressed < 20.0, f"{name}: Esc was not heard"
                yield 0.01
            waited = time.monotonic() - pressed
            print(f"{name}: stopped at {reached:.0%} in {waited:.2f} s"
                  f"{'' if waited < ESC_WITHIN_S else ', too late'}")  # fmt: skip
            assert job.process.poll() is not None and not job.folder.exists(), name
            assert state() == before, name
            yield 0.2
    assert not (folder / "master.stl").exists()
    all_again()
