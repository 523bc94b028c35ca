"""Vents on real meshes, measured from outside. See docs/vents.md for what came out.

python tests/corpus/run_vents.py [--process NAME] [--meshes FOLDER] [--json FILE] [NAME ...]
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("", "core", "tests/core", "tests/corpus")]

import numpy as np  # noqa: E402
import trimesh  # noqa: E402
import vent_measures as vm  # noqa: E402
from fetch import NAMES, meshes  # noqa: E402

from blend_demo.heron import heron  # noqa: E402
from pourwright.mould import MouldSettings  # noqa: E402
from pourwright.plan.job import Job  # noqa: E402
from pourwright.plan.pipeline import plan_pour  # noqa: E402
from pourwright.shop.process import DEFAULT_PROCESS, PROCESSES  # noqa: E402
from pourwright.solid import Solid, TriMesh, intake, tri_mesh  # noqa: E402

UPS = ((0.0, 0.0, -1.0), (0.35, 0.1, -0.93), (1.0, 0.0, 0.1))
SIZE_MM = 60.0
Row = dict[str, Any]


def figure(name: str, folder: Path | None) -> Solid:
    """A mesh of the corpus, or the demo's heron, `SIZE_MM` at its longest."""
    if name == "heron":
        return intake([TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in heron(0.25)])
    assert folder is not None
    loaded = trimesh.load(folder / f"{name}.off", process=False)
    vertices = np.array(loaded.vertices, dtype=np.float64)
    scale = SIZE_MM / np.ptp(vertices, axis=0).max()
    return intake([tri_mesh(vertices * scale, loaded.faces, name)])


def measure(
    solid: Solid, name: str, up: tuple[float, ...],
    more: Callable[[vm.Watch, Any], Row] | None = None, process: str = DEFAULT_PROCESS.name,
) -> Row:
    """Plan one pour and measure its vents. more : further measures of the same run."""
    job = Job(up=up, process=PROCESSES[process], mould=MouldSettings(enabled=False))
    start = time.perf_counter()
    with vm.watched() as watch:
        plan = plan_pour(solid, job)
    row: Row = {
        "mesh": name, "up": up, "triangles": len(solid.mesh.faces),
        "seconds": time.perf_counter() - start,
        "mattered": sum(p.matters for p in plan.pockets),
        "needs": watch.needs,
        "rods": len(plan.vents),
        "left": [
            {"at_mm": p.peak_mm, "mm3": p.volume_mm3, "saddle": p.saddle_height_mm}
            for p in plan.pockets_after if p.matters
        ],
        "reasons": [w.message for w in plan.warnings if w.code == "pocket_left"],
        "warnings": sorted({w.code for w in plan.warnings}),
        "length_mm": sum(v.length_mm for v in plan.vents),
        "contacts": vm.figure_contacts(plan),
        "joins": sum(vm.joined(plan.vents, i) >= 0 for i in range(len(plan.vents))),
        "pieces": sum(len(v.path_mm) - 1 for v in plan.vents),
        "slope_deg": vm.worst_slope_deg(plan.vents, plan.up),
        "watertight": plan.master.watertight,
    }
    if watch.site is not None:
        row["pitch_mm"] = watch.site.grid.pitch_mm
        gaps = vm.clearances(plan, watch.walls)
        row["all_end"] = len(plan.vents) - len({g.vent for g in gaps})
        row["gap_mm"] = min((g.gap_mm for g in gaps), default=job.vents.web_mm)
        least = job.vents.web_mm - row["pitch_mm"] / 2
        row["thin"] = [
            {"vent": g.vent, "gap_mm": g.gap_mm, "to": g.to, "path_mm": plan.vents[g.vent].path_mm}
            for g in gaps if g.gap_mm < least - 1e-6
        ]
        strict = vm.clearances(plan, watch.walls, square=True)
        row["gap_square_mm"] = min((g.gap_mm for g in strict), default=job.vents.web_mm)
        row["thin_square"] = len({g.vent for g in strict if g.gap_mm < least - 1e-6})
        row["grazes"] = vm.touches(plan, watch.walls)
        row["cost"] = vm.longest_rod_cost(watch, plan)
        row["routes"] = vm.routes_exist(watch, among_rods=True)
        row["routes_alone"] = vm.routes_exist(watch, among_rods=False)
    if more is not None:
        row |= more(watch, plan)
    return row


def kept(row: Row) -> bool:
    """No pocket that matters is left, or the plan says of each why no rod fits."""
    return not row["left"] or (
        len(row["reasons"]) == len(row["left"])
        and all("no rod fits" in r for r in row["reasons"])
    )


def table(rows: list[Row]) -> Iterator[str]:
    """Markdown lines, one run each."""
    yield (
        "| mesh | pour direction | matter | needs | rods | left | route exists | least web mm "
        "| flattest | cost / oracle | rod mm | on figure | s |"
    )
    yield "|---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|"
    for r in rows:
        cost = r.get("cost")
        ratio = f"{cost[0] / cost[1]:.2f}" if cost and np.isfinite(cost[1]) else "-"
        up = " ".join(f"{c:g}" for c in r["up"])
        gap = f"{r['gap_mm']:.2f}" if r["rods"] else "-"
        slope = f"{r['slope_deg']:.0f}" if r["rods"] else "-"
        yield (
            f"| {r['mesh']} | {up} | {r['mattered']} | {r['needs']} | {r['rods']} "
            f"| {len(r['left'])} | {sum(r.get('routes', []))} | {gap} | {slope} | {ratio} "
            f"| {r['length_mm']:.0f} | {r['contacts']} | {r['seconds']:.0f} |"
        )


def summary(rows: list[Row]) -> Iterator[str]:
    """The numbers that are promised, over all runs."""
    vented = [r for r in rows if r["needs"]]
    blocked = sum(len(r.get("routes", [])) for r in vented)
    routes = sum(sum(r.get("routes", [])) for r in vented)
    costs = [r["cost"] for r in vented if r.get("cost") and np.isfinite(r["cost"][1])]
    ratios = np.array([a / b for a, b in costs]) if costs else np.array([1.0])
    yield f"- {len(rows)} runs, {len(vented)} with air that matters"
    yield f"- nothing that matters left: {sum(not r['left'] for r in rows)} runs"
    yield f"- nothing left, or the plan says why: {sum(kept(r) for r in rows)} runs"
    yield f"- needs {sum(r['needs'] for r in vented)}, rods {sum(r['rods'] for r in vented)}"
    yield f"- needs without a rod {blocked}, of these a grid route exists for {routes}"
    yield (
        f"- least web {min(r['gap_mm'] for r in vented):.2f} mm; rods under the limit "
        f"{sum(len(r['thin']) for r in vented)}; all end {sum(r['all_end'] for r in vented)}; "
        f"meeting the walls between their ends {sum(len(r['grazes']) for r in vented)}"
    )
    yield (
        f"- with end zones as short as for rods square to the surface: least web "
        f"{min(r['gap_square_mm'] for r in vented):.2f} mm, rods under the limit "
        f"{sum(r['thin_square'] for r in vented)}"
    )
    yield f"- flattest piece {min(r['slope_deg'] for r in vented):.2f} degrees"
    yield (
        f"- cost of the longest rod over the oracle's: median {np.median(ratios):.3f}, within 5 % "
        f"{(ratios <= 1.05).mean():.0%}, worst {ratios.max():.2f}"
    )
    yield (
        f"- rod length {sum(r['length_mm'] for r in vented):.0f} mm, contacts on the figure "
        f"{sum(r['contacts'] for r in vented)}"
    )


def run(
    names: list[str], folder: Path | None, out: Path | None,
    more: Callable[[vm.Watch, Any], Row] | None = None, process: str = DEFAULT_PROCESS.name,
) -> list[Row]:
    """All runs of the named meshes; a mesh that crashes is told and counted."""
    rows: list[Row] = []
    for name in names:
        solid = figure(name, folder)
        for up in UPS:
            try:
                rows.append(measure(solid, name, up, more, process))
            except Exception:  # the other runs still count
                print(f"FAILED {name} {up}", file=sys.stderr)
                traceback.print_exc()
                continue
            print(list(table(rows[-1:]))[-1], file=sys.stderr, flush=True)
            if out is not None:
                out.write_text(json.dumps(rows, indent=1))
    return rows


def main() -> int:
    """Print a Markdown table and a summary; 1 where a promise is not kept."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--meshes", type=Path, help="folder of meshes, not downloaded")
    parser.add_argument("--json", type=Path, help="where to write all measures")
    parser.add_argument("--process", choices=PROCESSES, default=DEFAULT_PROCESS.name)
    parser.add_argument("names", nargs="*", help="of the corpus; all without")
    given = parser.parse_args()
    names = given.names or ["heron", *NAMES]
    folder = given.meshes or (meshes() if set(names) - {"heron"} else None)
    rows = run(names, folder, given.json, process=given.process)
    print("\n".join([*table(rows), "", *summary(rows)]))
    good = len(rows) == len(names) * len(UPS) and all(
        kept(r) and not r.get("thin") and (not r["rods"] or r["slope_deg"] >= 20 - 1e-6)
        for r in rows
    )
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
