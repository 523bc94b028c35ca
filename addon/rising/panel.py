"""The panel of the rising resin."""

from __future__ import annotations

import bpy

from .. import ui
from . import cavities
from .settings import SURFACES, cavity


class POURWRIGHT_PT_rising(ui.SidebarPanel, bpy.types.Panel):
    """How resin rises, and what air it closes in."""

    bl_label = "Rising Resin"
    bl_parent_id = "POURWRIGHT_PT_air"
    bl_order = 0

    def draw_header(self, context: bpy.types.Context) -> None:
        """Draw the switch."""
        self.layout.prop(context.scene.pourwright.rising, "show", text="")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the level."""
        layout, rising = self.layout, context.scene.pourwright.rising
        if cavity(context.scene) is None and rising.surface == next(iter(SURFACES)):
            ui.wrapped(context, layout, "Find Air or Make Master first", "INFO")
            return
        column = ui.column(layout)
        column.prop(rising, "surface")
        if cavity(context.scene) is None:
            ui.wrapped(context, layout, "Make Master first", "INFO")
            return
        column.active = rising.show
        column.prop(rising, "level", slider=True)
        layout.operator("pourwright.next_closing", icon="NEXT_KEYFRAME")
        held = cavities.cavity_of(context.scene) if rising.show else None  # large, so read late
        if held is not None:
            level = cavities.level_mm(context.scene, held)
            closed = int((held.closing_mm <= level).sum())
            layout.label(text=f"Air Closed In at {closed} of {len(held.closing_mm)} Levels")


classes = (POURWRIGHT_PT_rising,)
