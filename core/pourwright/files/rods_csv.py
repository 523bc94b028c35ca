"""rods.csv: the cut list for people who glue real rods to a physical master.

Comma-separated values as RFC 4180 has them: a header line, CRLF at line ends, quotes where a cell
holds a comma. Vents come first, then gates, each numbered from 1, as pockets are, as in the report.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

HEADER = (
    "rod", "kind", "diameter (mm)", "neck at figure (mm)", "length (mm)", "pieces (mm)",
    "bend at joints (deg)", "cut at figure end (deg off square)",
    "cut at other end (deg off square)", "from x (mm)", "from y (mm)", "from z (mm)",
    "to x (mm)", "to y (mm)", "to z (mm)", "pockets",
)  # fmt: skip


def rods_csv(plan: dict[str, Any]) -> bytes:
    """Return the cut list of a plan's data (as `plan_to_dict` or plan.json has it), UTF-8.

    Pieces are lengths from joint to joint, from the figure upwards in the pour. Lengths have one
    decimal, diameters two, angles none: what a saw keeps to.
    """
    text = io.StringIO(newline="")
    rows = csv.writer(text)
    rows.writerow(HEADER)
    for number, vent in enumerate(plan["vents"], start=1):
        rows.writerow(_row(number, vent["kind"], vent, vent["serves"]))
    for number, gate in enumerate(plan.get("gates", ()), start=1):
        rows.writerow(_row(number, "gate", gate, ()))
    return text.getvalue().encode("utf-8")


def _row(number: int, kind: str, rod: dict[str, Any], pockets: Iterable[int]) -> list[object]:
    path = rod["path_mm"]
    return [
        number,
        kind,
        f"{rod['diameter_mm']:.2f}",
        f"{rod['neck_mm']:.2f}",
        f"{rod['length_mm']:.1f}",
        " + ".join(f"{s:.1f}" for s in rod["segments_mm"]),
        ", ".join(f"{a:.0f}" for a in rod["joints_deg"]),
        f"{rod['foot_angle_deg']:.0f}",
        f"{rod['end_angle_deg']:.0f}",
        *_coordinates(path[0]),
        *_coordinates(path[-1]),
        ", ".join(str(i + 1) for i in pockets),
    ]


def _coordinates(point: Iterable[float]) -> list[str]:
    return [f"{round(c, 1) + 0.0:.1f}" for c in point]  # + 0.0 turns -0.0 into 0.0
