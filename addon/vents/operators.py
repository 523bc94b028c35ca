"""Showing the master as one piece or as its parts."""

from __future__ import annotations

from typing import ClassVar

import bpy

from .. import results


class POURWRIGHT_OT_show(bpy.types.Operator):
    """Show the master as it is printed, or its parts and the air pockets"""

    bl_idname = "pourwright.show"
    bl_label = "Show"
    bl_options: ClassVar[set[str]] = {"UNDO", "INTERNAL"}

    master: bpy.props.BoolProperty(name="Master", description="Show the fused master")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Open and close the eyes of the results."""
        results.show_master(context.scene, self.master)
        return {"FINISHED"}


classes = (POURWRIGHT_OT_show,)
