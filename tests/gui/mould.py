"""Plan the mould in a windowed Blender and take pictures of box, cut and panel.

    blender-gui -o OUT -u 1.2 -b blend_demo -z EXTENSION.zip tests/gui/mould.py

Every check is an assertion; the pictures are for people to look at.
"""

import bgui
import bpy
from steps import add_figure, look, panels, part, wait_for_job


@bgui.main
def run():
    message = bpy.context.window_manager.pourwright_message
    add_figure()
    look()
    bgui.sidebar("Pourwright")
    yield 1.5
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    assert bgui.op("pourwright.plan_mould", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    assert message.kind == "INFO" and "ml of rubber" in message.text, message.text
    panels("main", "mould")
    view = bgui.view3d()[1].spaces.active.region_3d
    view.view_distance *= 1.3
    yield 0.8
    bgui.shot("panel_mould")
    # The cut goes with its way points.
    top = part("results").find(bpy.context.scene, "way_point", 3)
    top.location.x += 3.0
    yield 0.2
    assert bgui.op("pourwright.solve_cut", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    assert message.kind == "INFO", message.text
    bgui.undo()
    yield 0.3
    assert part("results").find(bpy.context.scene, "cut") is not None
