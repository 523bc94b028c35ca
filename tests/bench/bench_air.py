"""The air analysis of one direction: how its time grows, against other work on the same surface.

python tests/bench/bench_air.py [--sizes 10000 100000 ...] [--no-gudhi] [--sweep 200]

Prints the tables of docs/performance.md. Peers take turns direction by direction in one process,
each keeps the best of its tries, and medians over the directions are compared. Times of the first
table are processor times of the one thread, so another program's share of the processor does not
count, though its share of the caches does. Threads and processes of the second need idle ones.

gudhi (https://gudhi.inria.fr, in no way needed otherwise) computes the 0-dimensional persistence
of the same height on the vertices and edges of the same surface. It gets its complex ready-made,
without triangles, which dimension 0 does not need; its time is that of giving vertices and edges
their values in bulk, and of `compute_persistence`. "gudhi built" makes the complex as well. It
neither looks for what is above hollows, nor labels vertices, nor measures volumes.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "core")]

import numpy as np  # noqa: E402

from blend_demo.heron import heron  # noqa: E402
from pourwright.air import (  # noqa: E402
    Crew,
    Surface,
    find_pockets,
    join_tree,
    pockets_in,
    prepare,
    volumes_above,
)
from pourwright.solid import TriMesh, boolean, intake  # noqa: E402

SIZES = [10_000, 100_000, 1_000_000, 2_000_000]
# Waves round a sphere: a few dozen maxima, and some thousand of them.
BUMPY, ROUGH = 30.0, 200.0
# Detail and longest edge, mm, that bring the heron near a size.
HERONS = {100_000: (0.65, None), 1_000_000: (1.0, 0.24)}


def sphere(triangles: int, waves: float) -> TriMesh:
    """A sphere of radius 25 mm with bumps of about 2 mm, from the faces of a cube."""
    n = max(2, round((triangles / 12) ** 0.5))
    line = np.tan(np.linspace(-np.pi / 4, np.pi / 4, n + 1))
    u, v = np.meshgrid(line, line, indexing="ij")
    one = np.ones_like(u)
    sides = [(one, u, v), (-one, v, u), (v, one, u), (u, -one, v), (u, v, one), (v, u, -one)]
    points = np.concatenate([np.stack(side, axis=-1).reshape(-1, 3) for side in sides])
    a = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    b, c, d = a + n + 1, a + n + 2, a + 1
    one_side = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    faces = np.concatenate([one_side + i * (n + 1) ** 2 for i in range(6)])
    _, first, joined = np.unique(
        np.round(points * 1e6).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    points = points[first] / np.linalg.norm(points[first], axis=1)[:, None]
    rng = np.random.default_rng(1)
    wave = rng.normal(size=(12, 3))
    wave *= waves / np.linalg.norm(wave, axis=1)[:, None]
    bumps = np.cos(points @ wave.T + rng.uniform(0, 2 * np.pi, 12)).sum(axis=1)
    radius = 25 * (1 + 0.7 / waves * bumps)
    return TriMesh(points * radius[:, None], joined.reshape(-1)[faces], "sphere")


def figure(detail: float, longest_mm: float | None) -> TriMesh:
    """The demo's heron, one solid, its triangles cut up where they are to be many."""
    parts = [TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in heron(detail)]
    mesh = intake(parts).mesh
    return mesh if longest_mm is None else boolean.refined(mesh, longest_mm)


def directions(count: int) -> np.ndarray:
    ups = np.random.default_rng(5).normal(size=(count, 3))
    return ups / np.linalg.norm(ups, axis=1)[:, None]


class Gudhi:
    """0-dimensional persistence of height on the edges of a surface."""

    def __init__(self, surface: Surface):
        import gudhi

        self._tree = gudhi.SimplexTree
        self._vertices = np.arange(len(surface.vertices), dtype=np.int32)[None]
        self._edges = np.stack([surface.edge_low, surface.edge_high]).astype(np.int32)
        self._ready = self._tree()
        self._ready.insert_batch(self._edges, np.zeros(self._edges.shape[1]))

    def from_ready(self, heights: np.ndarray) -> int:
        """Set the values of the ready-made complex and compute; how many maxima there are."""
        tree = self._ready
        tree.reset_filtration(np.inf, 0)
        tree.insert_batch(self._vertices, -heights)
        tree.reset_filtration(-np.inf, 1)
        tree.make_filtration_non_decreasing()
        return self._maxima(tree)

    def from_nothing(self, heights: np.ndarray) -> int:
        tree, value = self._tree(), -heights
        tree.insert_batch(self._vertices, value)
        tree.insert_batch(self._edges, np.maximum(value[self._edges[0]], value[self._edges[1]]))
        return self._maxima(tree)

    def _maxima(self, tree: Any) -> int:
        tree.compute_persistence(min_persistence=-1.0)
        interval = tree.persistence_intervals_in_dimension(0)
        return int((interval[:, 0] < interval[:, 1]).sum())


def seconds(work: Callable[[], Any], clock: Callable[[], float] = time.thread_time) -> float:
    start = clock()
    work()
    return clock() - start


def kernel(surface: Surface, up: np.ndarray) -> Callable[[], Any]:
    """Heights, climbs, passes, tree, volumes; which pockets there are is known beforehand."""
    report = find_pockets(surface, up)
    shift = float(surface.centre_mm @ up)
    saddles = np.array([
        -np.inf if p.saddle_height_mm is None else p.saddle_height_mm - shift
        for p in report.pockets
    ])

    def run() -> None:
        tree = join_tree(surface, up)
        volumes_above(surface, tree, report.pocket_of_climb, saddles, surface.tolerance_mm)

    return run


def measure(name: str, mesh: TriMesh, with_gudhi: bool) -> None:
    """Print one row of the table."""
    large = len(mesh.faces) > 500_000
    rounds, tries = (3, 2) if large else (9, 3)
    ready = [seconds(lambda: prepare(mesh)) for _ in range(1 if large else 3)]
    surface = prepare(mesh)
    peer = Gudhi(surface) if with_gudhi else None
    low, high = surface.edge_low, surface.edge_high
    times: dict[str, list[float]] = {}
    maxima = []
    pockets_in(surface, np.array([0.0, 0.0, 1.0]))  # warms up
    for up in directions(rounds):
        heights, other = surface.heights(up), surface.heights(-up)
        maxima.append(len(join_tree(surface, up).peaks))
        work: dict[str, Callable[[], Any]] = {
            "pass": lambda h=heights: h[high] >= h[low],
            "kernel": kernel(surface, up),
            "sweep": lambda u=up: pockets_in(surface, u),
            "report": lambda u=up: find_pockets(surface, u),
        }
        taken = {key: min(seconds(run) for _ in range(tries)) for key, run in work.items()}
        if peer is not None:
            found = set()
            tried: dict[str, list[float]] = {"gudhi": [], "built": []}
            for _ in range(tries):
                # Another direction in between, or its edges would still stand sorted.
                peer.from_ready(other)
                tried["gudhi"].append(seconds(
                    lambda h=heights, g=peer, f=found: f.add(g.from_ready(h))
                ))  # fmt: skip
                tried["built"].append(seconds(
                    lambda h=heights, g=peer, f=found: f.add(g.from_nothing(h))
                ))  # fmt: skip
            if found != {maxima[-1]}:
                raise SystemExit(f"{name}: gudhi finds {found} maxima, not {maxima[-1]}")
            taken |= {key: min(value) for key, value in tried.items()}
        for key, value in taken.items():
            times.setdefault(key, []).append(value)
    ms = {key: 1e3 * statistics.median(value) for key, value in times.items()}
    cells = [
        name, f"{len(surface.faces):,}".replace(",", " "), f"{statistics.median(maxima):.0f}",
        f"{1e3 * statistics.median(ready):.0f}", f"{ms['kernel']:.2f}", f"{ms['sweep']:.2f}",
        f"{ratio(times, 'sweep', 'kernel'):.2f}", f"{ratio(times, 'report', 'kernel'):.2f}",
        f"{ratio(times, 'sweep', 'pass'):.1f}",
    ]  # fmt: skip
    if peer is not None:
        cells += [
            f"{ms['gudhi']:.0f}", f"{ratio(times, 'gudhi', 'sweep'):.1f}",
            f"{ratio(times, 'built', 'sweep'):.1f}",
        ]  # fmt: skip
    print("| " + " | ".join(cells) + " |", flush=True)


def ratio(times: dict[str, list[float]], a: str, b: str) -> float:
    """Median over the directions of the ratio of two peers' times."""
    return statistics.median(x / y for x, y in zip(times[a], times[b], strict=True))


def measure_sweep(name: str, mesh: TriMesh, count: int) -> None:
    """Print what many directions take: kernels alone, one by one, two threads, two processes."""
    surface = prepare(mesh)
    ups = directions(count)
    times: dict[str, list[float]] = {"kernel": [], "one": [], "threads": []}

    def step(up: np.ndarray) -> None:
        pockets_in(surface, up)

    with ThreadPoolExecutor(2) as pool:
        for part in np.array_split(ups, max(1, count // 20)):
            alone = [kernel(surface, up) for up in part]
            work: dict[str, Callable[[], Any]] = {
                "kernel": lambda w=alone: [run() for run in w],
                "one": lambda p=part: [step(up) for up in p],
                "threads": lambda p=part: list(pool.map(step, p)),
            }
            for key, run in work.items():
                times[key].append(min(seconds(run, time.perf_counter) for _ in range(2)))
    total = {key: sum(value) for key, value in times.items()}
    both = []
    for _ in range(3):
        # With all that a crew costs: its start, and writing the surface for it.
        begin = time.perf_counter()
        with Crew(2) as crew:
            list(crew.map(pockets_in, surface, ups))
        both.append(time.perf_counter() - begin)
    cells = [
        name, f"{len(surface.faces):,}".replace(",", " "), str(count), f"{total['kernel']:.2f}",
        f"{total['one']:.2f}", f"{ratio(times, 'one', 'kernel'):.2f}",
        f"{ratio(times, 'one', 'threads'):.2f}", f"{total['one'] / statistics.median(both):.2f}",
    ]  # fmt: skip
    print("| " + " | ".join(cells) + " |", flush=True)


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", type=int, nargs="*", default=SIZES, help="triangles")
    parser.add_argument("--no-gudhi", action="store_true", help="leave the peer out")
    parser.add_argument("--sweep", type=int, default=200, help="directions of the sweep")
    given = parser.parse_args()
    print(f"numpy {np.__version__}, {os.cpu_count()} processors", end="")
    if hasattr(os, "getloadavg"):
        print(f", load {os.getloadavg()[0]:.1f} before", end="")
    print("\n")
    head = ["surface", "triangles", "maxima", "prepare ms", "kernel ms", "sweep ms",
            "sweep / kernel", "report / kernel", "passes"]  # fmt: skip
    if not given.no_gudhi:
        head += ["gudhi ms", "gudhi / sweep", "gudhi built / sweep"]
    if given.sizes:
        print("| " + " | ".join(head) + " |\n|" + " --- |" * len(head))
    for size in given.sizes:
        measure("sphere", sphere(size, BUMPY), not given.no_gudhi)
        if size in HERONS:
            measure("heron", figure(*HERONS[size]), not given.no_gudhi)
        if size == 100_000:
            measure("rough sphere", sphere(size, ROUGH), not given.no_gudhi)
    if given.sweep:
        head = ["surface", "triangles", "directions", "kernels s", "sweep s", "sweep / kernels",
                "gain of 2 threads", "gain of 2 processes"]  # fmt: skip
        print("\n| " + " | ".join(head) + " |\n|" + " --- |" * len(head))
        measure_sweep("sphere", sphere(100_000, BUMPY), given.sweep)
        measure_sweep("heron", figure(*HERONS[100_000]), given.sweep)
    return 0


if __name__ == "__main__":
    sys.exit(main())
