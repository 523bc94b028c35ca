"""The panel of the mould."""

from __future__ import annotations

import bpy

from .. import task, ui
from ..stored import stored_plan
from .settings import PourwrightMould

KNIFE = (
    "Cut away from you, with the mould held in a jig and a cut-resistant glove on the other hand"
)
MOST_SPOTS, MOST_PLACES = 3, 5


class POURWRIGHT_PT_mould(ui.SidebarPanel, bpy.types.Panel):
    """The box, the rubber, and where the knife goes."""

    bl_label = "Mould"
    bl_order = 9

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings, the buttons and what was found."""
        layout, scene = self.layout, context.scene
        mould = scene.pourwright.mould
        _draw_box(layout, mould)
        _draw_cut(layout, mould)
        row = layout.row(align=True)
        row.operator("pourwright.plan_mould", icon="MOD_BUILD")
        row.operator("pourwright.solve_cut", icon="CURVE_PATH")
        plan = stored_plan(scene)
        if plan is None or plan.get("mould") is None:
            ui.wrapped(context, layout, "Make Master, then Plan Mould", "INFO")
            return
        ui.stale(context, layout, task.mould_stale(scene))
        _draw_rubber(context, layout, plan)
        _draw_places(context, layout, plan)


def _draw_box(layout: bpy.types.UILayout, mould: PourwrightMould) -> None:
    column = ui.column(layout)
    column.prop(mould, "silicone")
    column.prop(mould, "margin_percent")
    column.separator()
    column.prop(mould, "shape")
    for name in ("wall_mm", "cover_mm", "panel_material", "thickness_mm"):
        column.prop(mould, name)


def _draw_cut(layout: bpy.types.UILayout, mould: PourwrightMould) -> None:
    header, body = layout.panel("pourwright_cut", default_closed=True)
    header.label(text="Cut")
    if body is None:
        return
    column = ui.column(body)
    ui.optional(column, mould, "own_opening", "opening")
    column.prop(mould, "from_front")
    column.prop(mould, "hinge_mm")
    column.prop(mould, "register")
    if mould.register == "wavy cut":
        column.prop(mould, "amplitude_mm")
        column.prop(mould, "wavelength_mm")
    elif mould.register == "keys":
        column.prop(mould, "diameter_mm")
    column.prop(mould, "guide")
    if mould.guide != "none":
        column.prop(mould, "guide_width_mm")
        column.prop(mould, "guide_on_figure")


def _draw_rubber(context: bpy.types.Context, layout: bpy.types.UILayout, plan: dict) -> None:
    silicone, found = plan["silicone"], plan["mould"]
    box = layout.box().column(align=True)
    size = " x ".join(f"{c:.0f}" for c in found["box"]["inner_mm"])
    ui.value(box, "Tube Inside" if found["box"]["shape"] == "round" else "Box Inside", f"{size} mm")
    for panel in found["box"]["panels"]:
        name, _, how = panel["name"].title().partition(", ")
        size = f"{panel['width_mm']:.0f} x {panel['height_mm']:.0f} mm"
        ui.value(box, f"{panel['count']} x {name}", size)
        if how:  # beside the size there is no room for it
            box.label(text=how.replace(" And ", " and "), icon="BLANK1")
    for fit in found["fits"]:
        ui.wrapped(context, box, fit["message"], "CHECKMARK" if fit["fits"] else "ERROR")
    box = layout.box().column(align=True)
    ui.value(box, "Rubber in the Box", f"{silicone['volume_ml']:.0f} ml")
    ui.value(box, "To Mix", f"{silicone['to_mix_ml']:.0f} ml")
    ui.value(box, "A", f"{silicone['part_a_g']:.0f} g")
    ui.value(box, "B", f"{silicone['part_b_g']:.1f} g")
    ui.value(box, "Mixes", str(silicone["mixes"]))
    ui.value(box, "Cup at Least", f"{silicone['cup_ml']:.0f} ml")


def _draw_places(context: bpy.types.Context, layout: bpy.types.UILayout, plan: dict) -> None:
    found = plan["mould"]
    warts = [p for p in found["trapped_air"] if p["matters"]]
    header, body = layout.panel("pourwright_rubber_air", default_closed=False)
    places = "Place" if len(warts) == 1 else "Places"
    header.label(text=f"Air the Rubber Traps: {len(warts)} {places}")
    if body is not None:
        for pocket in warts[:MOST_PLACES]:
            text = f"{ui.volume(pocket['volume_mm3'])}: {pocket['advice']}"
            ui.wrapped(context, body, text, "DOT", pocket["peak_mm"])
        if len(warts) > MOST_PLACES:
            body.label(text=f"And {len(warts) - MOST_PLACES} Smaller")
    cut = found["cut_line"]
    box = layout.box().column(align=True)
    ui.value(box, "Cut All Round", f"{cut['length_mm']:.0f} mm")
    ui.value(box, "Openings to Slit", str(len(cut["slits_mm"])))
    reached = sum(rod["reached"] for rod in found["rods"])
    ui.value(box, "Rods the Cut Opens", f"{reached} of {len(found['rods'])}")
    for leaf in found["leaves"]:
        for spot in leaf["spots"][:MOST_SPOTS]:
            row = box.row()
            row.label(text=f"Stretch Over {ui.length(spot['undercut_mm'])}")
            ui.place_button(row, spot["at_mm"])
    for warning in plan["warnings"]:
        if warning["code"] in ("slits", "rods_tie", "cut_incomplete", "mould_too_big"):
            ui.wrapped(context, layout, warning["message"], "ERROR", warning["at_mm"])
    ui.wrapped(context, layout, KNIFE, "ERROR")


classes = (POURWRIGHT_PT_mould,)
