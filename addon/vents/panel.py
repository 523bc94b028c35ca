"""The panel of the vents."""

from __future__ import annotations

import bpy

from .. import task, ui
from ..bridge import in_scene
from ..results import FUSED_ROLES, find, shown_role
from .settings import PourwrightVents

MAX_ROWS = 5


class POURWRIGHT_UL_vents(bpy.types.UIList):
    """Vents with their pieces, lengths and the rubber beside them."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one vent."""
        if not in_scene(item.object, context.scene):
            layout.alert = True
            _row(layout, f"{index + 1}  Gone", "", "", "")
            return
        web = f"{item.web_mm:.1f}" if item.checked else "?"
        _row(layout, f"{index + 1}  {item.kind}", str(item.pieces), f"{item.length_mm:.1f}", web)


def _row(layout: bpy.types.UILayout, vent: str, pieces: str, length: str, web: str) -> None:
    row = layout.split(factor=0.38)
    row.label(text=vent)
    for share, text in ((1 / 3, pieces), (1 / 2, length), (1, web)):
        row = row.split(factor=share)
        cell = row.row()
        cell.alignment = "RIGHT"
        cell.label(text=text)


class POURWRIGHT_UL_warnings(bpy.types.UIList):
    """Warnings, those that leave something to decide first."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one warning; the chosen one is shown in full under the list."""
        label = f"{index + 1}  {item.code.replace('_', ' ').title()}"
        layout.label(text=label, icon="ERROR" if item.open else "INFO")


class POURWRIGHT_PT_vents(ui.SidebarPanel, bpy.types.Panel):
    """Rods that let the air out, and what is left to decide."""

    bl_label = "Vents"
    bl_order = 6

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the rules, the vents, the proof and the warnings."""
        layout, settings = self.layout, context.scene.pourwright
        vents = settings.vents
        column = ui.column(layout)
        for name in ("diameter_mm", "least_diameter_mm", "web_mm", "slope"):
            column.prop(vents, name)
        header, body = layout.panel("pourwright_rods", default_closed=True)
        header.label(text="Ends and Routing")
        if body is not None:
            column = ui.column(body)
            for name in ("neck_mm", "neck_length_mm", "overlap_mm", "grid_mm"):
                column.prop(vents, name)
        if not settings.plan:
            ui.wrapped(context, layout, "Make Master places the vents", "INFO")
            return
        self._draw_rods(layout, vents)
        changed = task.stale(context.scene)
        if changed:
            ui.stale(context, layout, changed)
        elif vents.left:
            pockets = "Air Pocket" if vents.left == 1 else "Air Pockets"
            layout.label(text=f"{vents.left} {pockets} Left", icon="ERROR")
        else:
            layout.label(text="Checked: No Visible Bubble Left", icon="CHECKMARK")
        layout.operator("pourwright.check_again", icon="FILE_REFRESH")
        self._draw_shown(context, layout)
        self._draw_warnings(context, layout, vents)

    def _draw_rods(self, layout: bpy.types.UILayout, vents: PourwrightVents) -> None:
        if vents.rods:
            _row(layout, "Vent", "Pieces", "mm", "Web")
            rows = min(len(vents.rods), MAX_ROWS)
            layout.template_list(
                "POURWRIGHT_UL_vents", "", vents, "rods", vents, "active_vent",
                rows=rows, maxrows=rows,
            )
            chosen = vents.rods[min(vents.active_vent, len(vents.rods) - 1)]
            facts = layout.column(align=True)
            ui.value(facts, "Diameter", ui.length(chosen.diameter_mm))
            drains = f"Pocket {chosen.serves}" if chosen.serves else "No Pocket"
            ui.value(facts, "Drains", drains if chosen.checked else "Not Checked")
        else:
            layout.label(text="No Vents", icon="DOT")
        row = layout.row(align=True)
        row.operator("pourwright.add_vent", icon="ADD")
        row.operator("pourwright.remove_vent", icon="REMOVE")

    def _draw_warnings(
        self, context: bpy.types.Context, layout: bpy.types.UILayout, vents: PourwrightVents
    ) -> None:
        if not vents.warnings:
            return
        undecided = sum(w.open for w in vents.warnings)
        kind = "Warnings" if undecided else "Notes"
        layout.label(text=f"{len(vents.warnings)} {kind}, {undecided} to Decide")
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
        scene = context.scene
        there = [role for role in FUSED_ROLES if find(scene, role) is not None]
        if not there:
            return
        row, shown = layout.row(align=True), shown_role(scene)
        for role, text in (("", "Parts"), ("master", "Fused Master"), ("socket", "Socket")):
            if not role or role in there:
                button = row.operator("pourwright.show", text=text, depress=shown == role)
                button.what = role.upper() or "PARTS"


classes = (POURWRIGHT_UL_vents, POURWRIGHT_UL_warnings, POURWRIGHT_PT_vents)
