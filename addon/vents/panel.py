"""The panel of the vents."""

from __future__ import annotations

import bpy

from .. import ui
from ..results import find
from .settings import PourwrightVents

MAX_ROWS = 5


class POURWRIGHT_UL_vents(bpy.types.UIList):
    """Vent rods with their lengths."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one vent."""
        size = f"{item.length_mm:.1f} \u00d7 {item.diameter_mm:.1f}"
        _row(layout, f"{index + 1}  {item.kind}", size, item.serves)


def _row(layout: bpy.types.UILayout, vent: str, size: str, pockets: str) -> None:
    row = layout.split(factor=0.36)
    row.label(text=vent)
    row = row.split(factor=0.62)
    row.label(text=size)
    row.label(text=pockets)


class POURWRIGHT_UL_warnings(bpy.types.UIList):
    """Warnings, those that leave something to decide first."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one warning; the chosen one is shown in full under the list."""
        label = f"{index + 1}  {item.code.replace('_', ' ').title()}"
        layout.label(text=label, icon="ERROR" if item.open else "INFO")


class POURWRIGHT_PT_vents(ui.SidebarPanel, bpy.types.Panel):
    """Rods that let the air out, and what is left to decide."""

    bl_label = "Vents"
    bl_order = 4

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the rules, the vents, the proof and the warnings."""
        layout, settings = self.layout, context.scene.pourwright
        vents = settings.vents
        column = ui.column(layout)
        for name in ("diameter_mm", "least_diameter_mm", "web_mm", "overlap_mm"):
            column.prop(vents, name)
        if not settings.plan:
            ui.wrapped(context, layout, "Make Master places the vents", "INFO")
            return
        if vents.rods:
            _row(layout, "Vent", "Size in mm", "Drains")
            rows = min(len(vents.rods), MAX_ROWS)
            layout.template_list(
                "POURWRIGHT_UL_vents", "", vents, "rods", vents, "active_vent",
                rows=rows, maxrows=rows,
            )
        else:
            layout.label(text="No Vents Needed", icon="CHECKMARK")
        if vents.left:
            layout.label(text=f"{vents.left} Air Pockets Left", icon="ERROR")
        else:
            layout.label(text="Checked: No Visible Bubble Left", icon="CHECKMARK")
        self._draw_shown(context, layout)
        self._draw_warnings(context, layout, vents)

    def _draw_warnings(
        self, context: bpy.types.Context, layout: bpy.types.UILayout, vents: PourwrightVents
    ) -> None:
        if not vents.warnings:
            return
        undecided = sum(w.open for w in vents.warnings)
        layout.label(text=f"{len(vents.warnings)} Warnings, {undecided} to Decide")
        rows = min(len(vents.warnings), MAX_ROWS)
        if rows > 1:
            layout.template_list(
                "POURWRIGHT_UL_warnings", "", vents, "warnings", vents, "active_warning",
                rows=rows, maxrows=rows,
            )
        chosen = vents.warnings[min(vents.active_warning, len(vents.warnings) - 1)]
        place = chosen.place_mm if chosen.has_place else None
        icon = "ERROR" if chosen.open else "INFO"
        ui.wrapped(context, layout.box(), chosen.text, icon, place)

    def _draw_shown(self, context: bpy.types.Context, layout: bpy.types.UILayout) -> None:
        master = find(context.scene, "master")
        if master is not None:
            row = layout.row(align=True)
            shown = not master.hide_get()
            row.operator("pourwright.show", text="Parts", depress=not shown).master = False
            row.operator("pourwright.show", text="Fused Master", depress=shown).master = True


classes = (POURWRIGHT_UL_vents, POURWRIGHT_UL_warnings, POURWRIGHT_PT_vents)
