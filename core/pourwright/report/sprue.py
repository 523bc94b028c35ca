"""What the report of a plan says of base, gates, funnel and print."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from pourwright.gates.settings import FillTime, Gate
from pourwright.plan.model import PourPlan
from pourwright.report import text
from pourwright.report.text import INDENT

_WIDTH = 100


def base_name(plan: PourPlan) -> str:
    """Return what the master stands on."""
    return "a base of your own" if plan.own_base else plan.job.base.kind.replace("_", " ")


def scale_lines(plan: PourPlan) -> Sequence[str]:
    """Return how much larger the master is, or would have to be."""
    scale = plan.scale
    resin = "unknown" if scale.resin is None else f"{100 * scale.resin:.3g} %"
    shrinks = f"resin shrinks by {resin}, rubber by {100 * scale.rubber:.3g} %"
    if scale.applied:
        return (f"{INDENT}{scale.factor:.4f} times as large as the figure: {shrinks}",)
    return (
        f"{INDENT}not scaled: {shrinks},",
        f"{INDENT}so for casts of the figure's size it would be {scale.factor:.4f} times as large",
    )


def gate_lines(gates: Sequence[Gate], fill: FillTime) -> str:
    """Return the gates, and how long the cavity takes to fill."""
    rows = [
        (
            str(number),
            *(f"{c:.1f}" for c in gate.path_mm[0]),
            f"{gate.diameter_mm:.1f}",
            f"{gate.length_mm:.1f}",
            f"{gate.feeds.volume_mm3 / 1000:.2f}",
            "never" if gate.feeds.time_s is None else f"{gate.feeds.time_s:.0f} s",
            f"{gate.fill_time_s:.0f} s",
            f"{gate.reynolds:.0f}",
        )
        for number, gate in enumerate(gates, start=1)
    ]
    heads = ("no.", "from x", "y", "z", "dia. mm", "length mm", "feeds ml", "without", "with",
             "Reynolds")  # fmt: skip
    return text.joined(
        f"Gates: {text.count(len(gates), 'rod')} on the master" if gates else "Gates: none",
        text.table(heads, rows, ">" * len(heads)) if rows else "",
        *_fill(fill),
        *(line for gate in gates for line in _notes(gate.notes)),
    )


def _fill(fill: FillTime) -> Sequence[str]:
    if fill.slowest_s is None or fill.neck is None:
        return (f"{INDENT}a part of the cavity gets no resin",)
    neck = fill.neck
    return (
        f"{INDENT}all full after {fill.slowest_s:.0f} s of the {fill.limit_s:.0f} s allowed",
        f"{INDENT}held up by a neck of {neck.diameter_mm:.1f} mm at {text.place(neck.at_mm)}, "
        f"Reynolds number up to {fill.reynolds:.2g}, "
        f"{'laminar' if fill.laminar else 'NOT laminar'}",
        *_notes(fill.notes),
    )


def _notes(notes: Sequence[str]) -> Sequence[str]:
    return [line for note in notes for line in _wrapped(f"note: {note}")]


def funnel_lines(plan: PourPlan) -> Sequence[str]:
    """Return what the funnel has to hold and holds."""
    check = plan.funnel_check
    if check is None:
        return ("Funnel   none, the underside is open",)
    return (
        f"Funnel   holds {check.holds_mm3 / 1000:.2f} ml, needs {check.needed_mm3 / 1000:.2f} ml",
    )


def print_lines(plan: PourPlan) -> Sequence[str]:
    """Return how what is printed goes into the printer."""
    ready, what = plan.ready, "Base with its socket" if plan.socket else "Master"
    room = " x ".join(f"{size:g}" for size in ready.printer.build_mm)
    assumed = ", assumed" if plan.job.printer is None else ""
    how = "does not fit"
    if ready.fit.fits:
        lying = "as it stands" if ready.fit.upright == "z" else f"lying, {ready.fit.upright} up"
        turned = f", turned by {ready.fit.turn_deg:.0f} deg" if ready.fit.turn_deg else ""
        how = f"fits {lying}{turned}"
    return (f"Print    {what} {how}: {ready.printer.title}{assumed}, {room} mm",)


def _wrapped(words: str) -> list[str]:
    return textwrap.wrap(words, _WIDTH, initial_indent=INDENT, subsequent_indent=INDENT * 2)
