"""Finding trapped air in the figure as it is."""

from __future__ import annotations

from typing import ClassVar

import bpy
from mathutils import Vector

from .. import apply, task
from ..figure.hints import has_figure
from ..figure.settings import usable
from ..jobs import Outcome
from ..running import JobOperator, Request


class POURWRIGHT_OT_find_air(JobOperator, bpy.types.Operator):
    """Find where air is trapped in the figure alone, without base and vents"""

    bl_idname = "pourwright.find_air"
    bl_label = "Find Air"
    title: ClassVar[str] = "Find Air"

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs a figure, chosen or selected."""
        return has_figure(cls, context)

    def request(self, context: bpy.types.Context) -> Request:
        """Take the figure and how it is poured."""
        return task.figure_request(context, "air", usable(context))

    def apply(self, context: bpy.types.Context, request: Request, outcome: Outcome) -> str:
        """Put the pockets into the collection and the list."""
        return apply.air(request, outcome)


class POURWRIGHT_OT_up_from_view(bpy.types.Operator):
    """Use the direction that is up on the screen as up in the pour"""

    bl_idname = "pourwright.up_from_view"
    bl_label = "From View"
    bl_options: ClassVar[set[str]] = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a 3D view."""
        if context.region_data is None:
            cls.poll_message_set("Press the button in a 3D view")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Take the view's vertical, cleaned of rounding."""
        air = context.scene.pourwright.air
        up = context.region_data.view_rotation @ Vector((0.0, 1.0, 0.0))
        air.up = [round(c, 4) + 0.0 for c in up]
        air.direction = "CUSTOM"
        return {"FINISHED"}


class POURWRIGHT_OT_show_pocket(bpy.types.Operator):
    """Select this air pocket and turn the view to it"""

    bl_idname = "pourwright.show_pocket"
    bl_label = "Show Air Pocket"
    bl_options: ClassVar[set[str]] = {"UNDO", "INTERNAL"}

    index: bpy.props.IntProperty(name="Index", description="Number in the list", min=0)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Select, then frame."""
        air = context.scene.pourwright.air
        air.active_pocket = self.index  # which selects and frames it
        return {"FINISHED"}


classes = (POURWRIGHT_OT_find_air, POURWRIGHT_OT_up_from_view, POURWRIGHT_OT_show_pocket)
