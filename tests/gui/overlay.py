"""Show the air in a windowed Blender: bubbles, numbers, paint, cut, legend, and the switches.

    blender-gui -o OUT -u 1.2 -b blend_demo -z EXTENSION.zip tests/gui/overlay.py

Every check is an assertion; the pictures are for people to look at.
"""

import os
import time
from pathlib import Path

import bgui
import bpy
import numpy as np
from steps import all_again, look, panels, part, planned_heron

# Okabe and Ito's colours as the screen shows them, with what the view's shading leaves of them.
ORANGE, PURPLE = (230, 97, 0), (204, 121, 167)


def shown():
    """Return the switches; they move in memory at every undo."""
    return bpy.context.scene.pourwright.overlay


def pixels_like(name: str, color: tuple[int, int, int], within: int = 12) -> int:
    """Take a picture and return how many pixels of the 3D view have about this colour."""
    image = bpy.data.images.load(bgui.shot(name))
    width, height = image.size
    held = np.empty(width * height * 4, dtype=np.float32)
    image.pixels.foreach_get(held)
    bpy.data.images.remove(image)
    region = bgui.view3d()[2]
    view = held.reshape(height, width, 4)[
        region.y : region.y + region.height, region.x : region.x + region.width, :3
    ]
    return int((np.abs(view * 255 - color).max(axis=2) <= within).sum())


def paint_read():
    """Yield to Blender until the painted surface was read and drawn."""
    end = time.monotonic() + 30.0
    while not part("overlay.protected").surfaces_of(bpy.context.scene):
        assert time.monotonic() < end, "the paint was not read"
        yield 0.1
    yield 0.5


@bgui.main
def run():
    yield from planned_heron()
    scene = bpy.context.scene
    figure = [row.object.name for row in scene.pourwright.figure.parts]  # undo moves objects
    space = bgui.view3d()[1].spaces.active
    panels("main", "air", "overlay")
    yield from paint_read()
    bgui.shot("overlay")

    # Of a figure with air found in it and nothing else.
    for name in ("rods", "box", "cut", "rubber_air", "protected"):
        setattr(shown(), name, False)
    yield 0.5
    assert not any(o.visible_get() for o in part("results").vents(scene))
    assert pixels_like("no_paint", PURPLE) == 0
    shown().protected = True
    yield from paint_read()
    assert pixels_like("panel_overlay", PURPLE) > 300
    # Blender's own switch is above ours.
    space.overlay.show_overlays = False
    yield 0.5
    assert pixels_like("overlays_off", PURPLE) == 0
    space.overlay.show_overlays = True

    # A click on a row turns the view to the pocket, from the sidebar, in local view too.
    air = scene.pourwright.air
    far = space.region_3d.view_distance
    with bgui.override("UI"):
        air.active_pocket = 2
    yield 0.5
    place = part("results").find(scene, "pocket", 2).matrix_world.translation
    assert (space.region_3d.view_location - place).length < 1e-3
    assert space.region_3d.view_distance < far / 2
    bgui.shot("framed")
    for name in figure[:2]:
        bpy.data.objects[name].select_set(True)
    bgui.op("view3d.localview")
    yield 0.5
    with bgui.override("UI"):
        air.active_pocket = 1
    yield 0.3
    # Blender 4.3 does not say which objects are in local view; this one is active, and seen.
    assert bpy.context.object.name == "Air Pocket 2"
    bgui.shot("local_view")
    bgui.op("view3d.localview")
    bgui.op("screen.region_quadview")
    yield 0.5
    with bgui.override("UI"):
        air.active_pocket = 0
    yield 0.5
    place = part("results").find(scene, "pocket", 0).matrix_world.translation
    assert all((r.view_location - place).length < 1e-3 for r in space.region_quadviews)
    bgui.shot("quad_view")
    bgui.op("screen.region_quadview")
    look()

    # A second 3D view; edit mode; undo; a deleted figure; a file saved and opened.
    with bgui.override():
        bpy.ops.screen.area_split(direction="HORIZONTAL", factor=0.5)
    yield 0.5
    scene.pourwright.rising.show = True
    yield 0.5
    bgui.shot("two_views")
    bpy.context.view_layer.objects.active = bpy.data.objects[figure[0]]
    bgui.op("object.mode_set", mode="EDIT")
    yield 0.5
    bgui.shot("edit_mode")
    bgui.op("object.mode_set", mode="OBJECT")
    bgui.op("object.select_all", action="SELECT")
    yield 0.2
    bgui.undo()
    yield 0.5
    for name in figure[:3]:
        bpy.data.objects.remove(bpy.data.objects[name])
    yield from paint_read()
    bgui.shot("deleted")
    path = str(Path(os.environ["HOME"]) / "shown.blend")
    bpy.context.scene.pourwright.overlay.legend = False
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    yield from paint_read()
    assert not shown().legend and shown().protected and not shown().rods
    bgui.shot("opened_again")
    all_again()
