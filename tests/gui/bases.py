"""Pick a base by its picture, look at gates, socket and print, and take pictures of the panels.

    blender-gui -o OUT -u 1.2 -b blend_demo -z EXTENSION.zip tests/gui/bases.py

Every check is an assertion; the pictures are for people to look at.
"""

import math

import bgui
import bpy
from steps import add_figure, look, panels, part, wait_for_job

KIND = "stepped_plinth"
HASTE_PERCENT = 1.0  # of the pot life: so little that the heron's bill and legs ask for gates


def settings():
    """Return the scene's settings; they move in memory at every undo."""
    return bpy.context.scene.pourwright


def made():
    """Make the master and wait for it."""
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    message = bpy.context.window_manager.pourwright_message
    assert message.kind == "INFO", message.text


def pick_by_picture():
    """Open the picker by a click on the picture, and close it again."""
    _, _, _, sidebar = bgui.view3d()
    panels("base")
    yield 0.8
    # The picture is at the left of the panel, below its header and the switch of the source.
    x, y = sidebar.x + 70, sidebar.y + sidebar.height - 130
    bgui.click(x, y)
    yield 0.8
    bgui.shot("base_picker")
    bgui.key("ESC", x, y)
    yield 0.5


@bgui.main
def run():
    add_figure()
    look()
    bgui.sidebar("Pourwright")
    yield 1.5
    assert bgui.op("pourwright.use_selected") == {"FINISHED"}
    yield from pick_by_picture()
    base = settings().base
    base.picture = KIND
    assert base.kind == KIND
    base.text, base.stepped_plinth.steps = "HERON", 4
    settings().gates.share_percent = HASTE_PERCENT
    yield from made()
    assert part("stored").stored_plan(bpy.context.scene)["base"]["kind"] == KIND
    print(f"{len(settings().gates.rods)} gates")
    for name in ("base", "gates", "print"):
        panels("main", name)
        yield 0.8
        bgui.shot(f"panel_{name}")

    # A plank of the user's, and a socket in it.
    bpy.ops.mesh.primitive_cube_add(size=1.0, location=(0.0, 90.0, 10.0))
    plank = bpy.context.object
    plank.name, plank.scale = "Plank", (70.0, 50.0, 20.0)
    plank.rotation_euler = (0.0, 0.0, math.radians(5.0))
    settings().base.source, settings().base.body = "OBJECT", plank
    settings().base.embed_mm = 3.0
    settings().base.socket = True
    yield from made()
    panels("main", "base")
    assert bgui.op("pourwright.show", what="SOCKET") == {"FINISHED"}
    yield 0.8
    bgui.shot("own_base")
    assert plank.name == "Plank" and tuple(round(c) for c in plank.scale) == (70, 50, 20)
    assert part("results").shown_role(bpy.context.scene) == "socket"
    panels("main", "figure", "pose", "air", "rising", "base", "gates", "vents", "print",
           "quantities", "export")
    yield 0.3
