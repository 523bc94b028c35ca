"""The panel of the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

import bpy

from .. import task, ui
from . import log
from .run import bench_run
from .settings import MINUTES, SHOP, VESSELS, WEAR, PourwrightBench, PourwrightEntry, mark_error

if TYPE_CHECKING:
    from pourwright.files.log import Pour
    from pourwright.shop.bench import BenchPlan
    from pourwright.shop.clock import Step

MAX_MIXES, MAX_POURS, MAX_BUBBLES, MAX_ROWS = 4, 3, 5, 4
PLACES = ("mixing", "vacuum", "pressure")  # of cautions; the rubber's are in Mould
BOX_SHARE = 0.93  # of the sidebar's width, for texts in a box


class POURWRIGHT_UL_bubbles(bpy.types.UIList):
    """Bubbles of the pour with their sizes."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one bubble."""
        row = layout.split(factor=0.5)
        row.label(text=_place(item.place_mm))
        row = row.row(align=True)
        row.prop(item, "size_mm", text="")
        ui.place_button(row, item.place_mm)


class POURWRIGHT_PT_bench(ui.SidebarPanel, bpy.types.Panel):
    """Mixes, the clock, vessels and cost of a run, and the log of pours."""

    bl_label = "Bench"
    bl_order = 10

    def draw_header_preset(self, context: bpy.types.Context) -> None:
        """Draw the menu of presets."""
        ui.presets(self.layout, "shop")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings, the run and the log."""
        layout, scene = self.layout, context.scene
        bench = scene.pourwright.bench
        run = bench_run(scene)
        _draw_settings(layout, bench)
        wrong = mark_error(bench)
        if wrong and (run is None or not run.error):
            ui.wrapped(context, layout, f"Marked Maximum: {wrong}", "ERROR")
        if run is None:
            ui.wrapped(context, layout, "Make Master works out what a run of casts takes", "INFO")
        else:
            ui.stale(context, layout, task.stale(scene))
            if run.plan is None:
                box = layout.box()
                box.alert = True
                ui.wrapped(context, box, run.error, "ERROR", share=BOX_SHARE)
            else:
                _draw_mixes(layout, run.plan)
                _draw_clock(context, layout, run.plan)
                _draw_cost(layout, run.plan)
                _draw_cautions(context, layout, run.plan)
        _draw_log(context, layout, bench.entry)


def _draw_settings(layout: bpy.types.UILayout, bench: PourwrightBench) -> None:
    column = ui.column(layout)
    column.prop(bench, "casts")
    column.prop(bench, "moulds")
    for name in SHOP:
        column.prop(bench, name)
    ui.optional(column, bench, "use_cup", "cup_ml")
    body = _folded(layout, "pourwright_minutes", "Minutes")
    if body is not None:
        for name in MINUTES:
            body.prop(bench, name)
    body = _folded(layout, "pourwright_vessels", "Vessels")
    if body is not None:
        body.prop(bench, "pot_marked_most")
        for kind in VESSELS:
            body.prop(bench, f"use_{kind}")
            sizes = body.column(align=True)
            sizes.active = getattr(bench, f"use_{kind}")
            sizes.prop(bench, f"{kind}_diameter_mm")
            sizes.prop(bench, f"{kind}_height_mm")
    body = _folded(layout, "pourwright_prices", "Prices and Wear")
    if body is not None:
        ui.optional(body, bench, "use_resin_price", "resin_price")
        ui.optional(body, bench, "use_mould_price", "mould_price")
        for name in WEAR:
            body.prop(bench, name)


def _folded(layout: bpy.types.UILayout, name: str, label: str) -> bpy.types.UILayout | None:
    header, body = layout.panel(name, default_closed=True)
    header.label(text=label)
    return None if body is None else ui.column(body)


def _draw_mixes(layout: bpy.types.UILayout, plan: BenchPlan) -> None:
    box = layout.box().column(align=True)
    ui.value(box, "Mixes", str(plan.mixes.count))
    ui.value(box, "One Mix in Time", count(plan.capacity.casts, "Mould"))
    for mix in plan.mixes.mixes[:MAX_MIXES]:
        label = f"{mix.times} x {count(mix.count, 'Cast')}"
        step = plan.settings.mix.scale_step_g
        a, b = (grams(m, step) for m in (mix.weighing.part_a_g, mix.weighing.part_b_g))
        ui.value(box, label, f"A {a} + B {b} g")
    left = sum(mix.times for mix in plan.mixes.mixes[MAX_MIXES:])
    if left:
        box.label(text=f"and {count(left, 'other mix', 'es')}")
    off = max((m.weighing.ratio_error for m in plan.mixes.mixes), key=abs)
    ui.value(box, "Ratio Off by", f"{100 * abs(off):.2f} %")
    if plan.settings.clock.degas_min > 0:
        cup_ml = max(mix.cup_ml for mix in plan.mixes.mixes)
        ui.value(box, "Degassing Cup at Least", f"{cup_ml:.0f} ml")


def _draw_clock(
    context: bpy.types.Context, layout: bpy.types.UILayout, plan: BenchPlan
) -> None:
    box = layout.box().column(align=True)
    life, celsius = plan.pot_life, plan.settings.clock.temperature_c
    ui.value(box, f"Pot Life at {celsius:g} °C", minutes(life.minutes))
    if life.longest_min - life.shortest_min > 5e-3:
        band = f"{minutes(life.shortest_min)} to {minutes(life.longest_min)}"
        ui.value(box, "Somewhere in", band)
    tight = [step for step in plan.steps if step.tight]
    if not tight:
        box.label(text="No Step Is Tight", icon="CHECKMARK")
    for step in tight:
        ui.wrapped(context, box, told(step), "ERROR" if step.late else "TIME", share=BOX_SHARE)
    if plan.demould_min is not None:
        ui.value(box, "Demould After", minutes(plan.demould_min))
    if plan.day.rounds is not None:
        ui.value(box, "Mixes a Day", str(plan.day.rounds))
        ui.value(box, "Days", str(plan.day.days))


def _draw_cost(layout: bpy.types.UILayout, plan: BenchPlan) -> None:
    box = layout.box().column(align=True)
    for use in plan.moulds:
        ui.value(box, "Casts Left", str(use.left))
    cost = plan.cost
    for label, part in (("Resin", cost.resin), ("Mould", cost.mould), ("Cast", cost.total)):
        if part is not None:
            ui.value(box, f"{label} Costs" if label == "Cast" else f"{label} for a Cast",
                     f"{part:.2f}")  # fmt: skip


def _draw_cautions(
    context: bpy.types.Context, layout: bpy.types.UILayout, plan: BenchPlan
) -> None:
    from pourwright.shop.cautions import cautions_for

    for note in plan.notes:
        if note.code != "tight":  # the clock above says which steps are
            ui.wrapped(context, layout, note.message, "ERROR" if note.open else "INFO")
    if plan.stored_energy_j:
        text = (
            f"The air in the pot holds {plan.stored_energy_j / 1000:.3g} kJ under pressure: "
            "nothing here says that a vessel is safe"
        )
        ui.wrapped(context, layout, text, "ERROR")
    for caution in cautions_for(plan.resin, plan.process, plan.ambient_pa, tin=False):
        if caution.place in PLACES:
            ui.wrapped(context, layout, f"{caution.hazard}: {short(caution.words)}", "ERROR")


def _draw_log(
    context: bpy.types.Context, layout: bpy.types.UILayout, entry: PourwrightEntry
) -> None:
    body = _folded(layout, "pourwright_log", "Pour Log")
    if body is None:
        return
    for name in ("casts", "temperature_c", "used", "note"):
        body.prop(entry, name)
    row = body.row(align=True)
    row.operator("pourwright.add_bubble", icon="ADD")
    row.operator("pourwright.remove_bubble", text="", icon="REMOVE")
    if entry.bubbles:
        rows = min(len(entry.bubbles), MAX_ROWS)
        body.template_list(
            "POURWRIGHT_UL_bubbles", "", entry, "bubbles", entry, "active_bubble",
            rows=rows, maxrows=rows,
        )
        chosen = entry.bubbles[min(entry.active_bubble, len(entry.bubbles) - 1)]
        (text,) = log.near(context.scene, [tuple(chosen.place_mm)])
        if text:
            ui.wrapped(context, body, text, "INFO")
    body.operator("pourwright.record_pour", icon="GREASEPENCIL")
    if log.path() is None:
        ui.wrapped(context, body, "Save the .blend file: the log lies beside it", "INFO")
        return
    shown = log.shown()
    if shown.log is None:
        ui.wrapped(context, body, shown.error, "ERROR")
        return
    if shown.log.damaged:
        lines = count(len(shown.log.damaged), "line")
        ui.wrapped(context, body, f"{lines} of the log cannot be read; nothing is lost", "ERROR")
    if shown.log.pours:
        pours, casts = len(shown.log.pours), shown.log.casts
        body.label(text=f"{count(pours, 'Pour')}, {count(casts, 'Cast')} So Far")
    for pour in shown.log.pours[::-1][:MAX_POURS]:
        _draw_pour(context, body.box().column(align=True), pour)


def _draw_pour(context: bpy.types.Context, box: bpy.types.UILayout, pour: Pour) -> None:
    box.label(text=f"{pour.when[:16].replace('T', ' ')}, {count(pour.casts, 'Cast')}")
    facts = [*pour.materials.values()]
    if pour.temperature_c is not None:
        facts.append(f"{pour.temperature_c:g} °C")
    for text in (", ".join(facts), pour.note):
        if text:
            ui.wrapped(context, box, text, share=BOX_SHARE)
    if not pour.bubbles:
        box.label(text="No Bubbles", icon="CHECKMARK")
    few = pour.bubbles[:MAX_BUBBLES]
    for bubble, words in zip(few, log.near(context.scene, [b.at_mm for b in few]), strict=True):
        size = "" if bubble.diameter_mm is None else f" of {ui.length(bubble.diameter_mm)}"
        text = f"Bubble{size}" + (f": {words}" if words else "")
        ui.wrapped(context, box, text, "DOT", bubble.at_mm, share=BOX_SHARE)
    if len(pour.bubbles) > MAX_BUBBLES:
        box.label(text=f"and {len(pour.bubbles) - MAX_BUBBLES} more")


def told(step: Step) -> str:
    """Return a tight step in words."""
    until = f"{minutes(step.start_min)} to {minutes(step.end_min)}"
    return f"{'Too late' if step.late else 'Tight'}: {step.words}, {until}"


def short(words: str) -> str:
    """Return the first two sentences of a caution; the pour sheet has it in full."""
    return ". ".join(words.rstrip(".").split(". ")[:2])


def minutes(value: float) -> str:
    """Return a time for people."""
    return f"{value:.3g} min" if abs(value) < 120 else f"{value / 60:.3g} h"


def grams(mass_g: float, step_g: float) -> str:
    """Return a mass as the scale shows it: with the digits of its step."""
    digits = f"{step_g:.4f}".rstrip("0").partition(".")[2]
    return f"{mass_g:.{len(digits)}f}"


def count(number: int, what: str, plural: str = "s") -> str:
    """Return a number of things."""
    return f"{number} {what}{'' if number == 1 else plural}"


def _place(place_mm: tuple[float, float, float]) -> str:
    return ", ".join(f"{c:.0f}" for c in place_mm)


classes = (POURWRIGHT_UL_bubbles, POURWRIGHT_PT_bench)
