"""The first five minutes in a windowed Blender: the example, every state of the panel, German.

    blender-gui -o OUT -u 1.2 -b blend_demo -z EXTENSION.zip tests/gui/first_minutes.py

Every check is an assertion; the pictures are for people to look at.
"""

import sys
from pathlib import Path

import addon_utils
import bgui
import bpy
from steps import names, panels, part, wait_for_job

Path(bgui.OUT, "states").mkdir(exist_ok=True)  # for people to look at, not for the guide
MODULE = "bl_ext.user_default.pourwright"


def select(*objects: bpy.types.Object) -> None:
    """Select only these, the first as the active one."""
    bpy.context.view_layer.update()  # an object that was linked just now cannot be selected yet
    for obj in bpy.context.view_layer.objects:
        obj.select_set(obj in objects)
    bpy.context.view_layer.objects.active = objects[0] if objects else None


def lacking() -> str:
    """Return what the panel says is missing."""
    return part("figure.hints").missing(bpy.context)


def state(name: str, words: str):
    """Take a picture of the panel in a state in which something is missing."""
    yield 0.5
    assert words in lacking(), lacking()
    bgui.shot(f"states/{name}")


def frame(low_px: int = 60) -> None:
    """Check that the active object can be seen in the view, and is no dot."""
    from bpy_extras.view3d_utils import location_3d_to_region_2d

    obj = bpy.context.object
    _, area, region, _ = bgui.view3d()
    view = area.spaces.active.region_3d
    seen = [
        location_3d_to_region_2d(region, view, obj.matrix_world @ type(obj.location)(corner))
        for corner in obj.bound_box
    ]
    assert all(p is not None and 0 <= p.x <= region.width and 0 <= p.y <= region.height
               for p in seen), seen  # fmt: skip
    assert max(p.x for p in seen) - min(p.x for p in seen) > low_px, seen


def nothing_is_left() -> None:
    """Disable and enable: what is drawn and what is translated goes and comes back once."""
    view, held = bpy.types.SpaceView3D, []
    add, remove = view.draw_handler_add, view.draw_handler_remove
    translations = part("translations").__name__
    addon_utils.disable(MODULE)
    try:
        view.draw_handler_add = lambda *args: held.append(add(*args)) or held[-1]
        view.draw_handler_remove = lambda one, region: (held.remove(one), remove(one, region))
        for _ in range(2):
            # Blender refuses a dictionary under a name that has one.
            bpy.app.translations.register(translations, {"de_DE": {("*", "Gone"): "Weg"}})
            bpy.app.translations.unregister(translations)
            addon_utils.enable(MODULE)
            assert held
            addon_utils.disable(MODULE)
            assert not held
    finally:
        view.draw_handler_add, view.draw_handler_remove = add, remove
        addon_utils.enable(MODULE)


@bgui.main
def run():
    message = bpy.context.window_manager.pourwright_message
    settings = bpy.context.scene.pourwright
    cube, camera = bpy.data.objects["Cube"], bpy.data.objects["Camera"]
    all_panels = [n.removeprefix("POURWRIGHT_PT_") for n in dir(bpy.types) if "URWRIGHT_PT_" in n]
    bgui.sidebar("Pourwright")
    yield 1.5
    panels("main", "figure")
    yield 0.8

    # Blender as it starts: its cube is selected and is two metres high.
    assert not lacking()
    bgui.shot("states/cube")
    select()
    yield from state("none", "Select the figure's objects")
    select(camera)
    yield from state("camera", "'Camera' has no surface (Camera)")
    select(cube)
    cube.hide_set(True)
    yield from state("hidden", "'Cube' is hidden")
    cube.hide_set(False)

    # The example beside the cube, by the menu of Blender; one undo step.
    before = names()
    with bgui.override():
        bpy.ops.wm.call_menu(name="VIEW3D_MT_mesh_add")
    yield 0.8
    bgui.shot("states/menu")
    window = bpy.context.window_manager.windows[0]
    window.event_simulate(type="ESC", value="PRESS", x=5, y=5)
    window.event_simulate(type="ESC", value="RELEASE", x=5, y=5)
    yield 0.5
    assert bgui.op("pourwright.add_example") == {"FINISHED"}
    yield 0.5
    frame()
    assert names() - before == {"Example Snail"} and bpy.context.object.name == "Example Snail"
    assert not cube.select_get()
    bgui.shot("states/beside_cube")
    bgui.undo()
    yield 0.3
    assert names() == before

    # Nothing at all, then only wires.
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    yield from state("empty", "No figure here")
    bgui.shot("example_empty")
    mesh = bpy.data.meshes.new("Wire")
    mesh.from_pydata([(0, 0, 0), (0, 0, 1), (1, 0, 1)], [(0, 1), (1, 2)], [])
    wire = bpy.data.objects.new("Wire", mesh)
    bpy.context.scene.collection.objects.link(wire)
    select(wire)
    yield from state("wire", "edges but no faces")
    bpy.data.objects.remove(wire)

    # One button from an empty scene, one button more, and it is done.
    bgui.op("pourwright.add_example")
    yield 0.5
    frame()
    assert not lacking()
    bgui.shot("states/example")
    snail = bpy.context.object
    with bgui.override():
        bpy.ops.object.mode_set(mode="EDIT")
    yield 0.5
    bgui.shot("states/edit")
    with bgui.override():
        bpy.ops.object.mode_set(mode="OBJECT")
        bpy.ops.view3d.localview()
    yield 0.5
    bgui.op("pourwright.add_example")
    yield 0.5
    assert bpy.context.object != snail and bpy.context.object.visible_get()
    space = bgui.view3d()[1].spaces.active
    assert space.local_view and bpy.context.object.visible_get(viewport=space)
    bgui.shot("states/local_view")
    bgui.undo()
    yield 0.3
    with bgui.override():
        bpy.ops.view3d.localview()
    snail = bpy.data.objects["Example Snail"]
    select(snail)
    yield 0.3
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    message = bpy.context.window_manager.pourwright_message
    settings = bpy.context.scene.pourwright
    assert message.kind == "INFO" and message.text.startswith("Master made with"), message.text
    (_, (next_step, _)) = part("figure.hints").told(bpy.context.scene)
    assert next_step.startswith("Next: look it over")
    yield 0.5
    bgui.shot("example_done")
    settings.base.margin_mm += 1.0
    yield 0.5
    bgui.shot("states/stale")
    settings.base.margin_mm -= 1.0

    # In German, and back.
    view = bpy.context.preferences.view
    try:
        view.language = "de_DE"
    except TypeError:
        print("This Blender has no German")
    else:
        view.use_translate_interface = view.use_translate_tooltips = True
        say = part("translations").say
        assert say("{n} objects", n=3) == "3 Objekten"
        assert bpy.app.translations.pgettext_iface("Make Master", "Operator") == "Urmodell erzeugen"
        yield 0.8
        bgui.shot("states/german")
        select()
        bpy.context.scene.pourwright.figure.parts.clear()
        assert "auswählen" in lacking()
        yield 0.5
        bgui.shot("states/german_missing")
        view.language = "en_US"
        assert say("{n} objects", n=3) == "3 objects"
        yield 0.5
    panels(*all_panels)
    nothing_is_left()
    assert MODULE in sys.modules
    yield 0.3
