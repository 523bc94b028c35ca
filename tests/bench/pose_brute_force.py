"""The search for a way up against brute force: does it find the best of 5 000 directions?

python tests/bench/pose_brute_force.py [--bodies 20] [--first 0] [--process open]

For each random body the score of every direction of a dense spread is worked out by the same
function that the search asks. A body counts as found when the search's best score is within 1 %
of the lowest.
"""

from __future__ import annotations

import argparse
import statistics
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "core"), str(ROOT / "tests" / "core")]

import numpy as np  # noqa: E402
from pose_bodies import pose_body  # noqa: E402

from pourwright.pose import search as searching  # noqa: E402
from pourwright.pose.directions import cone_directions  # noqa: E402
from pourwright.pose.judge import judge, ready, score  # noqa: E402
from pourwright.pose.settings import PoseSettings  # noqa: E402
from pourwright.pose.sweep import sweep  # noqa: E402
from pourwright.shop.process import PROCESSES  # noqa: E402

EMBED_MM = 1.0
WITHIN = 0.01


def main() -> int:
    """Print a row for each body and how many were found; 1 where fewer than 95 % were."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bodies", type=int, default=20)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--brute", type=int, default=5000, help="directions of brute force")
    parser.add_argument("--process", default="open", choices=sorted(PROCESSES))
    given = parser.parse_args()
    process, settings = PROCESSES[given.process], PoseSettings()
    dense = cone_directions(settings.axis, 180.0, given.brute)
    counted = _counting()
    found, excess, tries = 0, [], []
    print("body kind   triangles  brute  search  excess %  judged")
    for number in range(given.first, given.first + given.bodies):
        kind, solid = pose_body(number)
        figure = ready(solid, process, settings, EMBED_MM)
        lowest = min(score(j.terms, settings.weights) for j in sweep(figure, judge, dense))
        counted.clear()
        best = searching.search(solid, process, settings, EMBED_MM).poses[0].score
        excess.append(best / lowest - 1.0)
        tries.append(sum(counted))
        found += excess[-1] <= WITHIN
        print(f"{number:4} {kind:6} {len(solid.mesh.faces):10} {lowest:6.2f} {best:7.2f} "
              f"{100 * excess[-1]:9.2f} {tries[-1]:7}", flush=True)
    print(f"{found} of {given.bodies} within {WITHIN:.0%}, {sum(e < 0 for e in excess)} below "
          f"brute force; median excess {100 * float(np.median(excess)):.2f} %, directions judged: "
          f"{statistics.median(tries):.0f} in the median")
    return 0 if found >= 0.95 * given.bodies else 1


def _counting() -> list[int]:
    """Have the search tell how many directions it judges."""
    counts: list[int] = []
    real = searching.sweep

    def watched(figure, work, items, *more):
        found = real(figure, work, items, *more)
        counts.append(sum(len(getattr(f, "directions", [0])) for f in found))
        return found

    searching.sweep = watched
    return counts


if __name__ == "__main__":
    sys.exit(main())
