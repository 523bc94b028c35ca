"""The ranking of a search for the way up."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path

from pourwright.pose.model import Pose, PoseReport
from pourwright.pose.settings import PoseWeights
from pourwright.report import text
from pourwright.report.text import INDENT, figure
from pourwright.solid.solid import Solid

_WIDTH = 100
_EVERY_WAY_DEG = 180.0
# What one point's worth of each weight is called.
_UNITS = {
    "pocket": "pocket",
    "residual_mm3": "mm3 of air left",
    "rod": "rod",
    "rod_mm": "mm of rod",
    "height_mm": "mm of height",
    "footprint_cm2": "cm2 of board",
    "protected": "touch of protected surface",
    "misfit_mm": "mm beyond the pot",
}


def pose_report(
    report: PoseReport, solid: Solid, names: Sequence[str], files: Sequence[Path] = ()
) -> str:
    """Return the ranked table; `names` are the model files, `files` were written."""
    settings = report.settings
    within = (
        "all round"
        if settings.cone_deg >= _EVERY_WAY_DEG
        else f"up to {settings.cone_deg:g} deg from up {text.direction(settings.axis)}"
    )
    tried = text.count(len(report.directions), "direction")
    return text.joined(
        figure(solid, names),
        "",
        f"Pour     {report.process.title}:",
        f"         {text.shrink(report.process.residual_factor)}",
        f"Tried    {tried} {within}, and closer round the best",
        *_left_out(report.left_out),
        "",
        _table(report),
        "",
        "air: what stays in the cast unless it is vented. rod: straight up to the figure's top.",
        "To pour with a pose give its --up to plan.",
        *_wrapped("Points: " + _weights(settings.weights)),
        *(("", "Written") if files else ()),
        *(f"{INDENT}{path}" for path in files),
    )


def _left_out(number: int) -> Sequence[str]:
    if not number:
        return ()
    return (
        f"{INDENT}note: {text.count(number, 'direction')} left out, where the surface crosses "
        "itself",
    )


def _table(report: PoseReport) -> str:
    """Return each pose's numbers, and under them its direction and reasons; standing comes last."""
    every = [*report.poses, report.standing]
    protected = any(p.terms.protected for p in every)
    pot = report.settings.pot_height_mm is not None or report.settings.pot_diameter_mm is not None
    heads = ["", "tilt", "points", "pockets", "air", "rods", "rod", "height", "board"]
    units = ["", "deg", "", "", "mm3", "", "mm", "mm", "cm2"]
    if protected:
        heads, units = [*heads, "protected"], [*units, "weight"]
    if pot:
        heads, units = [*heads, "too big"], [*units, "mm"]
    rows = [units]
    for number, pose in enumerate(every, start=1):
        name = str(number) if number <= len(report.poses) else "standing"
        rows.append([*_cells(name, pose), *_more(pose, protected, pot)])
    lines = text.table(heads, rows, "<" + ">" * 10).splitlines()
    shown = lines[:2]
    for line, pose in zip(lines[2:], every, strict=True):
        why = f"--up {_components(pose)}: {', '.join(pose.reasons)}"
        shown += [line, *_wrapped(why, INDENT * 3)]
    return "\n".join(shown)


def _components(pose: Pose) -> str:
    """Return the direction as the option --up takes it, to a hundredth of a degree."""
    return ",".join(f"{c:.4f}".rstrip("0").rstrip(".") if abs(c) > 5e-5 else "0" for c in pose.up)


def _cells(name: str, pose: Pose) -> list[str]:
    terms = pose.terms
    return [
        name,
        f"{pose.tilt_deg:.1f}",
        f"{pose.score:.2f}",
        str(terms.pockets),
        text.small(terms.residual_mm3) if terms.residual_mm3 else "0",
        str(terms.rods),
        f"{terms.rod_mm:.0f}",
        f"{terms.height_mm:.1f}",
        f"{terms.footprint_cm2:.1f}",
    ]


def _more(pose: Pose, protected: bool, pot: bool) -> list[str]:
    """Return the columns that only some searches have."""
    cells = [f"{pose.terms.protected:.2f}"] if protected else []
    return [*cells, f"{pose.terms.misfit_mm:.1f}"] if pot else cells


def _weights(weights: PoseWeights) -> str:
    return ", ".join(f"{getattr(weights, f.name):g} a {_UNITS[f.name]}" for f in fields(weights))


def _wrapped(line: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        line, _WIDTH, initial_indent=indent, subsequent_indent=indent or INDENT
    )
