"""What is said of a scene that a newer version has saved."""

from __future__ import annotations

from typing import ClassVar

import bpy

from .. import ui
from .migrate import is_newer

NEWER = (
    "A newer version of Pourwright saved this scene. What this one does not know is kept in the "
    "file, but not used: results may differ"
)


class POURWRIGHT_PT_newer(ui.SidebarPanel, bpy.types.Panel):
    """Above everything else, as long as it concerns the scene."""

    bl_label = "Newer Scene"
    bl_order = -1
    bl_options: ClassVar[set[str]] = {"HIDE_HEADER"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only for such a scene."""
        return is_newer(context.scene)

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the warning."""
        box = self.layout.box()
        box.alert = True
        ui.wrapped(context, box, NEWER, "ERROR", share=0.93)


classes = (POURWRIGHT_PT_newer,)
