"""How long the panels take to draw on a figure of 200 k triangles: all that runs by itself.

Nothing else looks at the scene when something in it changes; tests/addon looks for handlers.
"""

import time

import bgui
import bmesh
import bpy
import steps
from steps import part, wait_for_job

MOST_DRAW_S = 0.1
SEGMENTS, RINGS = 316, 317  # of a sphere of 200 k triangles
REDRAWS = 5
steps.PATIENCE_S = 600.0


def panel_times() -> dict[str, float]:
    """Make every panel and list of the tab say how long its drawing takes, the longest in s."""
    longest: dict[str, float] = {}

    def note(cls, draw, *given):
        start = time.perf_counter()
        draw(*given)
        spent = time.perf_counter() - start
        longest[cls.__name__] = max(longest.get(cls.__name__, 0.0), spent)

    # Blender counts the arguments of what it calls, so each has them all.
    def panel(cls):
        draw = cls.draw
        cls.draw = lambda self, context: note(cls, draw, self, context)

    def rows(cls):
        draw = cls.draw_item
        cls.draw_item = lambda self, a, b, c, d, e, f, g, h=0: note(
            cls, draw, self, a, b, c, d, e, f, g, h
        )

    for base, name, measure in ((bpy.types.Panel, "draw", panel),
                                (bpy.types.UIList, "draw_item", rows)):  # fmt: skip
        for cls in base.__subclasses__():
            if cls.__name__.startswith("POURWRIGHT_") and name in vars(cls):
                measure(cls)
    return longest


def large_sphere() -> bpy.types.Mesh:
    """Return a sphere of 200 k triangles."""
    mesh, shape = bpy.data.meshes.new("Large"), bmesh.new()
    bmesh.ops.create_uvsphere(shape, u_segments=SEGMENTS, v_segments=RINGS, radius=11)
    shape.to_mesh(mesh)
    shape.free()
    return mesh


@bgui.main
def run():
    scene = bpy.context.scene
    scene.unit_settings.scale_length = 0.001
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    bpy.ops.mesh.primitive_uv_sphere_add(radius=11, location=(0, 0, 11))
    egg = bpy.context.object
    bgui.sidebar("Pourwright")
    yield 1.5
    assert bgui.op("pourwright.add_figures", by="OBJECT") == {"FINISHED"}
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    assert scene.pourwright.plan and not part("task").stale(scene)
    egg.data = large_sphere()  # the plan is stale, and all panels have something to show
    egg.rotation_euler = (0.1, 0.2, 0.3)
    longest = panel_times()
    for _ in range(REDRAWS):
        for area in bpy.context.screen.areas:
            area.tag_redraw()
        yield 0.3
    for name, spent in sorted(longest.items(), key=lambda item: -item[1]):
        print(f"drawing {name}: {1000.0 * spent:.1f} ms")
    assert part("task").stale(scene)
    assert "POURWRIGHT_PT_batch" in longest and max(longest.values()) < MOST_DRAW_S, longest
