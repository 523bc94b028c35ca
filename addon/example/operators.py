"""Adding the example figure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar

import bpy

from ..bridge import bounds_mm, mm_per_unit, new_object

NAME = "Example Snail"
DETAIL = 0.7  # smooth enough to look at; nothing to find fault with; its plan takes seconds
GAP_MM = 10.0


class POURWRIGHT_OT_add_example(bpy.types.Operator):
    """Add a snail, 73 mm long whatever the scene's units, to try a casting on"""

    bl_idname = "pourwright.add_example"
    bl_label = NAME
    bl_options: ClassVar[set[str]] = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where objects can be added."""
        if context.mode != "OBJECT":
            cls.poll_message_set("Switch to Object Mode first")
            return False
        if context.scene.library is not None:
            cls.poll_message_set("The scene is linked from another file")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Add it at the 3D cursor, beside what stands there, and turn the view to it."""
        import numpy as np

        from pourwright.example import snail

        parts = snail(DETAIL)
        starts = np.cumsum([0, *(len(part.vertices) for part in parts)])
        faces = [part.faces + start for part, start in zip(parts, starts, strict=False)]
        vertices = np.concatenate([part.vertices for part in parts])
        vertices += np.array(context.scene.cursor.location) * mm_per_unit(context.scene)
        there = [obj for obj in context.visible_objects if obj.name in context.scene.objects]
        vertices[:, 0] += _step_aside_mm(
            vertices.min(axis=0), vertices.max(axis=0), [bounds_mm(context, [o]) for o in there]
        )
        _show(context, new_object(NAME, vertices, np.concatenate(faces), context.scene))
        return {"FINISHED"}


def _step_aside_mm(low: Any, high: Any, there: Iterable[tuple[Any, Any] | None]) -> float:
    """Return how far along X a box has to go so that it meets none of those that are there."""
    aside = 0.0
    for other in sorted((b for b in there if b is not None), key=lambda b: float(b[0][0])):
        meets = (low[1:] < other[1][1:]).all() and (other[0][1:] < high[1:]).all()
        if meets and low[0] + aside < other[1][0] and other[0][0] < high[0] + aside:
            aside = float(other[1][0] - low[0]) + GAP_MM
    return aside


def _show(context: bpy.types.Context, obj: bpy.types.Object) -> None:
    """Put the object into the scene and select it, as Blender's own Add menu does."""
    held = context.view_layer.active_layer_collection.collection
    (context.scene.collection if held.library else held).objects.link(obj)
    space = context.space_data
    if space is not None and space.type == "VIEW_3D" and space.local_view:
        obj.local_view_set(space, True)
    for other in context.selected_objects:
        other.select_set(False)
    obj.select_set(True)
    context.view_layer.objects.active = obj
    if bpy.ops.view3d.view_selected.poll():
        bpy.ops.view3d.view_selected()


def draw_menu(self: Any, context: bpy.types.Context) -> None:
    """The entry in Add > Mesh."""
    self.layout.separator()
    self.layout.operator("pourwright.add_example", icon="MESH_DATA")


def register() -> None:
    """Add the entry to Blender's menu."""
    bpy.types.VIEW3D_MT_mesh_add.append(draw_menu)


def unregister() -> None:
    """Take it out again."""
    bpy.types.VIEW3D_MT_mesh_add.remove(draw_menu)


classes = (POURWRIGHT_OT_add_example,)
