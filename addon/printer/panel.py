"""The panel of the print."""

from __future__ import annotations

import bpy

from pourwright.shop.printer import DEFAULT_PRINTER, PRINTERS

from .. import task, ui
from ..stored import stored_plan
from .settings import SIZES

BOX_SHARE = 0.93  # of the sidebar's width, for texts in a box
TOLD = ("first_layer_small", "not_one_body", "too_big", "wall_thin")


class POURWRIGHT_PT_print(ui.SidebarPanel, bpy.types.Panel):
    """Whether the master goes into the printer, and how large it is made."""

    bl_label = "Print"
    bl_order = 7

    def draw_header_preset(self, context: bpy.types.Context) -> None:
        """Draw the menu of presets."""
        ui.presets(self.layout, "printer")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the printer, the scale, and what was found."""
        layout, settings = self.layout, context.scene.pourwright.print
        column = ui.column(layout)
        column.prop(settings, "printer")
        column.prop(settings, "own_sizes")
        if settings.own_sizes:
            for name in SIZES:
                column.prop(settings, name)
        else:
            printer = PRINTERS.get(settings.printer, DEFAULT_PRINTER)
            rows = layout.column(align=True)
            ui.value(rows, "Room in mm", _sizes(printer.build_mm))
            ui.value(rows, "Smallest Wall", ui.length(printer.smallest_wall_mm))
        column = ui.column(layout)
        column.prop(settings, "scale_master")
        ui.optional(column, settings, "own_resin", "resin_percent")
        column.prop(settings, "rubber_percent")
        plan = stored_plan(context.scene)
        if plan is None or "print" not in plan:
            ui.wrapped(context, layout, "Make Master measures what is printed", "INFO")
            return
        ui.stale(context, layout, task.stale(context.scene))
        _draw_result(context, layout, plan)


def _draw_result(context: bpy.types.Context, layout: bpy.types.UILayout, plan: dict) -> None:
    found, scale = plan["print"], plan["scale"]
    box = layout.box().column(align=True)
    factor = f"{100 * scale['factor']:.2f} %"
    ui.value(box, "Master Made at" if scale["applied"] else "Shrinkage Asks For", factor)
    if found["fits"]:
        box.label(text=_how(found), icon="CHECKMARK")
    else:
        box.label(text="Too Big for the Printer", icon="ERROR")
    ui.value(box, "Size in mm", _sizes(found["size_mm"]))
    if found["cuts"]:
        for cut in found["cuts"]:
            row = box.row()
            row.label(text=f"Cut Here: {cut['area_mm2']:.0f} mm²")
            ui.place_button(row, cut["at_mm"])
    if found["thin_wall_mm"] is not None:
        ui.value(box, "Thinnest Wall", ui.length(found["thin_wall_mm"]))
    ui.value(box, "First Layer", f"{found['first_layer_mm2']:.0f} mm²")
    if found["bodies"] != 1:
        ui.value(box, "Separate Bodies", str(found["bodies"]), "ERROR")
    for warning in (w for w in plan["warnings"] if w["code"] in TOLD):
        ui.wrapped(
            context, box, warning["message"], "ERROR" if warning["open"] else "INFO",
            warning["at_mm"], share=BOX_SHARE,
        )


def _how(found: dict) -> str:
    if found["upright"] != "z":
        return "Fits Lying on Its Side"
    return f"Fits Turned by {found['turn_deg']:.0f}°" if found["turn_deg"] else "Fits As It Stands"


def _sizes(sizes_mm: tuple[float, ...]) -> str:
    return " x ".join(f"{size:.0f}" for size in sizes_mm)


classes = (POURWRIGHT_PT_print,)
