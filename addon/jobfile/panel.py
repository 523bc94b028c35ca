"""The panel of job files, and of presets of a whole job."""

from __future__ import annotations

import bpy

from .. import ui


class POURWRIGHT_PT_job(ui.SidebarPanel, bpy.types.Panel):
    """All settings at once, as a file or as a preset."""

    bl_label = "Job"
    bl_order = 12

    def draw_header_preset(self, context: bpy.types.Context) -> None:
        """Draw the menu of presets."""
        ui.presets(self.layout, "job")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the buttons."""
        row = self.layout.row(align=True)
        row.operator("pourwright.open_job", icon="FILE_FOLDER")
        row.operator("pourwright.save_job", icon="FILE_TICK")


classes = (POURWRIGHT_PT_job,)
