"""Find the pose in a windowed Blender, look at it, use it, and take pictures on the way.

    blender-gui -o OUT -u 1.2 -b blend_demo -z EXTENSION.zip tests/gui/pose.py

Every check is an assertion; the pictures are for people to look at.
"""

import time

import bgui
import bpy
from steps import ESC_WITHIN_S, add_figure, look, names, panels, part, running, wait_for_job

DIRECTIONS = 500


def pose():
    """Return the settings and results of the search; they move in memory at every undo."""
    return bpy.context.scene.pourwright.pose


def message():
    """Return what the last run said."""
    return bpy.context.window_manager.pourwright_message


def state() -> tuple:
    """Return what a preview has to give back exactly."""
    layer = bpy.context.view_layer
    seen = {o.name: (o.hide_get(), o.select_get(), o.matrix_world.copy().freeze()) for o in
            layer.objects}
    return seen, layer.objects.active.name, sorted(c.name for c in bpy.data.collections)


def hold():
    """Start a search and stop it with Esc."""
    kept = names()
    assert bgui.op("pourwright.find_pose", invoke=True) == {"RUNNING_MODAL"}
    for _ in range(200):
        if running().busy() and running().current.job.fraction > 0.1:
            break
        yield 0.05
    job = running().current.job
    assert job is not None and job.process.poll() is None, "the worker ended before Esc"
    _, _, region, _ = bgui.view3d()
    pressed = time.monotonic()
    bgui.key("ESC", region.x + region.width // 2, region.y + region.height // 2)
    while running().busy():
        assert time.monotonic() - pressed < 5.0, "Esc was not heard"
        yield 0.02
    assert time.monotonic() - pressed < ESC_WITHIN_S
    assert names() == kept and len(pose().poses) == 0 and "stopped" in message().text


@bgui.main
def run():
    figure = [obj.name for obj in add_figure()]
    look()
    bgui.sidebar("Pourwright")
    yield 1.5
    assert bgui.op("pourwright.use_selected") == {"FINISHED"}
    for name in figure:
        bpy.data.objects[name].select_set(False)
    pose().directions = 20_000
    panels("main", "pose")
    yield 0.5
    yield from hold()

    pose().directions = DIRECTIONS
    start = time.monotonic()
    assert bgui.op("pourwright.find_pose", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    print(f"{DIRECTIONS} directions took {time.monotonic() - start:.1f} s")
    assert message().kind == "INFO", message().text
    panels("pose")
    assert 2 < len(pose().poses) <= 1 + pose().keep and pose().active_pose == 1
    yield 0.8
    bgui.shot("panel_pose")

    # A preview is one undo step and gives back the scene as it was.
    before = state()
    assert bgui.op("pourwright.preview_pose") == {"FINISHED"}
    assert all(bpy.data.objects[name].hide_get() for name in figure)
    yield 0.8
    bgui.shot("pose_preview")
    first = bpy.data.objects["log Turned"].matrix_basis.copy()
    assert bgui.op("pourwright.step_pose", step=1) == {"FINISHED"}
    assert pose().active_pose == 2 and bpy.data.objects["log Turned"].matrix_basis != first
    bgui.undo()
    yield 0.3
    assert pose().active_pose == 1 and bpy.data.objects["log Turned"].matrix_basis == first
    for _ in range(2):  # every operator of bgui's makes a step before and one after
        bgui.undo()
        yield 0.3
    assert state() == before and not pose().previewing
    bgui.redo()
    yield 0.3
    assert pose().previewing
    # A click on a row turns the open preview as well.
    pose().active_pose = 0
    assert bpy.data.objects["log Turned"].matrix_basis != first
    assert bgui.op("pourwright.end_preview") == {"FINISHED"}
    assert state() == before

    # A turned copy beside the figure, one undo step.
    panels("main", "pose")
    pose().active_pose = 1
    kept = names()
    assert bgui.op("pourwright.rotate_copy") == {"FINISHED"}
    assert len(names() - kept) == len(figure)
    bpy.context.view_layer.update()
    with bgui.override():
        bpy.ops.view3d.view_all()
    yield 0.8
    bgui.shot("pose_copy")
    bgui.undo()
    yield 0.3
    assert names() == kept
    look()

    # Air of the pose that is used.
    best = tuple(pose().poses[1].up)
    assert bgui.op("pourwright.use_pose") == {"FINISHED"}
    air = bpy.context.scene.pourwright.air
    assert air.direction == "CUSTOM" and tuple(air.up) == best
    assert bgui.op("pourwright.find_air", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    assert message().kind == "INFO", message().text
    assert sum(p.matters for p in air.pockets) == pose().poses[1].pockets

    # Something changed: the list says so.
    bpy.context.scene.pourwright.air.process = "open"
    assert part("task").pose_stale(bpy.context.scene)
    yield 0.3
    panels("main", "figure", "pose", "air", "base", "vents", "quantities", "export")
    yield 0.3
