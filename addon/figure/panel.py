"""The top of the sidebar, and the figure's panel."""

from __future__ import annotations

from typing import ClassVar

import bpy

from .. import ui
from ..base.settings import missing_base
from ..bridge import bounds_mm, in_scene
from ..running import busy, current
from ..translations import say
from . import hints
from .settings import chosen, usable

SMALL_MM, LARGE_MM = 3.0, 1000.0
MAX_FINDINGS = 6
MAX_ROWS = 5


class POURWRIGHT_UL_parts(bpy.types.UIList):
    """Objects of the figure."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one object, and whether it is still there."""
        obj, row = item.object, layout.row(align=True)
        if in_scene(obj, context.scene):
            row.label(text=obj.name, icon=f"OUTLINER_OB_{obj.type}", translate=False)
        else:
            row.alert = True
            name = obj.name if obj else say("Object")
            row.label(text=say("{name} Is Gone", name=name), icon="ERROR", translate=False)
        row.operator("pourwright.remove_part", text="", icon="X", emboss=False).index = index


class POURWRIGHT_PT_main(ui.SidebarPanel, bpy.types.Panel):
    """The button that does it all, progress, and what the last run said."""

    bl_label = "Pourwright"
    bl_order = 0
    bl_options: ClassVar[set[str]] = {"HIDE_HEADER"}

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the button or the progress, then the message."""
        layout = self.layout
        if busy():
            job = current.job
            layout.label(text=current.title)
            row = layout.row(align=True)
            row.scale_y = 1.4
            row.progress(factor=job.fraction, text=f"{job.fraction:.0%}")
            row.operator("pourwright.stop", text="", icon="X")
            layout.label(text=job.text)
            return
        row = layout.row()
        row.scale_y = 1.6
        row.operator("pourwright.make_master", icon="MOD_FLUIDSIM")
        message = context.window_manager.pourwright_message
        if message.kind != "NONE":
            icon = "ERROR" if message.kind == "ERROR" else "INFO"
            place = message.place_mm if message.has_place else None
            ui.wrapped(context, layout, message.text, icon, place)
        self._draw_next(context, layout, message.kind == "ERROR")

    def _draw_next(
        self, context: bpy.types.Context, layout: bpy.types.UILayout, failed: bool
    ) -> None:
        """Draw what to do now; after a failure only what the button is grey for."""
        if context.mode != "OBJECT":
            ui.wrapped(context, layout, say("Switch to Object Mode first"), "INFO")
            layout.operator("object.mode_set", text="Object Mode", icon="OBJECT_DATAMODE").mode = (
                "OBJECT"
            )
            return
        lacking = hints.missing(context) or missing_base(context.scene)
        if lacking:
            ui.wrapped(context, layout, lacking, "INFO")
            if hints.empty(context):
                layout.operator("pourwright.add_example", icon="MESH_DATA")
            return
        lines = hints.told(context.scene) or [(hints.ready(context), "INFO")]
        for text, icon in [] if failed else lines:
            ui.wrapped(context, layout, text, icon)
        # Else Make Master would make the figure of before once more, and nothing would say why.
        other = hints.other(context)
        if other:
            ui.wrapped(context, layout, other, "INFO")


class POURWRIGHT_PT_figure(ui.SidebarPanel, bpy.types.Panel):
    """Which objects are cast, and how big they are."""

    bl_label = "Figure"
    bl_order = 1

    def draw(self, context: bpy.types.Context) -> None:
        """Draw objects, unit, size and findings."""
        layout, figure = self.layout, context.scene.pourwright.figure
        if figure.parts:
            rows = min(len(figure.parts), MAX_ROWS)
            layout.template_list(
                "POURWRIGHT_UL_parts", "", figure, "parts", figure, "active_part",
                rows=rows, maxrows=rows,
            )
        layout.operator("pourwright.use_selected", icon="RESTRICT_SELECT_OFF")
        column = ui.column(layout)
        column.prop(figure, "unit")
        self._draw_size(context, layout.column(align=True))
        self._draw_protected(context, layout)
        if figure.checked:
            results = layout.column(align=True)
            ui.value(results, "Volume", ui.volume(figure.volume_mm3))
            ui.value(results, "Shells United", str(figure.shells))
            self._draw_findings(context, layout, figure.findings)

    def _draw_size(self, context: bpy.types.Context, layout: bpy.types.UILayout) -> None:
        bounds = bounds_mm(context, chosen(context.scene) or usable(context))
        if bounds is None:
            return
        low, high = bounds
        width, depth, height = (float(c) for c in high - low)
        ui.value(layout, "Height", ui.length(height))
        digits = 1 if max(width, depth) < LARGE_MM else 0
        said = say("{width} by {depth} mm",
                   width=f"{width:.{digits}f}", depth=f"{depth:.{digits}f}")  # fmt: skip
        ui.value(layout, "Width by Depth", said)
        if not SMALL_MM <= height <= LARGE_MM:
            box = layout.box()
            box.alert = True
            if height < SMALL_MM:
                said = say("Very small for a casting: check Unit and the object's scale")
            else:
                said = say("Very large for a casting: check Unit and the object's scale")
            ui.wrapped(context, box, said, "ERROR")

    def _draw_protected(self, context: bpy.types.Context, layout: bpy.types.UILayout) -> None:
        objects = chosen(context.scene)
        if not objects:
            return
        name = context.scene.pourwright.figure.protect
        ui.column(layout).prop(
            context.scene.pourwright.figure, "protect", text="Protected"
        )
        having = sum(name in obj.vertex_groups for obj in objects)
        if context.mode == "PAINT_WEIGHT":
            layout.operator(
                "object.mode_set", text="Back to Object Mode", icon="OBJECT_DATAMODE"
            ).mode = "OBJECT"
        else:
            layout.operator("pourwright.paint_protected", icon="WPAINT_HLT")
        said = say("Group on {n} of {all} Objects", n=having, all=len(objects))
        layout.label(text=said, icon="GROUP_VERTEX", translate=False)

    def _draw_findings(
        self, context: bpy.types.Context, layout: bpy.types.UILayout, findings: object
    ) -> None:
        for found in findings[:MAX_FINDINGS]:
            place = found.place_mm if found.has_place else None
            ui.wrapped(context, layout, found.text, "INFO", place)
        if len(findings) > MAX_FINDINGS:
            said = say("And {n} More", n=len(findings) - MAX_FINDINGS)
            layout.label(text=said, translate=False)


classes = (POURWRIGHT_UL_parts, POURWRIGHT_PT_main, POURWRIGHT_PT_figure)
