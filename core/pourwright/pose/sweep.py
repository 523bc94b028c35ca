"""Many directions judged, on several processors where that saves time.

Every direction, and every refinement, is worked out by itself, so the number of processes changes
nothing but the time.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from numpy.typing import NDArray

from pourwright.air import Crew, processors
from pourwright.pose.judge import Figure
from pourwright.progress import Progress, silent

Item = TypeVar("Item")
Result = TypeVar("Result")

# Directions times triangles from which on helpers are started: about half a second of work, of
# which they save nearly half.
_WORTH = 1e7


def sweep(
    figure: Figure,
    work: Callable[[Figure, Item], Result],
    items: Sequence[Item] | NDArray[Any],
    progress: Progress = silent,
    text: str = "Trying directions",
    crew: Crew | None = None,
) -> list[Result]:
    """Return work(figure, item) for each item, in their order.

    work : a function at the top level of a module, such as `judge` with directions, (n, 3), for
    items. crew : who shares the work; None for this process alone. A progress that raises stops
    the work at once.
    """
    crew = crew or Crew(1)
    found: list[Result] = []
    with contextlib.closing(crew.map(work, figure, list(items))) as answers:
        for answer in answers:
            found.append(answer)
            progress(len(found) / len(items), f"{text}: {len(found)} of {len(items)}")
    return found


def processes_for(directions: int, triangles: int) -> int:
    """Return over how many processes to spread so many directions of a surface."""
    return processors() if directions * triangles > _WORTH else 1
