"""The report of the bench: what to weigh out, the clock, the day and the cost."""

from __future__ import annotations

from pourwright.report import text
from pourwright.report.text import INDENT
from pourwright.shop.bench import BenchPlan
from pourwright.shop.cautions import cautions_for

_MOST_MIXES = 12


def bench_report(plan: BenchPlan) -> str:
    """Return the run of casts as short tables."""
    life, celsius = plan.pot_life, plan.settings.clock.temperature_c
    band = ""
    if life.longest_min - life.shortest_min > 5e-3:
        band = f" ({text.minutes(life.shortest_min)} to {text.minutes(life.longest_min)})"
    count, mixes = text.count, plan.mixes.count
    return text.joined(
        f"Resin    {plan.resin.title}",
        f"Pour     {plan.process.title}",
        f"Pot life {text.minutes(life.minutes)} at {celsius:g} C{band}; one mix fills "
        f"{count(plan.capacity.casts, 'mould')} in time",
        "",
        f"{count(plan.mixes.casts, 'cast')} in {mixes} {'mix' if mixes == 1 else 'mixes'}",
        _mixes(plan),
        f"{INDENT}all: {plan.mixes.part_a_g:.1f} g of A, {plan.mixes.part_b_g:.1f} g of B",
        "",
        "Clock, minutes after the parts meet",
        _clock(plan),
        "",
        *_day(plan),
        "",
        *(f"{'TO DECIDE: ' if n.open else 'Note: '}{n.message}" for n in plan.notes),
        "",
        *(
            f"{c.hazard}: {c.words}"
            for c in cautions_for(plan.resin, plan.process, plan.ambient_pa, tin=False)
            if c.place in ("mixing", "vacuum", "pressure")
        ),
        "The product's data sheet overrides these numbers.",
    )


def _mixes(plan: BenchPlan) -> str:
    rows = [
        (
            f"{m.times} x",
            ", ".join(f"{number} {name}" for name, number in m.casts),
            f"{m.to_mix_ml:.1f}",
            f"{m.weighing.part_a_g:.10g}",
            f"{m.weighing.part_b_g:.10g}",
            "-" if m.weighing.part_a_ml is None else f"{m.weighing.part_a_ml:.1f}",
            "-" if m.weighing.part_b_ml is None else f"{m.weighing.part_b_ml:.1f}",
            f"{m.weighing.ratio_error * 100:+.2f}",
            f"{m.cup_ml:.0f}",
        )
        for m in plan.mixes.mixes[:_MOST_MIXES]
    ]
    heads = ("", "casts", "ml", "A g", "B g", "A ml", "B ml", "ratio off %", "degas cup ml")
    left = len(plan.mixes.mixes) - _MOST_MIXES
    more = f"\n{INDENT}... and {left} other mixes" if left > 0 else ""
    return text.table(heads, rows, "><>>>>>>>") + more


def _clock(plan: BenchPlan) -> str:
    rows = [
        (
            f"{s.start_min:.2f}",
            f"{s.end_min:.2f}",
            "TOO LATE" if s.late else "tight" if s.tight else "",
            s.words,
        )
        for s in plan.steps
    ]
    return text.table(("from", "to", "", "do"), rows, ">><<")


def _day(plan: BenchPlan) -> list[str]:
    day, lines = plan.day, []
    if day.rounds is not None and day.days is not None:
        lines.append(
            f"A day of {plan.settings.day.day_h:g} h: {text.count(day.rounds, 'round')}; this run "
            f"takes {text.count(day.days, 'day')}"
        )
    lines += [
        f"{u.name}: {text.count(u.left, 'cast')} left in {text.count(u.moulds, 'mould')}"
        for u in plan.moulds
    ]
    cost = plan.cost
    if cost.total is not None:
        lines.append(
            f"A cast costs {cost.total:.2f}: resin {cost.resin:.2f}, mould {cost.mould:.2f}"
        )
    elif cost.resin is not None:
        lines.append(f"Resin for a cast costs {cost.resin:.2f}")
    return lines
