"""The one place where all that the extension shows in the view is switched on and off."""

from __future__ import annotations

from typing import ClassVar

import bpy

from .. import ui


class POURWRIGHT_PT_overlay(ui.SidebarPanel, bpy.types.Panel):
    """What is shown in the view."""

    bl_label = "Show in View"
    bl_order = 12
    bl_options: ClassVar[set[str]] = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the switches."""
        layout, settings = self.layout, context.scene.pourwright
        shown = settings.overlay
        if not context.space_data.overlay.show_overlays:
            ui.wrapped(context, layout, "This view's overlays are off", "INFO")
            layout.prop(context.space_data.overlay, "show_overlays", text="Show Overlays")
        grid = layout.grid_flow(columns=2, even_columns=True)
        grid.prop(shown, "bubbles")
        grid.prop(shown, "shapes")
        grid.prop(settings.rising, "labels")
        grid.prop(settings.rising, "show", text="Rising Resin")
        grid.prop(shown, "protected", text="Protected")
        grid.prop(shown, "rods", text="Vents, Gates")
        grid.prop(shown, "box")
        grid.prop(shown, "cut")
        grid.prop(shown, "rubber_air")
        grid.prop(shown, "legend")
        column = ui.column(layout)
        column.active = shown.bubbles
        column.prop(shown, "bubble_scale")


classes = (POURWRIGHT_PT_overlay,)
