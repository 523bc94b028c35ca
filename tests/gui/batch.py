"""Several figures in a windowed Blender: made in one go, stopped half-way, undone and redone.

Every button is one undo step, and a stopped run leaves no trace.
"""

import sys
from pathlib import Path

import bgui
import bpy
import steps
from steps import add_figure, look, names, panels, part, running, wait_for_job

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "addon"))
from dump import changes, everything

steps.PATIENCE_S = 600.0


def settings():
    """Return the scene's settings."""
    return bpy.context.scene.pourwright


def states() -> list[str]:
    """Return how far each figure of the list is."""
    rows, scene = part("batch.rows"), bpy.context.scene
    return [rows.state(scene, i) for i in range(len(settings().batch.figures))]


def collections() -> set[str]:
    """Return the names of the collections of results."""
    return {c.name for c in bpy.context.scene.collection.children if "pourwright_role" in c}


def three_figures() -> None:
    """Put a heron into a collection, and a stump and an egg beside it."""
    scene = bpy.context.scene
    herons = bpy.data.collections.new("Heron")
    scene.collection.children.link(herons)
    for obj in add_figure():
        scene.collection.objects.unlink(obj)
        herons.objects.link(obj)
    bpy.ops.mesh.primitive_cylinder_add(radius=9, depth=24, location=(70, 0, 12))
    bpy.context.object.name = "Stump"
    bpy.ops.mesh.primitive_uv_sphere_add(radius=11, location=(110, 0, 11))
    bpy.context.object.name = "Egg"


def one_step(label: str, do) -> None:
    """Press a button, take it back in one step, and do it again."""
    before = everything()
    do()
    yield from wait_for_job()
    yield 0.3
    after = everything()
    assert after != before, f"{label}: nothing was done"
    bgui.undo()
    yield 0.3
    left = changes(before, everything())
    assert not left, (label, left[:8])
    bgui.redo()
    yield 0.3
    left = changes(after, everything())
    assert not left, (label, left[:8])
    print(f"{label}: one undo step, and redo gives it back")


def select(*wanted: str) -> None:
    """Select exactly the objects of these names."""
    for obj in bpy.context.view_layer.objects:
        obj.select_set(obj.name in wanted)
        if obj.name in wanted:
            bpy.context.view_layer.objects.active = obj


def stopped_half_way():
    """Esc while the first figure is worked on: no trace. After it: that one is kept."""
    _, _, region, _ = bgui.view3d()
    x, y = region.x + region.width // 2, region.y + region.height // 2
    message = bpy.context.window_manager.pourwright_message
    for finished in (0, 1):
        before = everything()
        assert bgui.op("pourwright.make_all", invoke=True) == {"RUNNING_MODAL"}
        while list(running().current.series.values()).count("READY") < finished:
            assert running().busy(), message.text
            yield 0.1
        yield 0.3
        bgui.shot(f"batch_working_{finished}")
        assert running().busy(), "it was too quick to be stopped"
        bgui.key("ESC", x, y)
        while running().busy():
            yield 0.02
        yield 0.3
        if not finished:
            assert not changes(before, everything()), changes(before, everything())[:8]
            assert "nothing was changed" in message.text
            continue
        assert message.text.startswith("Stopped: 1 figure finished before"), message.text
        assert collections() == {"Pourwright: Egg"} and states()[1:] == ["NONE", "NONE"]
        bgui.undo()
        yield 0.3
        assert not changes(before, everything()), changes(before, everything())[:8]


@bgui.main
def run():
    message = bpy.context.window_manager.pourwright_message
    three_figures()
    look()
    bgui.view3d()[1].spaces.active.region_3d.view_location.x = 50.0
    bgui.view3d()[1].spaces.active.region_3d.view_distance = 240.0
    bgui.sidebar("Pourwright")
    yield 1.5
    panels("main", "batch")
    yield 0.8
    bgui.shot("batch_empty")
    select("Stump", "Egg")
    yield 0.2
    yield from one_step("Add Objects", lambda: bgui.op("pourwright.add_figures", by="OBJECT"))
    select(bpy.data.collections["Heron"].objects[0].name)
    yield from one_step(
        "Add Collections", lambda: bgui.op("pourwright.add_figures", by="COLLECTION")
    )
    assert [f.name for f in settings().batch.figures] == ["Egg", "Stump", "Heron"]
    yield 0.3
    bgui.shot("batch_list")
    yield from stopped_half_way()

    before = names()
    yield from one_step("Make All", lambda: bgui.op("pourwright.make_all", invoke=True))
    assert message.kind == "INFO" and message.text.startswith("3 figures made"), message.text
    assert collections() == {f"Pourwright: {n}" for n in ("Heron", "Egg", "Stump")}
    assert not set(states()) & {"NONE", "FAILED"}, states()
    assert before < names()
    yield 0.5
    bgui.shot("panel_batch")

    # A real click on the second row makes that figure the current one; one step takes it back.
    batch = settings().batch
    batch.active = 1
    yield 0.5
    assert [p.object.name for p in settings().figure.parts] == ["Stump"]
    panels("main", "figure", "batch", "vents")
    yield 0.8
    bgui.shot("batch_row_clicked")

    # In local view the results of a run are shown too.
    select("Stump")
    with bgui.override():
        bpy.ops.view3d.localview()
    yield 0.3
    bpy.data.objects["Stump"].location.z += 0.5
    yield 0.2
    assert states()[1] == "CHANGED"
    yield from one_step("Make Master", lambda: bgui.op("pourwright.make_master", invoke=True))
    space = bgui.view3d()[1].spaces.active
    base = part("results").find(bpy.context.scene, "base")
    base = base.evaluated_get(bpy.context.evaluated_depsgraph_get())
    assert base.local_view_get(space) and base.visible_in_viewport_get(space)
    bgui.shot("batch_local_view")
    with bgui.override():
        bpy.ops.view3d.localview()
    yield 0.3
    settings().quantities.margin_percent += 5.0  # else it gives the very same
    yield from one_step("Check Again", lambda: bgui.op("pourwright.check_again", invoke=True))
    yield from one_step("Find Air", lambda: bgui.op("pourwright.find_air", invoke=True))
    yield from one_step("Show", lambda: bgui.op("pourwright.show", what="MASTER"))
    yield from one_step("Remove", lambda: bgui.op("pourwright.remove_figure"))
    bgui.undo()
    yield 0.3
