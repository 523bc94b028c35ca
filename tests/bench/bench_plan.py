"""Intake and plan against the bare boolean of the same bodies: time, memory, growth.

python tests/bench/bench_plan.py [--sizes 10000 ... 4000000] [--stages] [--json FILE] [--plot FILE]

The figure is the demo's heron, 82 overlapping parts, with its tessellation and longest edge set
so that the parts have about the wanted number of triangles. The peer is manifold3d itself: its
`batch_boolean` of the same parts for the intake, and of the same parts with the finished base,
gates and vents for intake and plan together. Each size is a process of its own; times are the
processor times of that process, medians of three turns, one from a million on, in which no second
process helps. Memory is the highest resident size less that before, again in a process of its own
for each work, in units of the arrays of the parts (float64 vertices, int64 faces). "own booleans"
is what intake and plan themselves spend in unions, of a few bodies at a time.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import pstats
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "core")]

import manifold3d  # noqa: E402
import numpy as np  # noqa: E402

from blend_demo.heron import heron  # noqa: E402
from pourwright.air import find_pockets, parallel, prepare  # noqa: E402
from pourwright.memory import give_back_early  # noqa: E402
from pourwright.mould import MouldSettings  # noqa: E402
from pourwright.plan.job import Job  # noqa: E402
from pourwright.plan.pipeline import plan_pour  # noqa: E402
from pourwright.solid import TriMesh, boolean, intake  # noqa: E402

# Triangles of the parts: detail, and longest edge in mm.
HERONS: dict[int, tuple[float, float | None]] = {
    10_000: (0.17, None), 30_000: (0.32, None), 100_000: (0.62, None), 260_000: (1.0, None),
    1_000_000: (2.0, None), 4_000_000: (2.0, 0.16),
}  # fmt: skip
JOB = Job(mould=MouldSettings(enabled=False))
UP = np.array(JOB.up)
TURNS = 3
Row = dict[str, Any]


def parts_of(size: int) -> list[TriMesh]:
    detail, longest_mm = HERONS[size]
    parts = [TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in heron(detail)]
    return parts if longest_mm is None else [boolean.refined(p, longest_mm) for p in parts]


def bare(bodies: Sequence[TriMesh]) -> int:
    """The peer: nothing but manifold3d, its result as arrays."""
    made = [
        manifold3d.Manifold(manifold3d.Mesh64(b.vertices, b.faces.astype(np.uint64)))
        for b in bodies
    ]
    mesh = manifold3d.Manifold.batch_boolean(made, manifold3d.OpType.Add).to_mesh64()
    return len(mesh.tri_verts)


def timed(work: Callable[..., Any], *given: Any) -> tuple[Any, float]:
    start = time.process_time()
    result = work(*given)
    return result, time.process_time() - start


def one_size(size: int) -> Row:
    give_back_early()
    parallel._WORTH_A_PROCESS = 10**12
    parts = parts_of(size)
    turns: dict[str, list[float]] = {}
    spent = watch_booleans()

    def turn(name: str, work: Callable[..., Any], *given: Any) -> Any:
        result, seconds = timed(work, *given)
        turns.setdefault(name, []).append(seconds)
        return result

    for _ in range(TURNS if size < 1_000_000 else 1):
        turn("bare_parts", bare, parts)
        spent.clear()
        solid = turn("intake", intake, parts)
        turn("air", lambda mesh: find_pockets(prepare(mesh), UP), solid.mesh)
        plan = turn("plan", plan_pour, solid, JOB)
        turns.setdefault("own", []).append(sum(spent))
        turn("bare_all", bare, [*parts, plan.base, *plan.gate_meshes, *plan.vent_meshes])
    return {
        "triangles": sum(len(p.faces) for p in parts),
        "vents": len(plan.vents),
        "seconds": {name: statistics.median(times) for name, times in turns.items()},
    }


def watch_booleans() -> list[float]:
    """Processor seconds of each union from now on, in the list that is returned."""
    spent: list[float] = []
    for name in ("union", "united_hulls"):
        real = getattr(boolean, name)

        def watched(*given: Any, real: Callable[..., Any] = real) -> Any:
            result, seconds = timed(real, *given)
            spent.append(seconds)
            return result

        setattr(boolean, name, watched)
    return spent


def one_peak(size: int, what: str) -> float:
    """Memory of one work, in units of the parts' arrays, in a process as the command line's."""
    give_back_early()
    parallel._WORTH_A_PROCESS = 10**12
    parts = parts_of(size)
    arrays_mib = sum(p.vertices.nbytes + p.faces.nbytes for p in parts) / 2**20
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # resets the highest size
    before = _resident_mib("VmRSS")
    WORKS[what](parts)
    return (_resident_mib("VmHWM") - before) / arrays_mib


def _resident_mib(key: str) -> float:
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith(key):
            return int(line.split()[1]) / 1024
    raise SystemExit(f"no {key}: this needs Linux")


WORKS: dict[str, Callable[[Sequence[TriMesh]], Any]] = {
    "bare_parts": bare,
    "intake": intake,
    "job": lambda parts: plan_pour(intake(parts), JOB),
}


def table(rows: Sequence[Row]) -> str:
    lines = [
        "| triangles | bare parts s | intake s | ratio | air s | plan s | bare all s | "
        "intake and plan / bare all | own booleans s | memory: bare parts | intake | "
        "intake and plan |",
        "|" + " --- |" * 12,
    ]
    for row in rows:
        s, m = row["seconds"], row["memory"]
        lines.append(
            f"| {row['triangles']:,} | {s['bare_parts']:.2f} | {s['intake']:.2f} | "
            f"{s['intake'] / s['bare_parts']:.2f} | {s['air']:.2f} | {s['plan']:.2f} | "
            f"{s['bare_all']:.2f} | {(s['intake'] + s['plan']) / s['bare_all']:.2f} | "
            f"{s['own']:.2f} | "
            f"{m['bare_parts']:.1f} | {m['intake']:.1f} | {m['job']:.1f} |".replace(",", " ")
        )
    return "\n".join(lines)


def plot(rows: Sequence[Row], path: Path) -> None:
    """Seconds over triangles, both logarithmic."""
    import matplotlib

    matplotlib.use("svg")
    from matplotlib import pyplot

    matplotlib.rcParams.update({"svg.hashsalt": "0", "font.family": "DejaVu Sans"})
    figure, axes = pyplot.subplots(figsize=(6.4, 4.0))
    kinds = {
        "bare_all": ("bare boolean of all bodies", "s-"), "intake": ("intake", "o--"),
        "plan": ("plan", "^-."), "air": ("air of one direction", "d:"),
    }  # fmt: skip
    for name, (label, style) in kinds.items():
        points = [(row["triangles"], row["seconds"][name]) for row in rows]
        axes.loglog(*zip(*points, strict=True), style, label=label)
    axes.set(xlabel="triangles of the parts", ylabel="processor seconds")
    axes.grid(True, which="major", alpha=0.4)
    axes.legend()
    figure.tight_layout()
    figure.savefig(path, metadata={"Date": None})


def stages(size: int) -> None:
    """Where the time of the intake goes, and that of intake and plan together."""
    parts = parts_of(size)
    for name, work in (("intake", intake), ("plan", lambda p: plan_pour(intake(p), JOB))):
        profile = cProfile.Profile(time.process_time)
        profile.runcall(work, parts)
        print(f"== {name}")
        pstats.Stats(profile).sort_stats("cumulative").print_stats("pourwright", 60)


def child(*arguments: str) -> Any:
    """What this program prints with these arguments, in a process of its own."""
    command = [sys.executable, __file__, *arguments]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    return json.loads(done.stdout)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", choices=list(HERONS), default=list(HERONS))
    parser.add_argument("--stages", action="store_true", help="profile the first size instead")
    parser.add_argument("--json", type=Path, help="write the rows here")
    parser.add_argument("--plot", type=Path, help="write the growth as SVG here")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--peak", choices=list(WORKS), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.peak:
        print(json.dumps(one_peak(options.one, options.peak)))
        return
    if options.one:
        print(json.dumps(one_size(options.one)))
        return
    if options.stages:
        stages(options.sizes[0])
        return
    rows = []
    for size in options.sizes:
        rows.append(child("--one", str(size)))
        rows[-1]["memory"] = {
            what: child("--one", str(size), "--peak", what) for what in WORKS
        }
        print(table(rows[-1:]).splitlines()[-1], file=sys.stderr)
    print(table(rows))
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")
    if options.plot:
        plot(rows, options.plot)


if __name__ == "__main__":
    main()
