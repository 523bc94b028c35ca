"""The panel of the export."""

from __future__ import annotations

import bpy

from .. import task, ui


class POURWRIGHT_PT_export(ui.SidebarPanel, bpy.types.Panel):
    """Files for the printer and the bench."""

    bl_label = "Export"
    bl_order = 11

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the folder, the kinds of files and the button."""
        layout, export = self.layout, context.scene.pourwright.export
        column = ui.column(layout)
        column.prop(export, "folder")
        files = column.column(heading="Write", align=True)
        for name in ("write_3mf", "write_stl", "write_rods", "write_plan", "write_sheet"):
            files.prop(export, name)
        column.prop(export, "overwrite")
        ui.stale(context, layout, task.stale(context.scene))
        if export.folder.startswith("//") and not bpy.data.filepath:
            ui.wrapped(context, layout, "Choose a folder, or save the .blend file", "INFO")
        layout.operator("pourwright.export_master", icon="EXPORT")


classes = (POURWRIGHT_PT_export,)
