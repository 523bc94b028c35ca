"""Routing twelve rods against the boolean union of the same master, in the same process.

python tests/bench/bench_vents.py [--profile]
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "core")]

import numpy as np  # noqa: E402

from blend_demo.heron import heron  # noqa: E402
from pourwright.mould import MouldSettings  # noqa: E402
from pourwright.plan import pipeline, venting  # noqa: E402
from pourwright.plan.job import Job  # noqa: E402
from pourwright.shop.process import PROCESSES  # noqa: E402
from pourwright.solid import Solid, TriMesh, boolean, intake  # noqa: E402
from pourwright.vents.needs import find_needs  # noqa: E402

NO_MOULD = MouldSettings(enabled=False)
NEEDS = 12
BOX_MM = np.array([60.0, 60.0, 80.0])
RUNS = 9


def figure(detail: float) -> Solid:
    """The demo's heron, stretched to fill the box."""
    parts = [TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in heron(detail)]
    size = np.ptp(np.vstack([p.vertices for p in parts]), axis=0)
    scale = BOX_MM / size
    return intake([TriMesh(scale * p.vertices, p.faces, p.name) for p in parts])


def job_with_twelve(solid: Solid) -> tuple[Job, dict[str, Any]]:
    """The job whose visible defect leaves twelve needs, and what its router is given."""
    kept: dict[str, Any] = {}
    real = venting.place_vents

    def record(*args: Any, **more: Any) -> Any:
        names = ("report", "openings", "process", "settings")
        kept.update(zip(names, args, strict=True), **more)
        return real(*args, **more)

    venting.place_vents = record
    try:
        process = replace(PROCESSES["open"], visible_defect_mm=9.0)
        pipeline.plan_pour(solid, Job(process=process, mould=NO_MOULD))
    finally:
        venting.place_vents = real
    low, high = 0.05, 20.0
    for _ in range(40):
        process = replace(PROCESSES["open"], visible_defect_mm=(low * high) ** 0.5)
        count = len(find_needs(kept["report"], kept["openings"], process)[0])
        if count == NEEDS:
            kept["process"] = process
            return Job(process=process, mould=NO_MOULD), kept
        low, high = (
            (process.visible_defect_mm, high) if count > NEEDS else (low, process.visible_defect_mm)
        )
    raise SystemExit(f"no defect size leaves exactly {NEEDS} needs")


def seconds(*works: Callable[[], Any]) -> list[list[float]]:
    """Times of some runs of each, in turn, so that all meet the same machine."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(RUNS):
        for work, taken in zip(works, times, strict=True):
            start = time.perf_counter()
            work()
            taken.append(time.perf_counter() - start)
    return times


def main() -> int:
    """Print both times and their ratio; 1 where routing costs as much as the union."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--profile", action="store_true", help="also say where the time goes")
    parser.add_argument("--detail", type=float, default=1.0, help="of the heron, 0.1 to 2")
    given = parser.parse_args()
    solid = figure(given.detail)
    job, kept = job_with_twelve(solid)
    router_args = [kept.pop(n) for n in ("report", "openings", "process", "settings")]
    kept.pop("progress", None)

    def routing() -> Any:
        return venting.place_vents(*router_args, **kept)

    plan = pipeline.plan_pour(solid, job)
    carried = [plan.figure.mesh, plan.base]
    if plan.funnel is not None:
        carried.append(plan.funnel)

    def union() -> TriMesh:
        return boolean.union([*carried, *plan.vent_meshes], "master")

    size = np.ptp(solid.mesh.vertices, axis=0)
    print(f"figure {size[0]:.0f} x {size[1]:.0f} x {size[2]:.0f} mm, "
          f"{len(solid.mesh.faces)} triangles, {NEEDS} needs, {len(plan.vents)} rods, "
          f"grid {job.vents.grid_mm} mm")
    times = seconds(routing, union)
    route_s, union_s = (statistics.median(t) for t in times)
    for name, median, taken in zip(("routing", "union"), (route_s, union_s), times, strict=True):
        print(f"{name:8}{median:.2f} s  ({' '.join(f'{t:.2f}' for t in taken)})")
    print(f"routing / union {route_s / union_s:.2f}")
    if given.profile:
        profile = cProfile.Profile()
        profile.runcall(routing)
        pstats.Stats(profile).sort_stats("tottime").print_stats(18)
        pstats.Stats(profile).sort_stats("cumtime").print_stats(30)
    return 0 if route_s < union_s else 1


if __name__ == "__main__":
    sys.exit(main())
