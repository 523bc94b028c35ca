"""The panel of the gates."""

from __future__ import annotations

import bpy

from .. import task, ui
from ..bridge import in_scene
from ..stored import stored_plan
from .settings import PourwrightGates

MAX_ROWS = 5
SHARES = (0.34, 0.2, 0.2, 0.26)  # of a row's width
BOX_SHARE = 0.93  # of the sidebar's width, for texts in a box
BLOCKED = ("gate_blocked", "no_feed", "fill_slow")


class POURWRIGHT_UL_gates(bpy.types.UIList):
    """Gates with their diameters, lengths and fill times."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one gate."""
        if not in_scene(item.object, context.scene):
            layout.alert = True
            ui.cells(layout, SHARES, (f"{index + 1}  Gone", "", "", ""))
            return
        full = "?" if data.by_hand else _time(item.fill_time_s)
        sizes = f"{item.diameter_mm:.1f}", f"{item.length_mm:.1f}"
        ui.cells(layout, SHARES, (f"{index + 1}  Gate", *sizes, full))


class POURWRIGHT_PT_gates(ui.SidebarPanel, bpy.types.Panel):
    """Rods that feed what the base does not feed in time."""

    bl_label = "Gates"
    bl_order = 5

    def draw_header(self, context: bpy.types.Context) -> None:
        """Draw the switch."""
        self.layout.prop(context.scene.pourwright.gates, "enabled", text="")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the rules, the gates and how the cavity fills."""
        layout, gates = self.layout, context.scene.pourwright.gates
        column = ui.column(layout)
        column.prop(gates, "share_percent")
        rules = column.column()
        rules.active = gates.enabled
        for name in ("least_mm", "most_mm", "most_gates", "web_mm", "slope"):
            rules.prop(gates, name)
        header, body = layout.panel("pourwright_gate_ends", default_closed=True)
        header.label(text="Ends and Routing")
        if body is not None:
            column = ui.column(body)
            column.active = gates.enabled
            for name in ("neck_percent", "neck_length_mm", "overlap_mm", "grid_mm"):
                column.prop(gates, name)
        plan = stored_plan(context.scene)
        if plan is None or "fill" not in plan:
            ui.wrapped(context, layout, "Make Master finds what fills too slowly", "INFO")
            return
        ui.stale(context, layout, task.stale(context.scene))
        self._draw_rods(context, layout, gates)
        if gates.by_hand:
            ui.wrapped(
                context, layout,
                "These gates are as you made them; the times below are those without any", "INFO",
            )
        self._draw_fill(context, layout, plan)

    def _draw_rods(
        self, context: bpy.types.Context, layout: bpy.types.UILayout, gates: PourwrightGates
    ) -> None:
        if not gates.rods:
            layout.label(text="No Gates", icon="DOT")
            return
        ui.cells(layout.row(), SHARES, ("Gate", "Ø mm", "mm", "Full After"))
        rows = min(len(gates.rods), MAX_ROWS)
        layout.template_list(
            "POURWRIGHT_UL_gates", "", gates, "rods", gates, "active_gate",
            rows=rows, maxrows=rows,
        )
        chosen = gates.rods[min(gates.active_gate, len(gates.rods) - 1)]
        facts = layout.column(align=True)
        if not gates.by_hand:
            ui.value(facts, "Feeds", ui.volume(chosen.volume_mm3))
            ui.value(facts, "Reynolds Number", f"{chosen.reynolds:.3g}")
        ui.value(facts, "Web", ui.length(chosen.web_mm))
        for note in filter(None, chosen.notes.split("\n")):
            ui.wrapped(context, layout, note, "INFO")

    def _draw_fill(
        self, context: bpy.types.Context, layout: bpy.types.UILayout, plan: dict
    ) -> None:
        fill, box = plan["fill"], layout.box().column(align=True)
        slowest = -1.0 if fill["slowest_s"] is None else fill["slowest_s"]
        icon = "CHECKMARK" if fill["in_time"] else "ERROR"
        ui.value(box, "All Full After", _time(slowest), icon)
        ui.value(box, "Has to Be Full in", _time(fill["limit_s"]))
        if fill["reynolds"] is not None:
            ui.value(box, "Reynolds Number", f"{fill['reynolds']:.3g}")
        if fill["neck"] is not None:
            row = box.row()
            row.label(text=f"Slowest Through {ui.length(fill['neck']['diameter_mm'])}")
            ui.place_button(row, fill["neck"]["at_mm"])
        for note in fill["notes"]:
            ui.wrapped(context, box, note, "INFO", share=BOX_SHARE)
        for warning in (w for w in plan["warnings"] if w["code"] in BLOCKED):
            ui.wrapped(
                context, box, warning["message"], "ERROR", warning["at_mm"], share=BOX_SHARE
            )


def _time(seconds: float) -> str:
    if seconds < 0:
        return "Never"
    if seconds < 0.1:
        return "< 0.1 s"
    return f"{seconds:.1f} s" if seconds < 100 else f"{seconds / 60:.1f} min"


classes = (POURWRIGHT_UL_gates, POURWRIGHT_PT_gates)
