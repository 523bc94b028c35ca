"""What the scripts for a windowed Blender have in common."""

import sys
import time
from pathlib import Path

import bgui
import bpy

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from blend_demo.heron import heron

DETAIL = 0.3
PATIENCE_S = 900.0  # on a machine that has much else to do
ESC_WITHIN_S = 0.5


def panels(*names: str) -> None:
    """Show only these panels of the tab: Blender has no call that folds one."""
    wanted = [f"POURWRIGHT_PT_{name}" for name in names]
    for cls in reversed(all_panels()):
        if cls.is_registered:
            bpy.utils.unregister_class(cls)
    for cls in all_panels():
        if cls.__name__ in wanted:
            bpy.utils.register_class(cls)


def all_again() -> None:
    """Show all panels, as Blender expects them when it closes."""
    panels(*(cls.__name__.removeprefix("POURWRIGHT_PT_") for cls in all_panels()))


_panels: list[type] = []


def all_panels() -> list[type]:
    """All panels of the tab, parents before the panels in them."""
    if not _panels:
        found = [
            cls
            for cls in bpy.types.Panel.__subclasses__()
            if getattr(cls, "bl_category", "") == "Pourwright"
        ]
        _panels.extend(sorted(found, key=lambda c: (hasattr(c, "bl_parent_id"), c.bl_order)))
    return _panels


def add_figure() -> list[bpy.types.Object]:
    """Put the heron into the scene, one object per part, in millimetres."""
    scene = bpy.context.scene
    scene.unit_settings.scale_length = 0.001
    scene.unit_settings.length_unit = "MILLIMETERS"
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    made = []
    for part in heron(DETAIL):
        mesh = bpy.data.meshes.new(part.name)
        mesh.from_pydata(part.vertices.tolist(), [], part.faces.tolist())
        obj = bpy.data.objects.new(part.name, mesh)
        scene.collection.objects.link(obj)
        obj.select_set(True)
        made.append(obj)
    bpy.context.view_layer.objects.active = made[0]
    return made


def planned_heron():
    """Yield to Blender until the heron is there with master and mould, none of it selected.

    The first script of a run makes it; the others open what that one saved.
    """
    kept = Path(bgui.OUT) / "heron.blend"
    bgui.sidebar("Pourwright")
    yield 1.5
    if kept.exists():
        bpy.ops.wm.open_mainfile(filepath=str(kept), load_ui=False)
        yield 1.0
    else:
        protect_the_head(add_figure())
        for name in ("make_master", "plan_mould"):
            assert bgui.op(f"pourwright.{name}", invoke=True) == {"RUNNING_MODAL"}
            yield from wait_for_job()
            message = bpy.context.window_manager.pourwright_message
            assert message.kind == "INFO", message.text
        for obj in bpy.context.selected_objects:
            obj.select_set(False)
        bpy.ops.wm.save_as_mainfile(filepath=str(kept), copy=True)
    look()


def protect_the_head(figure: list[bpy.types.Object]) -> None:
    """Paint the upper part of the figure, full at the top."""
    for obj in figure:
        for vertex in obj.data.vertices:
            weight = min(max((vertex.co.z - 70.0) / 10.0, 0.0), 1.0)
            if weight > 0.0:
                group = obj.vertex_groups.get("Protect") or obj.vertex_groups.new(name="Protect")
                group.add([vertex.index], weight, "REPLACE")


def look() -> None:
    """Turn the view to the whole figure."""
    space = bgui.view3d()[1].spaces.active
    space.clip_start, space.clip_end = 0.1, 10_000.0
    space.overlay.grid_scale = 10.0
    space.overlay.show_cursor = False
    region = space.region_3d
    region.view_rotation = (0.82, 0.45, 0.17, 0.3)
    region.view_location = (2.0, 0.0, 26.0)
    region.view_distance = 165.0


def part(name: str):
    """Return a module of the installed extension."""
    return sys.modules[f"bl_ext.user_default.pourwright.{name}"]


def running():
    """Return the extension's module that knows the running job."""
    return part("running")


def wait_for_job():
    """Yield to Blender until the job has ended."""
    end = time.monotonic() + PATIENCE_S
    while running().busy():
        assert time.monotonic() < end, "the job did not end"
        yield 0.1


def names() -> set[str]:
    """Return the names of all objects."""
    return {obj.name for obj in bpy.data.objects}
