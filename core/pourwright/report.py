"""Reports for people: what was found and what to weigh out, as short plain-text tables.

People count from 1, so pockets and vents have one more here than in plan.json.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from pourwright.errors import Point
from pourwright.plan.model import AirCheck, JudgedPocket, PourPlan
from pourwright.shop.resin import Resin, weight_ratio
from pourwright.solid.mesh import TriMesh
from pourwright.solid.solid import Solid
from pourwright.vents.settings import Vent

_INDENT = "  "
_MAX_ROWS = 30
_MM3_PER_ML = 1000.0
_CAUTION = (
    "Resin parts can harm: isocyanates are sensitisers. Extraction, gloves, eye protection; stop",
    "for good if you wheeze. Follow the safety data sheets; this report cannot assess exposure.",
)


def air_report(check: AirCheck, names: Sequence[str]) -> str:
    """Return the report of an air check; `names` are the model files."""
    mattering = sum(p.matters for p in check.pockets)
    openings = ", ".join(_place(p) for p in check.openings_mm) or "none"
    return _lines(
        _figure(check.figure, names),
        "",
        f"Pour     up {_direction(check.up)}, process {check.process_name}: "
        f"{_shrink(check.residual_factor)}",
        f"Open at  {openings}",
        "",
        _pocket_headline("Air pockets", check.pockets, check.visible_defect_mm),
        _pocket_table(check.pockets, ()),
        "",
        f"{_count(mattering, 'pocket')} would leave a visible bubble."
        if mattering
        else "No pocket leaves a visible bubble.",
    )


def plan_report(plan: PourPlan, names: Sequence[str], files: Sequence[Path]) -> str:
    """Return the report of a pour plan; `names` are the model files, `files` were written."""
    process, mix, master = plan.job.process, plan.resin, plan.master
    size = _size(master.mesh)
    defect_mm = process.visible_defect_mm
    return _lines(
        _figure(plan.figure, names),
        "",
        f"Pour     up {_direction(plan.up)}, {process.title}:",
        f"         {_shrink(process.residual_factor)}",
        f"Master   {size} with {plan.job.base.kind.replace('_', ' ')}, "
        f"{'watertight' if master.watertight else 'NOT watertight'}",
        "",
        _pocket_headline("Air pockets before venting", plan.pockets, defect_mm),
        _pocket_table(plan.pockets, plan.vents),
        "",
        f"Vents: {_count(len(plan.vents), 'rod')} on the master" if plan.vents else "Vents: none",
        _vent_table(plan.vents),
        _piece_table(plan.vents),
        "",
        _rings(plan),
        "",
        _pocket_headline("Air pockets of the finished master", plan.pockets_after, defect_mm),
        _pocket_table(plan.pockets_after, ()),
        "",
        f"Resin: {mix.resin.title}",
        f"{_INDENT}to pour {mix.poured_ml:9.1f} ml",
        f"{_INDENT}to mix  {mix.to_mix_ml:9.1f} ml  (with {plan.job.margin * 100:.3g} % to spare)",
        f"{_INDENT}part A  {_grams(mix.part_a_g):>9} g   {mix.resin.part_a}",
        f"{_INDENT}part B  {_grams(mix.part_b_g):>9} g   {mix.resin.part_b}",
        f"{_INDENT}Pot life {_minutes(mix.resin.pot_life_min)}. The product's data sheet "
        "overrides these numbers.",
        *(f"{_INDENT}{line}" for line in _CAUTION),
        "",
        _warnings(plan),
        *(("", "Written") if files else ()),
        *(f"{_INDENT}{path}" for path in files),
    )


def bases_report(kinds: dict[str, str]) -> str:
    """Return the list of sprue bases by name."""
    return _lines(*(f"{kind.replace('_', '-'):<20} {title}" for kind, title in kinds.items()))


def materials_report(resins: Iterable[Resin]) -> str:
    """Return the list of resin presets with what a caster looks for first."""
    rows = [
        (
            r.name,
            f"100:{weight_ratio(r)[1]:.4g}",
            f"{r.cured_density_g_ml:.2f}",
            _minutes(r.pot_life_min),
            "-" if r.demould_min is None else _minutes(r.demould_min),
            r.title,
        )
        for r in resins
    ]
    heads = ("name", "A:B weight", "g/ml cured", "pot life", "demould", "")
    return _lines(
        _table(heads, rows, "<>>>><", indent=""),
        "",
        "Generic values; the product's data sheet overrides every one of them.",
    )


def _figure(solid: Solid, names: Sequence[str]) -> str:
    shells = _count(solid.shells, "shell")
    parts = f", {solid.parts} separate parts" if solid.parts != 1 else ""
    return _lines(
        f"Figure   {', '.join(names)}",
        f"{_INDENT}{_size(solid.mesh)}, {solid.volume_mm3 / _MM3_PER_ML:.2f} ml, "
        f"{shells}, {_count(solid.triangles, 'triangle')}{parts}",
        *(f"{_INDENT}note: {_placed(f.message, f.at_mm)}" for f in solid.findings),
        *_protected(solid),
    )


def _protected(solid: Solid) -> Sequence[str]:
    if solid.protection is None:
        return ()
    points = solid.protection.points_mm[solid.protection.weights > 0]
    low, high = points.min(axis=0), points.max(axis=0)
    return (f"{_INDENT}protected: surface between {_place(low)} and {_place(high)}",)


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
            _small(p.volume_mm3),
            f"{p.residual_diameter_mm:.2f}",
            "yes" if p.matters else "no",
        ]
        rows.append([*row, ", ".join(serving.get(i, ["-"]))] if vents else row)
    heads = ["no.", "x", "y", "z", "air mm3", "bubble mm", "matters"]
    table = _table([*heads, "vent"] if vents else heads, rows, ">" * 8)
    left = len(order) - _MAX_ROWS
    return table + (f"\n{_INDENT}... and {left} smaller ones" if left > 0 else "")


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
    return _table(heads, rows, "><>>>>>>>")


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
    return _lines(
        f"{_INDENT}Rods with joints; the angles are off straight and off square:",
        _table(heads, rows, "><<>>"),
    )


def _rings(plan: PourPlan) -> str:
    """Return where rods close a loop of rubber, unless the warnings say so."""
    told = {w.message for w in plan.warnings}
    rows = [
        f"{_INDENT}vent {r.vent + 1}: {_placed(r.message, r.cut_at_mm)}"
        for r in plan.rings
        if r.message not in told
    ]
    return _lines("Loops of rubber to slit", *rows) if rows else ""


def _warnings(plan: PourPlan) -> str:
    if not plan.warnings:
        return ""
    return _lines(
        "Warnings",
        *(
            f"{_INDENT}{'TO DECIDE: ' if w.open else ''}{_placed(w.message, w.at_mm)}"
            for w in plan.warnings
        ),
    )


def _table(
    heads: Sequence[str], rows: Sequence[Sequence[str]], aligns: str, indent: str = _INDENT
) -> str:
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    return "\n".join(
        indent
        + "  ".join(
            f"{cell:{align}{width}}"
            for cell, align, width in zip(row, aligns, widths, strict=False)
        ).rstrip()
        for row in (heads, *rows)
    )


def _lines(*parts: str) -> str:
    """Join the parts by line; empty ones stand for one blank line, never for two."""
    lines: list[str] = []
    for part in parts:
        if part or (lines and lines[-1]):
            lines.append(part)
    while lines and not lines[-1]:
        lines.pop()
    return "\n".join(lines)


def _shrink(factor: float) -> str:
    if abs(factor - 1.0) < 5e-4:
        return "trapped air keeps its volume"
    return f"trapped air ends up at {factor * 100:.2g} % of its volume"


def _size(mesh: TriMesh) -> str:
    low, high = mesh.bounds_mm
    return "{:.1f} x {:.1f} x {:.1f} mm".format(*(high - low))


def _placed(message: str, at_mm: Point | None) -> str:
    """Return the message with its place, unless it names the place itself."""
    if at_mm is None or _place(at_mm) in message:
        return message
    return f"{message} at {_place(at_mm)}"


def _place(point: Sequence[float]) -> str:
    return "({:.1f}, {:.1f}, {:.1f})".format(*point)


def _direction(up: Sequence[float]) -> str:
    return "({:.3g}, {:.3g}, {:.3g})".format(*(c + 0.0 for c in up))


def _small(volume_mm3: float) -> str:
    return f"{volume_mm3:.2f}" if volume_mm3 >= 0.01 else f"{volume_mm3:.1g}"


def _grams(mass_g: float) -> str:
    """Return what a bench scale shows; a few drops of catalyst need the second decimal."""
    return f"{mass_g:.1f}" if mass_g >= 20.0 else f"{mass_g:.2f}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _minutes(minutes: float) -> str:
    return f"{minutes:.3g} min" if minutes < 120 else f"{minutes / 60:.3g} h"
