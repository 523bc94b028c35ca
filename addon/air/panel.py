"""The panel of the air analysis."""

from __future__ import annotations

import bpy

from .. import ui

MAX_ROWS = 6


class POURWRIGHT_UL_pockets(bpy.types.UIList):
    """Air pockets: volume, and the bubble that is left in the cast."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one pocket."""
        if item.vented:
            state = "CHECKMARK"
        elif item.matters or item.sealed:
            state = "ERROR"
        else:
            state = "DOT"
        row = layout.row(align=True)
        row.label(text=str(index + 1), icon=state)
        _right(row, "No Opening" if item.sealed else ui.volume(item.volume_mm3))
        _right(row, ui.length(item.bubble_mm))
        row.operator(
            "pourwright.show_pocket", text="", icon="VIEWZOOM", emboss=False
        ).index = index


def _right(row: bpy.types.UILayout, text: str) -> None:
    cell = row.row()
    cell.alignment = "RIGHT"
    cell.label(text=text)


class POURWRIGHT_PT_air(ui.SidebarPanel, bpy.types.Panel):
    """How resin is poured, and where air stays."""

    bl_label = "Air"
    bl_order = 3

    def draw_header_preset(self, context: bpy.types.Context) -> None:
        """Draw the menu of presets."""
        ui.presets(self.layout, "process")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings, the button and the pockets."""
        layout, air = self.layout, context.scene.pourwright.air
        column = ui.column(layout)
        column.prop(air, "direction")
        if air.direction == "CUSTOM":
            column.prop(air, "up")
            column.operator("pourwright.up_from_view", icon="VIEW3D")
        named = column.column()
        named.active = not air.own_pressures
        named.prop(air, "process")
        column.prop(air, "own_pressures")
        if air.own_pressures:
            column.prop(air, "trap_kpa")
            column.prop(air, "cure_kpa")
        column.prop(air, "visible_defect_mm")
        layout.operator("pourwright.find_air", icon="VIEWZOOM")
        if not air.source:
            return
        matter = sum(p.matters for p in air.pockets)
        layout.label(text=f"{air.source}:")
        if not air.pockets:
            layout.label(text="No Trapped Air", icon="CHECKMARK")
            return
        head = layout.row(align=True)
        head.label(text="Pocket", icon="BLANK1")
        _right(head, "Air")
        _right(head, "Bubble")
        head.label(text="", icon="BLANK1")
        rows = min(len(air.pockets), MAX_ROWS)
        layout.template_list(
            "POURWRIGHT_UL_pockets", "", air, "pockets", air, "active_pocket",
            rows=rows, maxrows=rows,
        )
        vented = sum(p.matters and p.vented for p in air.pockets)
        verb = "Would Leave" if vented else "Leave"
        layout.label(text=f"{matter} of {len(air.pockets)} {verb} a Visible Bubble")
        if vented:
            layout.label(text=f"{vented} of Them Vented", icon="CHECKMARK")


classes = (POURWRIGHT_UL_pockets, POURWRIGHT_PT_air)
