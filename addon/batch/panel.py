"""The list of figures."""

from __future__ import annotations

from typing import ClassVar

import bpy

from .. import ui
from ..running import current as working
from . import rows

MOST_ROWS = 8


class POURWRIGHT_UL_figures(bpy.types.UIList):
    """Figures, and how far each is."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw the name and the state."""
        state = rows.state(context.scene, index)
        text, sign = rows.STATES[state]
        if state == "WORKING" and working.job is not None:
            text = f"{working.job.fraction:.0%}"
        split = layout.split(factor=0.5)
        name = split.row(align=True)
        current = index == data.loaded
        name.label(text="", icon="LAYER_ACTIVE" if current else "LAYER_USED")
        name.prop(item, "name", text="", emboss=False)
        cell = split.row()
        cell.alert = state == "FAILED"
        cell.label(text=text, icon=sign)


class POURWRIGHT_PT_batch(ui.SidebarPanel, bpy.types.Panel):
    """Several figures, made and exported in one go."""

    bl_label = "Batch"
    bl_order = 1
    bl_options: ClassVar[set[str]] = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the list and its buttons."""
        layout, scene = self.layout, context.scene
        batch = scene.pourwright.batch
        if batch.figures:
            row = layout.row()
            shown = max(3, min(len(batch.figures), MOST_ROWS))
            row.template_list(
                "POURWRIGHT_UL_figures", "", batch, "figures", batch, "active",
                rows=shown, maxrows=MOST_ROWS,
            )
            row.operator("pourwright.remove_figure", text="", icon="REMOVE")
        else:
            ui.wrapped(
                context, layout, "Add several figures to make and export them in one go", "INFO"
            )
        add = layout.row(align=True)
        add.operator("pourwright.add_figures", text="Add Objects", icon="ADD").by = "OBJECT"
        add.operator(
            "pourwright.add_figures", text="Add Collections", icon="OUTLINER_COLLECTION"
        ).by = "COLLECTION"
        if not batch.figures:
            return
        failed = rows.current(scene).failed
        if failed:
            box = layout.box()
            box.alert = True
            ui.wrapped(context, box, failed, "ERROR")
        layout.prop(batch, "skip_unchanged")
        buttons = layout.column(align=True)
        buttons.operator("pourwright.make_all", icon="MOD_FLUIDSIM")
        buttons.operator("pourwright.export_all", icon="EXPORT")


classes = (POURWRIGHT_UL_figures, POURWRIGHT_PT_batch)
