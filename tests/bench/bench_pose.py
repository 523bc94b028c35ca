"""What a second process gains in the search for a way up.

python tests/bench/bench_pose.py

Prints a table of docs/performance.md: the sweep alone, and the search as a whole. Both times hold
all that the other process costs: its start, and writing the surface for it. Needs idle processors.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "core"), str(ROOT / "tests" / "bench")]

from bench_air import BUMPY, figure, sphere  # noqa: E402

from pourwright.air import Crew  # noqa: E402
from pourwright.pose.judge import Figure, judge, judge_if_sound, ready  # noqa: E402
from pourwright.pose.refine import refine  # noqa: E402
from pourwright.pose.search import directions_of, search  # noqa: E402
from pourwright.pose.settings import PoseSettings  # noqa: E402
from pourwright.pose.sweep import sweep  # noqa: E402
from pourwright.shop.process import DEFAULT_PROCESS  # noqa: E402
from pourwright.solid import Solid, TriMesh, intake  # noqa: E402

TRIES = 3
EMBED_MM = 1.0


def sweep_s(figure: Figure, processes: int) -> float:
    directions = directions_of(figure)
    begin = time.perf_counter()
    with Crew(processes, refine.__module__) as crew:
        sweep(figure, judge_if_sound, directions, crew=crew)
    return time.perf_counter() - begin


def search_s(solid: Solid, processes: int) -> float:
    begin = time.perf_counter()
    search(solid, DEFAULT_PROCESS, PoseSettings(), EMBED_MM, processes=processes)
    return time.perf_counter() - begin


def row(name: str, mesh: TriMesh) -> str:
    solid = intake([mesh])
    made = ready(solid, DEFAULT_PROCESS, PoseSettings(), EMBED_MM)
    directions = directions_of(made)
    judge(made, directions[0])  # what is made on demand
    swept = [(sweep_s(made, 1), sweep_s(made, 2)) for _ in range(TRIES)]
    searched = [(search_s(solid, 1), search_s(solid, 2)) for _ in range(TRIES)]
    cells = [name, f"{len(mesh.faces):,}".replace(",", " "), str(len(directions))]
    for pairs in (swept, searched):
        one, two = (statistics.median(values) for values in zip(*pairs, strict=True))
        cells += [f"{one:.2f}", f"{two:.2f}", f"{statistics.median(a / b for a, b in pairs):.2f}"]
    return "| " + " | ".join(cells) + " |"


def main() -> int:
    """Print the table."""
    head = ["figure", "triangles", "directions", "sweep s", "with 2", "gain",
            "search s", "with 2", "gain"]  # fmt: skip
    print("| " + " | ".join(head) + " |\n|" + " --- |" * len(head))
    print(row("sphere", sphere(100_000, BUMPY)), flush=True)
    print(row("heron", figure(0.65, None)), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
