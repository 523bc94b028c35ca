"""Follow the guide's steps word by word, as somebody who reads it for the first time.

    blender-gui -t 1500 -u 1.2 -o OUT -b blend_demo -z EXTENSION.zip tests/gui/newcomer.py

One picture for each step is kept as OUT/newcomer/STEP.png; what the guide promises is asserted.
"""

import os
from pathlib import Path

import bgui
import bpy
from steps import add_figure, all_again, look, panels, part, wait_for_job

FILES = {"master.3mf", "master.stl", "rods.csv", "plan.json", "sheet.html"}


def settings():
    """Return the scene's settings; they move in memory at every undo."""
    return bpy.context.scene.pourwright


def message():
    """Return what the last run said."""
    return bpy.context.window_manager.pourwright_message


def step(name: str, *shown: str):
    """Fold all panels but these, and keep a picture."""
    panels("main", *shown)
    yield 0.8
    (Path(bgui.OUT) / "newcomer").mkdir(exist_ok=True)
    Path(bgui.shot(name)).rename(Path(bgui.OUT) / "newcomer" / f"{name}.png")


def press(name: str):
    """Press a button that works for a while, and wait; it has to succeed."""
    assert bgui.op(f"pourwright.{name}", invoke=True) == {"RUNNING_MODAL"}, name
    yield from wait_for_job()
    assert message().kind == "INFO", message().text


@bgui.main
def run():
    # 1. Install: the tab is there.
    figure = add_figure()
    look()
    bgui.sidebar("Pourwright")
    yield 1.5
    yield from step("1_installed", "figure")

    # 2. Choose the figure: the panel shows the size; the objects are never changed.
    places = {obj.name: tuple(map(tuple, obj.matrix_world)) for obj in figure}
    assert bgui.op("pourwright.use_selected") == {"FINISHED"}
    assert len(settings().figure.parts) == len(figure)
    for obj in figure:
        obj.select_set(False)
    yield from step("2_figure", "figure")

    # 3. Find the pose, preview it, end the preview.
    yield from press("find_pose")
    assert settings().pose.poses[0].rank == 0 and settings().pose.active_pose == 1
    yield from step("3_poses", "pose")
    assert bgui.op("pourwright.preview_pose") == {"FINISHED"}
    yield from step("3_preview", "pose")
    assert bgui.op("pourwright.end_preview") == {"FINISHED"}
    assert not any(bpy.data.objects[name].hide_get() for name in places)

    # 4. Find the air: a list with the biggest first; a click on a row turns the view to it.
    yield from press("find_air")
    sizes = [row.bubble_mm for row in settings().air.pockets]
    assert len(sizes) > 3 and sizes == sorted(sizes, reverse=True)
    yield from step("4_air", "air")
    settings().air.active_pocket = 0
    yield from step("4_one_pocket", "air")
    look()
    assert bgui.op("pourwright.next_closing") == {"FINISHED"}
    assert settings().rising.show
    yield from step("4_rising", "air", "rising")
    settings().rising.show = False

    # 5. Shape the base: another kind, with a text.
    settings().base.kind, settings().base.text = "rectangular_plinth", "HERON"
    yield from step("5_base", "base")

    # 6. Make Master: green is vented, what was left open is listed in Vents.
    yield from press("make_master")
    assert settings().vents.left == 0 and any(p.vented for p in settings().air.pockets)
    yield from step("6_master", "vents", "overlay")
    # Vents are curves; a change by hand is noticed, and Check Again takes it.
    vent = part("results").vents(bpy.context.scene)[0]
    vent.location.z -= 0.2
    yield 0.3
    assert part("task").stale(bpy.context.scene).startswith("Vents changed")
    yield from press("check_again")
    assert bgui.op("pourwright.show", what="MASTER") == {"FINISHED"}
    yield from step("6_fused", "vents")
    assert bgui.op("pourwright.show", what="PARTS") == {"FINISHED"}
    yield from step("6_gates", "gates")
    yield from step("6_print", "print")

    # 7. Weigh out.
    assert part("stored").stored_plan(bpy.context.scene)["resin"]["part_a_g"] > 0.0
    yield from step("7_quantities", "quantities")

    # 8. Plan Mould, and a run at the bench.
    yield from press("plan_mould")
    yield from step("8_mould", "mould")
    settings().bench.casts, settings().bench.pot_marked_most = 12, "80 psi gauge"
    yield from step("8_bench", "bench")

    # 9. Export, beside the .blend file.
    home = Path(os.environ["HOME"])
    bpy.ops.wm.save_as_mainfile(filepath=str(home / "heron.blend"))
    settings().export.folder = "//casts/"
    yield from press("export_master")
    assert {path.name for path in (home / "casts").iterdir()} == FILES
    yield from step("9_export", "export")
    assert {name: tuple(map(tuple, bpy.data.objects[name].matrix_world))
            for name in places} == places  # fmt: skip
    all_again()
