"""The panel of the sprue base."""

from __future__ import annotations

import bpy

from .. import ui
from .settings import ROUND, SEEDED


class POURWRIGHT_PT_base(ui.SidebarPanel, bpy.types.Panel):
    """The base the figure stands on, and the funnel under it."""

    bl_label = "Sprue Base"
    bl_order = 4

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings of base and funnel."""
        base = context.scene.pourwright.base
        column = ui.column(self.layout)
        column.prop(base, "kind")
        column.prop(base, "size")
        if base.size == "CUSTOM":
            is_round = base.kind in ROUND
            column.prop(base, "width_mm", text="Diameter" if is_round else "Width")
            if not is_round:
                column.prop(base, "depth_mm")
        else:
            column.prop(base, "margin_mm")
        column.separator()
        column.prop(base, "own_height")
        if base.own_height:
            column.prop(base, "height_mm")
        for name in ("embed_mm", "rounding_mm", "draft", "crown"):
            column.prop(base, name)
        if base.kind in SEEDED:
            column.prop(base, "seed")
        column.separator()
        column.prop(base, "text")
        if base.text:
            column.prop(base, "text_style")
        column.separator()
        column.prop(base, "funnel")
        sizes = column.column()
        sizes.active = base.funnel
        for name in ("mouth_mm", "neck_mm", "funnel_height_mm"):
            sizes.prop(base, name)


classes = (POURWRIGHT_PT_base,)
