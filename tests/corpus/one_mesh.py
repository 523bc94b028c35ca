"""One mesh through intake and the air analysis, and both against references."""

from __future__ import annotations

import re
import resource
import time
from typing import Any

import by_lines
import manifold3d
import numpy as np
from reference import Part, parts_above, tree_parts_above
from sources import Source, Unread, load

from pourwright.air import AirPocket, AirReport, find_pockets, prepare, top_plane_vertices
from pourwright.errors import InputError, MeshError, PourwrightError
from pourwright.mould import MouldSettings
from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.shop.process import DEFAULT_PROCESS
from pourwright.solid import Solid, boolean, intake
from pourwright.solid.contacts import GAP_MM

UPS = {
    "-z": (0, 0, -1), "+z": (0, 0, 1), "+x": (1, 0, 0), "-x": (-1, 0, 0), "+y": (0, 1, 0),
    "-y": (0, -1, 0),
}  # fmt: skip
# Cutting bodies apart is slow: after so long, processor time, the other levels are left, and
# counted as skipped.
CUT_SECONDS = 25.0
# A thousand small made-up parts: the third opinion is for figures.
UNFLOODED = frozenset({"pybullet"})
# What is as near as this to the top is open, on either side of the comparison.
OPEN_MM = 1e-4
# Passes that touching parts leave may lie so far from where they do without the contacts' gap.
HAIR_MM = 2.5 * GAP_MM
FLOOD_UPS = ("-z", "+x")
# Pockets smaller than this many grid columns cubed are not compared with the flood.
_FLOOD_LEAST = 4.0
Row = dict[str, Any]


def measure(source: Source) -> Row:
    """All measures of one mesh; `outcome` is done, warned, refused, unread or wrong.

    Times are of the processor, all threads, so that they hold on a busy machine as well.
    """
    row: Row = {"package": source.package, "name": source.name}
    try:
        meshes, notes = load(source)
        row["triangles"] = sum(len(m.faces) for m in meshes)
        begin = time.process_time()
        solid = intake(meshes, notes)
        row["intake_s"] = time.process_time() - begin
        row |= _described(solid)
        reports = _air(solid, row)
    except Unread as error:
        return row | {"outcome": "unread", "message": str(error)[:200]}
    except PourwrightError as error:
        return row | {
            "outcome": "refused", "kind": _kind(error), "message": error.one_line()[:300],
            "peak_mb": _peak_mb(),
        }  # fmt: skip
    row["peak_mb"] = _peak_mb()
    triangles = np.concatenate([m.vertices[m.faces] for m in meshes])
    begin = time.process_time()
    row["volume"] = _volume(solid, triangles, row)
    row["volume_s"] = time.process_time() - begin
    mixed = "mixed_winding" in row["findings"]
    row["cut"] = _cut(solid, reports, _slack(row) * solid.volume_mm3, triangles, mixed)
    if source.package not in UNFLOODED:
        begin = time.process_time()
        row["flood"] = _flood(triangles, mixed, reports)
        row["flood_s"] = time.process_time() - begin
    told = [k for k in row["findings"] if not k.startswith("unit_")]
    row["outcome"] = "warned" if told else "done"
    if not row["volume"]["agrees"] or row["cut"]["wrong"]:
        row["outcome"] = "wrong"
    return row


def plan(source: Source) -> Row:
    """A whole plan without a mould, default settings, and what it says of itself held against it.

    `outcome` is done, warned (something is left to decide), refused or wrong.
    """
    try:
        meshes, notes = load(source)
        made = plan_pour(intake(meshes, notes), Job(mould=MouldSettings(enabled=False)))
    except (PourwrightError, Unread) as error:
        return {"outcome": "refused", "message": str(error)[:300], "peak_mb": _peak_mb()}
    peak = _peak_mb()
    left = [p for p in made.pockets_after if p.matters]
    codes = [w.code for w in made.warnings]
    mesh = made.master.mesh
    triangles = mesh.vertices[mesh.faces]
    step = by_lines.steps_of(triangles, mixed=False)
    got = by_lines.volume(triangles, step, mixed=False)
    off = abs(got.mm3 - made.master.volume_mm3)
    sound = (
        made.master.watertight
        and codes.count("pocket_left") == len(left)
        and off <= 5 * got.sigma_mm3 + 1e-4 * made.master.volume_mm3
    )
    return {
        "outcome": ("warned" if left else "done") if sound else "wrong",
        "warnings": sorted(set(codes)), "matter": sum(p.matters for p in made.pockets),
        "rods": len(made.vents), "left": len(left), "off_share": off / made.master.volume_mm3,
        "triangles": sum(len(m.faces) for m in meshes), "peak_mb": peak,
    }  # fmt: skip


def _kind(error: PourwrightError) -> str:
    if isinstance(error, MeshError):
        return error.kind
    return "file" if isinstance(error, InputError) else type(error).__name__


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _described(solid: Solid) -> Row:
    overlap = [
        float(m[1]) / 100 for f in solid.findings if f.kind == "self_overlap"
        for m in [re.search(r"\(([\d.]+)%", f.message)] if m
    ]  # fmt: skip
    return {
        "findings": sorted({f.kind for f in solid.findings}),
        "shells": solid.shells, "parts": solid.parts, "volume_mm3": solid.volume_mm3,
        "overlap_share": sum(overlap), "solid_triangles": len(solid.mesh.faces),
    }  # fmt: skip


def _air(solid: Solid, row: Row) -> dict[str, AirReport]:
    begin = time.process_time()
    surface = prepare(solid.mesh)
    row["prepare_s"] = time.process_time() - begin
    begin = time.process_time()
    reports = {}
    for name, up in UPS.items():
        direction = np.array(up, dtype=float)
        openings = top_plane_vertices(surface, direction, OPEN_MM)
        reports[name] = find_pockets(surface, direction, openings)
    row["air_s"] = time.process_time() - begin
    row["pockets"] = {
        name: [
            len(r.pockets),
            sum(DEFAULT_PROCESS.matters(p.volume_mm3) for p in r.pockets),
            sum(p.volume_mm3 for p in r.pockets),
        ]
        for name, r in reports.items()
    }
    return reports


def _volume(solid: Solid, triangles: np.ndarray, row: Row) -> Row:
    mixed, share = "mixed_winding" in row["findings"], _slack(row)
    step = by_lines.steps_of(triangles, mixed)
    for side, seed in ((120, 0), (500, 1)):
        got = by_lines.volume(triangles, step, mixed, side, seed)
        off = abs(solid.volume_mm3 - got.mm3)
        bound = 5 * got.sigma_mm3 + (1e-4 + 2 * got.dropped + share) * solid.volume_mm3
        row = {"mm3": got.mm3, "sigma": got.sigma_mm3, "dropped": got.dropped, "lines": 2 * side**2,
               "off_share": off / solid.volume_mm3, "agrees": bool(off <= bound)}  # fmt: skip
        if row["agrees"]:
            break
    return row


def _slack(row: Row) -> float:
    """Share of the volume that nobody can tell: the surface crosses itself, or was drawn apart."""
    crossing = 1.05 * row["overlap_share"] + 5e-5 if "self_overlap" in row["findings"] else 0.0
    return crossing + 2e-5 * ("touching" in row["findings"])


def _cut(
    solid: Solid, reports: dict[str, AirReport], slack: float, triangles: np.ndarray, mixed: bool
) -> Row:
    """Compare with cutting the solid at levels and taking it apart.

    slack : volume on which neither side can be sure. Where they differ in all of the volume above
    the level, lines through the raw triangles say which of them errs.
    """
    begin = time.process_time()
    body = boolean.to_manifold(solid.mesh)
    rng = np.random.default_rng(len(solid.mesh.faces))
    row: Row = {"pockets": 0, "levels": 0, "skipped": 0, "wrong": [], "erred": [], "hair": 0}
    # Shells smaller than this are rounding on either side.
    speck = 1e-7 * solid.volume_mm3 + 1e-7
    for name, report in reports.items():
        up = np.array(UPS[name], dtype=float)
        heights = np.unique(np.round(solid.mesh.vertices @ up, 6))
        top = float(heights[-1])
        closes: list[AirPocket] = [
            p for p in report.pockets[:4]
            if p.saddle_height_mm is not None
            and p.peak_height_mm - p.saddle_height_mm > 1e-3 and p.volume_mm3 > 10 * speck
        ]  # fmt: skip
        levels = [p.saddle_height_mm + 1e-5 for p in closes]
        picks = rng.integers(0, max(len(heights) - 1, 1), 1)
        levels += [float((heights[k] + heights[min(k + 1, len(heights) - 1)]) / 2) for k in picks]
        for number, level in enumerate(levels):
            if time.process_time() - begin > CUT_SECONDS:
                row["skipped"] += 1
                continue
            want = parts_above(body, up, level)
            row["levels"] += 1
            got = tree_parts_above(report, level)
            off = _unlike(got, want, speck, slack)
            if off:
                if _hair(body, report, up, level, speck, slack):
                    row["hair"] += 1
                    continue
                exact = by_lines.mm3_above(solid.mesh.vertices, solid.mesh.faces, up, level)
                erred = _loses(exact, got, want, slack) or _cutting_errs(
                    triangles, mixed, up, level, got, want
                )
                row["erred" if erred else "wrong"].append(f"{name} above {level:.6f}: {off}")
                if erred:
                    continue
            closed = [p for p in want if p[1] < top - OPEN_MM]
            off = _unlike(tree_parts_above(report, level, closed_only=True), closed, speck, slack)
            if off:
                row["wrong"].append(f"{name} closed above {level:.6f}: {off}")
            if number < len(closes):
                pocket = closes[number]
                row["pockets"] += 1
                # The level lies a hair above the saddle, which a wide pocket shows.
                hair = 2e-5 * float(np.ptp(solid.mesh.bounds_mm, axis=0).max()) ** 2
                size = (pocket.volume_mm3, pocket.peak_height_mm)
                # Passes less than that hair above the saddle part what the pocket holds together.
                low = parts_above(body, up, pocket.saddle_height_mm + 1e-7)
                if not any(_alike(p, size, slack + hair + 1e-3 * size[0]) for p in want + low):
                    row["wrong"].append(f"{name} no part like the pocket {size}")
    row["s"] = time.process_time() - begin
    return row


def _hair(
    body: manifold3d.Manifold, report: AirReport, up: np.ndarray, level: float, speck: float,
    slack: float,
) -> bool:
    """Whether both agree just below and just above: contacts are drawn apart by such a hair."""
    return not any(
        _unlike(tree_parts_above(report, at), parts_above(body, up, at), speck, slack)
        for at in (level - HAIR_MM, level + HAIR_MM)
    )


def _loses(exact_mm3: float, got: list[Part], want: list[Part], slack: float) -> bool:
    """Whether the parts that were cut off miss the exact volume, and those of the tree do not."""
    tree, cut = (abs(sum(p[0] for p in side) - exact_mm3) for side in (got, want))
    return tree <= 1e-9 * exact_mm3 + slack < 1e-6 * exact_mm3 + slack < cut


def _cutting_errs(
    triangles: np.ndarray, mixed: bool, up: np.ndarray, level: float, got: list[Part],
    want: list[Part],
) -> bool:
    """Whether lines through the raw triangles agree with the tree and not with the cut parts."""
    step = by_lines.steps_of(triangles, mixed)
    above = by_lines.volume(triangles, step, mixed, 300, 2, up, level)
    tree, cut = (sum(p[0] for p in side) for side in (got, want))
    bound = 5 * above.sigma_mm3 + 1e-6 * above.mm3
    return abs(tree - above.mm3) <= bound < abs(cut - above.mm3)


def _alike(a: Part, b: Part, atol: float) -> bool:
    return abs(a[0] - b[0]) <= atol and abs(a[1] - b[1]) < 1e-5


def _unlike(got: list[Part], want: list[Part], speck: float, slack: float) -> str:
    """Say which parts have no twin on the other side, "" where all have; specks do not count."""
    got, want = ([p for p in side if p[0] > speck + slack] for side in (got, want))
    for part in list(got):
        twin = next((p for p in want if _alike(p, part, 1e-6 + 1e-5 * part[0] + slack)), None)
        if twin is not None:
            want.remove(twin)
            got.remove(part)
    return f"tree {got[:4]} cutting {want[:4]}" if got or want else ""


def _flood(triangles: np.ndarray, mixed: bool, reports: dict[str, AirReport]) -> Row:
    """Compare the large pockets with those of flooded columns: how many are within a tenth."""
    step = by_lines.steps_of(triangles, mixed)
    row: Row = {"compared": 0, "within": 0, "sum": {}}
    for name in FLOOD_UPS:
        report = reports[name]
        found, width = by_lines.flooded(triangles, step, mixed, np.array(UPS[name], dtype=float))
        row["sum"][name] = [sum(p.volume_mm3 for p in report.pockets), sum(f.mm3 for f in found)]
        for pocket in report.pockets:
            if pocket.volume_mm3 < (_FLOOD_LEAST * width) ** 3:
                break
            row["compared"] += 1
            row["within"] += any(
                abs(f.top_mm - pocket.peak_height_mm) < 2 * width
                and abs(f.mm3 - pocket.volume_mm3) <= 0.1 * pocket.volume_mm3
                for f in found[:200]
            )
    return row
