"""The panel of the quantities."""

from __future__ import annotations

import bpy

from .. import task, ui
from ..stored import stored_plan
from . import materials

SAFETY = (
    "Isocyanates are sensitisers and can cause asthma. Ventilate, wear gloves and eye protection, "
    "and follow the safety data sheet"
)
PARTS = (("figure", "Figure"), ("base", "Base"), ("vents", "Vents"), ("gates", "Gates"),
         ("funnel", "Funnel"))


class POURWRIGHT_PT_quantities(ui.SidebarPanel, bpy.types.Panel):
    """How much resin to weigh out."""

    bl_label = "Quantities"
    bl_order = 8

    def draw_header_preset(self, context: bpy.types.Context) -> None:
        """Draw the menu of presets."""
        ui.presets(self.layout, "materials")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the material, the volumes and the masses."""
        layout, scene = self.layout, context.scene
        mix = scene.pourwright.quantities
        column = ui.column(layout)
        kind = column.column()
        kind.active = not mix.own
        kind.prop(mix, "material")
        ui.optional(column, mix, "own", "own_name")
        wrong = materials.known() if mix.own else {}
        if isinstance(wrong, str):
            ui.wrapped(context, layout, wrong, "ERROR")
        if mix.own:
            layout.operator("pourwright.open_materials", icon="FILE_FOLDER")
        column.prop(mix, "margin_percent")
        plan = stored_plan(scene)
        if plan is None:
            ui.wrapped(context, layout, "Make Master works out the quantities", "INFO")
        else:
            ui.stale(context, layout, task.stale(scene))
            self._draw_plan(layout, plan)
        ui.wrapped(context, layout, SAFETY, "ERROR")

    def _draw_plan(self, layout: bpy.types.UILayout, plan: dict) -> None:
        box = layout.box().column(align=True)
        volumes = plan["master"]["parts_mm3"]
        for key, label in PARTS:
            if volumes.get(key):
                ui.value(box, label, _ml(volumes[key] / 1000.0))
        shared = plan["master"].get("overlap_mm3", 0.0)
        if shared >= 5.0:
            ui.value(box, "Shared by Parts", f"-{_ml(shared / 1000.0)}")
        resin = plan["resin"]
        ui.value(box, "Poured", _ml(resin["poured_ml"]))
        box = layout.box().column(align=True)
        ui.value(box, "To Mix", _ml(resin["to_mix_ml"]))
        for key, letter in (("part_a", "A"), ("part_b", "B")):
            ui.value(box, f"{letter}: {resin[key]}", f"{resin[f'{key}_g']:.1f} g")


def _ml(ml: float) -> str:
    return f"{ml:.2f} ml" if ml < 10 else f"{ml:.1f} ml"


classes = (POURWRIGHT_PT_quantities,)
