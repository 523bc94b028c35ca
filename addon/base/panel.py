"""The panel of the sprue base."""

from __future__ import annotations

import bpy

from .. import ui
from ..stored import stored_plan
from .kinds import FACES, KINDS, NUMBERS, applies
from .settings import PourwrightBase

PICTURE_UNITS = 4.6  # width of the picture, in units of Blender's interface
POPUP_UNITS = 4.8


class POURWRIGHT_PT_base(ui.SidebarPanel, bpy.types.Panel):
    """The base the figure stands on, and the funnel under it."""

    bl_label = "Sprue Base"
    bl_order = 4

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings of base, text, socket and funnel, and how steadily it stands."""
        layout, base = self.layout, context.scene.pourwright.base
        layout.row().prop(base, "source", expand=True)
        if base.source == "OBJECT":
            _draw_object(context, layout, base)
        else:
            _draw_kind(context, layout, base)
            _draw_text(layout, base)
        _draw_socket(context, layout, base)
        _draw_funnel(layout, base)
        _draw_result(context, layout)


def _draw_kind(
    context: bpy.types.Context, layout: bpy.types.UILayout, base: PourwrightBase
) -> None:
    row = layout.row()
    picture = row.column()
    picture.template_icon_view(
        base, "picture", show_labels=True, scale=PICTURE_UNITS, scale_popup=POPUP_UNITS
    )
    named = row.column()
    named.prop(base, "kind", text="")
    ui.wrapped(context, named, KINDS[base.kind], share=0.5)
    column = ui.column(layout)
    column.prop(base, "size")
    if base.size == "CUSTOM":
        flat = applies(base.kind, "depth_mm")
        column.prop(base, "width_mm", text="Width" if flat else "Diameter")
        if flat:
            column.prop(base, "depth_mm")
    else:
        column.prop(base, "margin_mm")
    ui.optional(column, base, "own_height", "height_mm")
    own = getattr(base, base.kind)
    if NUMBERS[base.kind]:
        column.separator()
        for given in NUMBERS[base.kind]:
            column.prop(own, given.name)
    if applies(base.kind, "seed"):
        column.prop(base, "seed")
    column.separator()
    column.prop(base, "embed_mm")
    if applies(base.kind, "rounding_mm"):
        column.prop(base, "rounding_mm")
    column.prop(base, "draft")


def _draw_text(layout: bpy.types.UILayout, base: PourwrightBase) -> None:
    column = ui.column(layout)
    column.prop(base, "text")
    if not base.text:
        return
    if len(FACES[base.kind]) > 1:
        column.prop(getattr(base, base.kind), "text_face")
    column.prop(base, "text_style")
    column.prop(base, "text_depth_mm")
    ui.optional(column, base, "own_text_height", "text_height_mm")
    column.prop(base, "smallest_line_mm")


def _draw_object(
    context: bpy.types.Context, layout: bpy.types.UILayout, base: PourwrightBase
) -> None:
    column = ui.column(layout)
    column.prop(base, "body")
    if base.body is None:
        ui.wrapped(context, layout, "Choose a closed mesh; it stays as it is", "INFO")
    column.prop(base, "place")
    if base.place == "under":
        column.prop(base, "embed_mm")
    ui.optional(column, base, "own_cut", "cut_mm")


def _draw_socket(
    context: bpy.types.Context, layout: bpy.types.UILayout, base: PourwrightBase
) -> None:
    header, body = layout.panel("pourwright_socket", default_closed=True)
    header.use_property_split = False  # which the columns above have set on the panel
    header.prop(base, "socket", text="Socket for a Physical Figure")
    if body is None:
        return
    body.active = base.socket
    column = ui.column(body)
    column.prop(base, "clearance_mm")
    ui.optional(column, base, "own_socket_depth", "socket_depth_mm")
    column.prop(base, "socket_draft")


def _draw_funnel(layout: bpy.types.UILayout, base: PourwrightBase) -> None:
    header, body = layout.panel("pourwright_funnel", default_closed=False)
    header.use_property_split = False
    header.prop(base, "funnel")
    if body is None:
        return
    column = ui.column(body)
    if base.source == "KIND":
        column.prop(base, "crown")
    sizes = column.column()
    sizes.active = base.funnel
    for name in ("mouth_mm", "neck_mm", "funnel_height_mm", "head_mm"):
        sizes.prop(base, name)


def _draw_result(context: bpy.types.Context, layout: bpy.types.UILayout) -> None:
    plan = stored_plan(context.scene)
    if plan is None or "base" not in plan:
        return
    facts, box = plan["base"], layout.box().column(align=True)
    margin = facts["margin_mm"]
    if margin < 0:
        ui.value(box, "Falls Over By", ui.length(-margin), "ERROR")
    elif facts["stands_on"] == "wall":
        ui.value(box, "Hangs Straight By", ui.length(margin))
    else:
        ui.value(box, "Steady By", ui.length(margin))
    if facts["smallest_wall_mm"] is not None:
        ui.value(box, "Thinnest Part", ui.length(facts["smallest_wall_mm"]))
    if facts["cut"] is not None:
        ui.value(box, "Cut Off Below", ui.length(facts["cut"]["above_lowest_mm"]))
    funnel = plan["funnel"]
    if funnel is not None:
        ui.value(
            box, "Funnel Holds", f"{funnel['holds_mm3'] / 1000:.2f} ml",
            "NONE" if funnel["enough"] else "ERROR",
        )
        ui.value(box, "Funnel Needs", f"{funnel['needed_mm3'] / 1000:.2f} ml")
    if plan["socket"] is not None:
        ui.value(box, "Base With Socket", ui.volume(plan["socket"]["volume_mm3"]))


classes = (POURWRIGHT_PT_base,)
