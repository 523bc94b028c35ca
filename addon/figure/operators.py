"""Choosing the figure, and the button that does it all."""

from __future__ import annotations

from typing import ClassVar

import bpy

from .. import apply, messages, task
from ..base.settings import has_base
from ..batch import rows
from ..jobs import Outcome
from ..running import JobOperator, Request
from ..translations import say
from ..view import look_at
from .hints import has_figure
from .settings import chosen, instances, set_chosen, usable


class POURWRIGHT_OT_use_selected(bpy.types.Operator):
    """Make the selected objects the figure; several objects are united into one"""

    bl_idname = "pourwright.use_selected"
    bl_label = "Use Selected"
    bl_options: ClassVar[set[str]] = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a selected object with a surface."""
        if not usable(context):
            cls.poll_message_set(instances(context) or "Select the figure's objects first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Replace the figure's list, of the one of several figures that they belong to."""
        rows.turn_to(context.scene, usable(context))
        set_chosen(context.scene, usable(context))
        return {"FINISHED"}


class POURWRIGHT_OT_remove_part(bpy.types.Operator):
    """Take this object off the figure's list; the object itself stays"""

    bl_idname = "pourwright.remove_part"
    bl_label = "Remove From Figure"
    bl_options: ClassVar[set[str]] = {"UNDO", "INTERNAL"}

    index: bpy.props.IntProperty(name="Index", description="Number in the list", min=0)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Remove one row."""
        context.scene.pourwright.figure.parts.remove(self.index)
        return {"FINISHED"}


class POURWRIGHT_OT_show_place(bpy.types.Operator):
    """Turn the view to this place and put the 3D cursor there"""

    bl_idname = "pourwright.show_place"
    bl_label = "Show Place"
    bl_options: ClassVar[set[str]] = {"UNDO", "INTERNAL"}

    place_mm: bpy.props.FloatVectorProperty(name="Place", description="In millimetres", size=3)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Move the view and the cursor."""
        context.scene.cursor.location = look_at(context, self.place_mm)
        return {"FINISHED"}


class POURWRIGHT_OT_paint_protected(bpy.types.Operator):
    """Paint the surface of the active object that vents keep off: red is kept free of them"""

    bl_idname = "pourwright.paint_protected"
    bl_label = "Paint Protected Surface"
    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs an active mesh object of the figure."""
        obj = context.object
        if context.mode != "OBJECT":
            cls.poll_message_set("Switch to Object Mode first")
            return False
        if obj is None or obj.type != "MESH" or obj not in chosen(context.scene):
            cls.poll_message_set("Make a mesh of the figure the active object first")
            return False
        if obj.data.library is not None or not obj.visible_get():
            cls.poll_message_set("The active object is hidden or linked from another file")
            return False
        if not context.scene.pourwright.figure.protect:
            cls.poll_message_set("Name the vertex group first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Make the group if it is missing, and enter Weight Paint mode on it."""
        obj, name = context.object, context.scene.pourwright.figure.protect
        group = obj.vertex_groups.get(name) or obj.vertex_groups.new(name=name)
        obj.vertex_groups.active_index = group.index
        bpy.ops.object.mode_set(mode="WEIGHT_PAINT")
        # Paint alone does not make results out of date: reading it takes long.
        messages.tell(context, "INFO", say("Paint red what vents keep off; the next Make Master "
                                           "or Check Again heeds it"))  # fmt: skip
        return {"FINISHED"}


class POURWRIGHT_OT_make_master(JobOperator, bpy.types.Operator):
    """The button that does it all."""

    bl_idname = "pourwright.make_master"
    bl_label = "Make Master"
    bl_description = (
        "Find the trapped air, add sprue base, funnel, gates and vents, and prove that the air "
        "gets out. Vents and gates made before are replaced; those that you reshaped are set "
        "aside, vents that you added stay in the scene for Check Again"
    )
    title: ClassVar[str] = "Make Master"

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs a figure, chosen or selected."""
        return has_base(cls, context) and has_figure(cls, context)

    def request(self, context: bpy.types.Context) -> Request:
        """Take the figure and all settings."""
        return task.plan_request(context, usable(context))

    def apply(self, context: bpy.types.Context, request: Request, outcome: Outcome) -> str:
        """Put master, parts and air into the collection, and the numbers into the panels."""
        return apply.plan(request, outcome)


classes = (
    POURWRIGHT_OT_use_selected,
    POURWRIGHT_OT_remove_part,
    POURWRIGHT_OT_show_place,
    POURWRIGHT_OT_paint_protected,
    POURWRIGHT_OT_make_master,
)
