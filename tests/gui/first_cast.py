"""Press the buttons in a windowed Blender and take pictures of the panels.

Run by a program that starts Blender on a private screen and puts the module bgui on the path:

    blender-gui -o OUT -s 1500x1150 -b blend_demo -z EXTENSION.zip tests/gui/first_cast.py

Every check is an assertion; the pictures are for people to look at.
"""

import os
import time
from pathlib import Path

import bgui
import bpy
from steps import (
    ESC_WITHIN_S,
    add_figure,
    look,
    names,
    panels,
    part,
    running,
    wait_for_job,
)


def figure_names() -> list[str]:
    """Return the names of the figure's objects."""
    return [row.object.name for row in bpy.context.scene.pourwright.figure.parts]


def vents() -> list[bpy.types.Object]:
    """Return the vents that are in the scene."""
    return part("results").vents(bpy.context.scene)


def stale() -> str:
    """Return what the panels say the results no longer match."""
    return part("task").stale(bpy.context.scene)


def under(x: int, y: int):
    """Return the place of the figure, base or funnel that a click at a window pixel means."""
    from types import SimpleNamespace

    mouse = SimpleNamespace(mouse_x=x, mouse_y=y)
    return part("vents.add").place_under(bpy.context, bgui.view3d()[1], mouse)


def reshape_a_vent():
    """Drag the end of a vent in Edit Mode, then let the extension check what is there."""
    bent = [v for v in vents() if len(v.data.splines[0].points) > 2]
    vent = min(bent, key=lambda v: abs(v.dimensions.length - 25.0))
    bpy.context.view_layer.objects.active = vent
    rows = [row.object for row in bpy.context.scene.pourwright.vents.rods]
    bpy.context.scene.pourwright.vents.active_vent = rows.index(vent)
    assert bpy.context.object == vent and not stale()
    view = bgui.view3d()[1].spaces.active.region_3d
    view.view_location, view.view_distance = vent.location, 75.0
    bgui.op("object.mode_set", mode="EDIT")
    bgui.op("curve.select_all", action="DESELECT")
    point = vent.data.splines[0].points[-1]
    point.select = True
    yield 0.2
    before = tuple(point.co)
    _, _, region, _ = bgui.view3d()
    x, y = region.x + region.width // 2, region.y + region.height // 2
    # The user's own way: grab along X by 3 mm.
    window = bpy.context.window_manager.windows[0]
    window.event_simulate(type="MOUSEMOVE", value="NOTHING", x=x, y=y)
    for key, text in (("G", "g"), ("X", "x"), ("THREE", "3"), ("RET", "")):
        window.event_simulate(type=key, value="PRESS", x=x, y=y, unicode=text or None)
        window.event_simulate(type=key, value="RELEASE", x=x, y=y)
        yield 0.3
    moved = tuple(vent.data.splines[0].points[-1].co)
    assert abs(moved[0] - before[0] - 3.0) < 1e-4, (before, moved)
    assert stale().startswith("Vents changed")
    panels("main", "vents")
    yield 0.8
    bgui.shot("edit_vents")
    bgui.op("object.mode_set", mode="OBJECT")
    assert bgui.op("pourwright.check_again", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    message = bpy.context.window_manager.pourwright_message
    assert message.kind == "INFO" and message.text.startswith("Checked with"), message.text
    assert not stale() and tuple(vent.data.splines[0].points[-1].co) == moved
    look()
    yield 0.3


def add_vents_by_clicks():
    """Click vents onto the figure: beside it, with Enter, and not at all."""
    _, _, region, _ = bgui.view3d()
    hits = [
        (x, y)
        for x in range(region.x + 20, region.x + region.width - 20, 30)
        for y in range(region.y + 20, region.y + region.height - 20, 30)
        if under(x, y) is not None and under(x, y).z > 20.0
    ]
    start, beside = hits[len(hits) // 2], (region.x + 15, region.y + region.height // 2)
    assert under(*beside) is None
    before = names()
    for last in ("beside", "enter", "escape"):
        assert bgui.op("pourwright.add_vent", invoke=True) == {"RUNNING_MODAL"}
        yield 0.3
        bgui.click(*beside)  # no start there: nothing happens
        yield 0.3
        expected = under(*start)
        bgui.click(*start)
        yield 0.3
        if last == "beside":
            window = bpy.context.window_manager.windows[0]
            window.event_simulate(type="MOUSEMOVE", value="NOTHING", x=beside[0], y=beside[1])
            yield 0.4
            bgui.shot("add_vent")
            bgui.click(*beside)
        else:
            bgui.key("RET" if last == "enter" else "ESC", *start)
        yield 0.5
        if last == "escape":
            assert names() == before
            continue
        (new,) = names() - before
        rod = part("curves").read_rod(bpy.data.objects[new], (0, 0, -1), bpy.context.scene)
        top = -part("stored").stored_plan(bpy.context.scene)["board_height_mm"]
        assert (expected - type(expected)(rod.path_mm[0])).length < 0.01
        assert abs(rod.path_mm[-1][2] - top) < 1e-3 and stale().startswith("Vents changed")
        bgui.undo()
        yield 0.3
        assert names() == before and not stale()


@bgui.main
def run():
    message = bpy.context.window_manager.pourwright_message
    figure = add_figure()
    before = names()
    look()
    bgui.sidebar("Pourwright")
    yield 1.5
    bgui.shot("start")

    assert bgui.op("pourwright.use_selected") == {"FINISHED"}
    for obj in figure:
        obj.select_set(False)
    yield 0.3

    # Esc in the middle of a run: stopped at once, and the scene is as it was.
    _, _, region, _ = bgui.view3d()
    x, y = region.x + region.width // 2, region.y + region.height // 2
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    for _ in range(100):
        if running().busy() and running().current.job.fraction > 0.05:
            break
        yield 0.05
    job = running().current.job
    bgui.shot("progress")
    assert job.process.poll() is None, "the worker ended before Esc"
    pressed = time.monotonic()
    bgui.key("ESC", x, y)
    while running().busy():
        assert time.monotonic() - pressed < 5.0, "Esc was not heard"
        yield 0.02
    waited = time.monotonic() - pressed
    print(f"Esc stopped the job in {waited:.2f} s")
    assert waited < ESC_WITHIN_S
    assert job.process.poll() is not None and not job.folder.exists()
    assert names() == before
    assert message.kind == "INFO" and "stopped" in message.text
    yield 0.3

    # Air of the figure alone.
    assert bgui.op("pourwright.find_air", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    assert message.kind == "INFO", message.text
    settings = bpy.context.scene.pourwright
    assert len(settings.air.pockets) > 3
    for name in ("figure", "air"):
        panels("main", name)
        yield 0.8
        bgui.shot(f"panel_{name}")

    # A click on a row selects the pocket, the magnifier turns the view to it.
    settings.air.active_pocket = 1
    assert [o.name for o in bpy.context.selected_objects] == ["Air Pocket 2"]
    assert bgui.op("pourwright.show_pocket", index=0) == {"FINISHED"}
    yield 0.5
    bgui.shot("one_pocket")
    look()

    # All of it, by the one button.
    air_only = names()
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    assert message.kind == "INFO", message.text
    made = names() - before
    assert {"Master", "Sprue Base", "Funnel", "Vent 1"} <= made
    # One run is one undo step, and the source objects are where they were.
    bgui.undo()
    yield 0.3
    assert names() == air_only and bpy.context.scene.pourwright.plan == ""
    bgui.redo()
    yield 0.3
    assert names() == made | before and bpy.context.scene.pourwright.plan
    assert bpy.data.objects["Master"].hide_get()
    assert not any(bpy.data.objects[name].hide_get() for name in before)
    yield 0.5
    for name in ("vents", "quantities"):
        panels("main", name)
        yield 0.8
        bgui.shot(f"panel_{name}")
    yield from reshape_a_vent()
    yield from add_vents_by_clicks()
    assert bgui.op("pourwright.show", what="MASTER") == {"FINISHED"}
    assert not bpy.data.objects["Master"].hide_get()
    yield 0.3
    bgui.shot("fused_master")

    # Files: refused where some are already, unless they may be replaced.
    home = Path(os.environ["HOME"])
    bpy.ops.wm.save_as_mainfile(filepath=str(home / "heron.blend"))
    export = bpy.context.scene.pourwright.export
    export.folder = "//casts/"
    panels("main", "export")
    yield 0.8
    bgui.shot("panel_export")
    for replace, kind in ((False, "INFO"), (False, "ERROR"), (True, "INFO")):
        export.overwrite = replace
        try:
            bgui.op("pourwright.export_master", invoke=True)
        except RuntimeError as error:  # how a script hears of an error report
            assert "Replace Files" in str(error)
        yield from wait_for_job()
        assert message.kind == kind, message.text
    assert len(list((home / "casts").iterdir())) == 5

    assert bgui.op("pourwright.show", what="PARTS") == {"FINISHED"}
    yield 0.3

    # An object of the figure is deleted while the job runs: a message, and nothing made.
    first = figure_names()[0]
    kept = names()
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield 0.3
    bpy.data.objects.remove(bpy.data.objects[first])
    yield from wait_for_job()
    assert message.kind == "ERROR" and first in message.text, message.text
    assert names() == kept - {first}
    yield 0.3

    # Undo while the job runs: the job ends in a result or in a message, and nothing crashes.
    bgui.undo()
    yield 0.3
    assert bgui.op("pourwright.find_air", invoke=True) == {"RUNNING_MODAL"}
    yield 0.2
    bgui.undo()
    yield from wait_for_job()
    assert message.kind in {"INFO", "ERROR"} and message.text
    yield 0.3

    # A subdivided object is read as the viewport shows it, though the graphics card divides it.
    bpy.ops.mesh.primitive_cube_add(size=20, location=(60, 0, 10))
    smooth = bpy.context.object
    smooth.modifiers.new("Subdivision", "SUBSURF").levels = 3
    yield 0.5
    (read,) = part("bridge").read_objects(bpy.context, [smooth])
    assert len(read.faces) == 2 * 6 * 4**3, len(read.faces)
    bpy.data.objects.remove(smooth)

    # A figure with a hole: a message with the place, and nothing changed.
    panels("main", "figure")
    bpy.ops.mesh.primitive_cube_add(size=20, location=(60, 0, 10))
    crate = bpy.context.object
    crate.name = "Open Crate"
    crate.data.clear_geometry()
    corners = [(x, y, z) for x in (-9, 9) for y in (-9, 9) for z in (-9, 9)]
    crate.data.from_pydata(
        corners, [], [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4)]
    )
    bgui.op("pourwright.use_selected")
    kept = names()
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    assert message.kind == "ERROR" and "Open Crate" in message.text and message.has_place
    assert names() == kept
    yield 0.6
    bgui.shot("open_mesh")
    panels("main", "figure", "pose", "air", "base", "gates", "vents",
           "print", "quantities", "export")
    yield 0.3
