"""Let resin rise in a windowed Blender and take pictures of what it fills and traps.

    blender-gui -o OUT -u 1.2 -b blend_demo -z EXTENSION.zip tests/gui/rising.py

Every check is an assertion; the pictures are for people to look at.
"""

import time

import bgui
import bpy
from steps import add_figure, look, panels, part, wait_for_job


def rising():
    """Return the settings of the resin; they move in memory at every undo."""
    return bpy.context.scene.pourwright.rising


def frame_ms(count: int = 20) -> float:
    """Return how long the view takes to draw, as the user waits for it."""
    begin = time.perf_counter()
    bpy.ops.wm.redraw_timer(type="DRAW_WIN", iterations=count)
    return 1000 * (time.perf_counter() - begin) / count


@bgui.main
def run():
    add_figure()
    look()
    bgui.sidebar("Pourwright")
    yield 1.5
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    panels("main", "air", "rising")
    yield 0.8
    without = frame_ms()
    rising().show = True
    rising().level = 55.0
    yield 0.8
    bgui.shot("rising")
    cavity = part("rising.cavities").cavity_of(bpy.context.scene)
    levels = part("rising.cavities").closing_percent(bpy.context.scene)
    assert len(levels) > 3 and levels == sorted(levels)
    rising().level = 0.0
    assert bgui.op("pourwright.next_closing") == {"FINISHED"}
    assert abs(rising().level - levels[0]) < 0.1
    with_resin = frame_ms()
    print(f"{len(cavity.faces)} triangles: a frame takes {with_resin:.0f} ms with the resin, "
          f"{without:.0f} ms without")
    # Raising the level reads nothing anew.
    rising().level = 80.0
    assert part("rising.cavities").cavity_of(bpy.context.scene) is cavity
    rising().surface = "AFTER"
    yield 0.5
    assert len(part("rising.cavities").closing_percent(bpy.context.scene)) < len(levels)
