"""The reports of an air check and of a pour plan."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pourwright.plan.model import AirCheck, JudgedPocket, PourPlan
from pourwright.pose.model import PoseReport
from pourwright.report import sprue, text
from pourwright.report.mould import mould_lines
from pourwright.report.text import INDENT, figure
from pourwright.vents.settings import Vent

_MAX_ROWS = 30
_CAUTION = (
    "Resin parts can harm: isocyanates are sensitisers. Extraction, gloves, eye protection; stop",
    "for good if you wheeze. Follow the safety data sheets; this report cannot assess exposure.",
)


def air_report(check: AirCheck, names: Sequence[str]) -> str:
    """Return the report of an air check; `names` are the model files."""
    mattering = sum(p.matters for p in check.pockets)
    openings = ", ".join(text.place(p) for p in check.openings_mm) or "none"
    return text.joined(
        figure(check.figure, names),
        "",
        f"Pour     up {text.direction(check.up)}, process {check.process_name}: "
        f"{text.shrink(check.residual_factor)}",
        f"Open at  {openings}",
        "",
        _pocket_headline("Air pockets", check.pockets, check.visible_defect_mm),
        _pocket_table(check.pockets, ()),
        "",
        f"{text.count(mattering, 'pocket')} would leave a visible bubble."
        if mattering
        else "No pocket leaves a visible bubble.",
    )


def plan_report(
    plan: PourPlan,
    names: Sequence[str],
    files: Sequence[Path],
    poses: PoseReport | None = None,
) -> str:
    """Return the report of a pour plan; `names` are the model files, `files` were written.

    poses : the search whose best pose the plan uses, if there was one.
    """
    process, mix, master = plan.job.process, plan.resin, plan.master
    size = text.size(master.mesh)
    defect_mm = process.visible_defect_mm
    return text.joined(
        figure(plan.figure, names),
        "",
        f"Pour     up {text.direction(plan.up)}, {process.title}:",
        f"         {text.shrink(process.residual_factor)}",
        *(_found(poses) if poses else ()),
        f"Master   {size} with {sprue.base_name(plan)}, "
        f"{'watertight' if master.watertight else 'NOT watertight'}",
        *sprue.scale_lines(plan),
        *sprue.funnel_lines(plan),
        *sprue.print_lines(plan),
        "",
        _pocket_headline("Air pockets before venting", plan.pockets, defect_mm),
        _pocket_table(plan.pockets, plan.vents),
        "",
        sprue.gate_lines(plan.gates, plan.fill),
        "",
        f"Vents: {text.count(len(plan.vents), 'rod')} on the master"
        if plan.vents
        else "Vents: none",
        _vent_table(plan.vents),
        _piece_table(plan.vents),
        "",
        _rings(plan),
        "",
        _pocket_headline("Air pockets of the finished master", plan.pockets_after, defect_mm),
        _pocket_table(plan.pockets_after, ()),
        "",
        f"Resin: {mix.resin.title}",
        f"{INDENT}to pour {mix.poured_ml:9.1f} ml",
        f"{INDENT}to mix  {mix.to_mix_ml:9.1f} ml  (with {plan.job.margin * 100:.3g} % to spare)",
        f"{INDENT}part A  {text.grams(mix.part_a_g):>9} g   {mix.resin.part_a}",
        f"{INDENT}part B  {text.grams(mix.part_b_g):>9} g   {mix.resin.part_b}",
        f"{INDENT}Pot life {text.minutes(mix.resin.pot_life_min)}. The product's data sheet "
        "overrides these numbers.",
        *(f"{INDENT}{line}" for line in _CAUTION),
        "",
        mould_lines(plan.mould),
        "",
        _warnings(plan),
        *(("", "Written") if files else ()),
        *(f"{INDENT}{path}" for path in files),
    )


def _found(poses: PoseReport) -> Sequence[str]:
    """Say that the pour direction was searched for, and why it is the best."""
    why = ", ".join(poses.poses[0].reasons)
    return (f"         best of {len(poses.directions)} directions: {why}",)


def _pocket_headline(title: str, pockets: Sequence[JudgedPocket], defect_mm: float) -> str:
    if not pockets:
        return f"{title}: none"
    mattering = sum(p.matters for p in pockets)
    return (
        f"{title}: {len(pockets)}, of which {mattering or 'none'} "
        f"{'matters' if mattering == 1 else 'matter'} (bubble over {defect_mm:g} mm)"
    )


def _pocket_table(pockets: Sequence[JudgedPocket], vents: Sequence[Vent]) -> str:
    """Return one row per pocket in the plan's own numbering, the largest bubble first."""
    if not pockets:
        return ""
    serving: dict[int, list[str]] = {}
    for number, vent in enumerate(vents, start=1):
        for pocket in vent.serves:
            serving.setdefault(pocket, []).append(str(number))
    order = sorted(range(len(pockets)), key=lambda i: (-pockets[i].residual_diameter_mm, i))
    rows = []
    for i in order[:_MAX_ROWS]:
        p = pockets[i]
        row = [
            str(i + 1),
            *(f"{c:.1f}" for c in p.peak_mm),
            text.small(p.volume_mm3),
            f"{p.residual_diameter_mm:.2f}",
            "yes" if p.matters else "no",
        ]
        rows.append([*row, ", ".join(serving.get(i, ["-"]))] if vents else row)
    heads = ["no.", "x", "y", "z", "air mm3", "bubble mm", "matters"]
    table = text.table([*heads, "vent"] if vents else heads, rows, ">" * 8)
    left = len(order) - _MAX_ROWS
    return table + (f"\n{INDENT}... and {left} smaller ones" if left > 0 else "")


def _vent_table(vents: Sequence[Vent]) -> str:
    if not vents:
        return ""
    rows = [
        (
            str(number),
            v.kind,
            *(f"{c:.1f}" for c in v.path_mm[0]),
            f"{v.diameter_mm:.1f}",
            f"{v.length_mm:.1f}",
            f"{v.web_mm:.1f}",
            ", ".join(str(i + 1) for i in v.serves),
        )
        for number, v in enumerate(vents, start=1)
    ]
    heads = ("no.", "kind", "from x", "y", "z", "dia. mm", "length mm", "web mm", "pockets")
    return text.table(heads, rows, "><>>>>>>>")


def _piece_table(vents: Sequence[Vent]) -> str:
    """Return one row for each rod that is made of several pieces; the others are one length."""
    rows = [
        (
            str(number),
            " + ".join(f"{s:.1f}" for s in v.segments_mm),
            ", ".join(f"{a:.0f}" for a in v.joints_deg),
            f"{v.foot_angle_deg:.0f}",
            f"{v.end_angle_deg:.0f}",
        )
        for number, v in enumerate(vents, start=1)
        if len(v.path_mm) > 2
    ]
    if not rows:
        return ""
    heads = ("no.", "pieces mm", "bends deg", "cut at figure deg", "other end deg")
    return text.joined(
        f"{INDENT}Rods with joints; the angles are off straight and off square:",
        text.table(heads, rows, "><<>>"),
    )


def _rings(plan: PourPlan) -> str:
    """Return where rods close a loop of rubber, unless the warnings say so."""
    told = {w.message for w in plan.warnings}
    rows = [
        f"{INDENT}vent {r.vent + 1}: {text.placed(r.message, r.cut_at_mm)}"
        for r in plan.rings
        if r.message not in told
    ]
    return text.joined("Loops of rubber to slit", *rows) if rows else ""


def _warnings(plan: PourPlan) -> str:
    if not plan.warnings:
        return ""
    return text.joined(
        "Warnings",
        *(
            f"{INDENT}{'TO DECIDE: ' if w.open else ''}{text.placed(w.message, w.at_mm)}"
            for w in plan.warnings
        ),
    )
