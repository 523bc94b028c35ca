"""Checking the vents as they are, removing one, and showing the master or its parts."""

from __future__ import annotations

from typing import ClassVar

import bpy

from .. import apply, results, task
from ..base.settings import has_base
from ..bridge import in_scene
from ..figure.hints import has_figure
from ..figure.settings import usable
from ..jobs import Outcome
from ..pose import preview
from ..running import JobOperator, Request, busy


class POURWRIGHT_OT_check_again(JobOperator, bpy.types.Operator):
    """Plan with the vents that are in the scene."""

    bl_idname = "pourwright.check_again"
    bl_label = "Check Again"
    bl_description = (
        "Make the master again with vents and gates as they are now, moved, reshaped, added or "
        "removed, and look for air that is left. Every curve in the Pourwright collection is a "
        "vent, but for gates and their copies; the curves themselves stay as they are"
    )
    title: ClassVar[str] = "Check Again"

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs a figure, and a master made before."""
        if not context.scene.pourwright.plan:
            cls.poll_message_set("Press Make Master first")
            return False
        return has_base(cls, context) and has_figure(cls, context)

    def request(self, context: bpy.types.Context) -> Request:
        """Take the figure, all settings and the vents that are there."""
        return task.check_request(context, usable(context))

    def apply(self, context: bpy.types.Context, request: Request, outcome: Outcome) -> str:
        """Put master, air and numbers in place; leave the vents alone."""
        return apply.checked(request, outcome)


class POURWRIGHT_OT_remove_vent(bpy.types.Operator):
    """Delete the vent that is active in the list"""

    bl_idname = "pourwright.remove_vent"
    bl_label = "Remove Vent"
    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a row, and Object Mode."""
        vents = context.scene.pourwright.vents
        if busy():
            cls.poll_message_set("Pourwright is working; press Esc to stop it")
            return False
        if context.mode != "OBJECT":
            cls.poll_message_set("Switch to Object Mode first")
            return False
        if not 0 <= vents.active_vent < len(vents.rods):
            cls.poll_message_set("Choose a vent in the list")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Remove the object, if it is still there, and its row."""
        vents = context.scene.pourwright.vents
        index = vents.active_vent
        obj = vents.rods[index].object
        vents.rods.remove(index)
        if obj is not None and in_scene(obj, context.scene):
            results.remove(obj)
        vents.active_vent = max(0, min(index, len(vents.rods) - 1))
        return {"FINISHED"}


class POURWRIGHT_OT_show(bpy.types.Operator):
    """Show what is printed, or the parts and the air pockets"""

    bl_idname = "pourwright.show"
    bl_label = "Show"
    bl_options: ClassVar[set[str]] = {"UNDO", "INTERNAL"}

    what: bpy.props.EnumProperty(
        name="What",
        description="What of the results is shown",
        items=[
            ("PARTS", "Parts", "Base, funnel, gates, vents and air, each by itself"),
            ("MASTER", "Fused Master", "The master as one body"),
            ("SOCKET", "Base With Socket", "What is printed where the figure exists already"),
        ],
        default="PARTS",
    )

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Open and close the eyes of the results."""
        preview.end(context.scene)
        results.show(context.scene, "" if self.what == "PARTS" else self.what.lower())
        return {"FINISHED"}


classes = (POURWRIGHT_OT_check_again, POURWRIGHT_OT_remove_vent, POURWRIGHT_OT_show)
