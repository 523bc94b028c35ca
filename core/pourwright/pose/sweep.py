"""Many directions judged, on several processors where that saves time.

Every direction, and every refinement, is worked out by itself, so the number of processes changes
nothing but the time.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Generator, Sequence
from typing import Any, TypeVar

from numpy.typing import NDArray

from pourwright.air import over_processes
from pourwright.pose.judge import Figure, judge
from pourwright.progress import Progress, silent
from pourwright.solid.mesh import Floats

Item = TypeVar("Item")
Result = TypeVar("Result")

# Starting processes takes about a second; they must save twice that.
_WORTH_S = 2.0


def sweep(
    figure: Figure,
    work: Callable[[Figure, Item], Result],
    items: Sequence[Item] | NDArray[Any],
    progress: Progress = silent,
    text: str = "Trying directions",
    processes: int = 1,
) -> list[Result]:
    """Return work(figure, item) for each item, in their order.

    work : a function at the top level of a module, such as `judge` with directions, (n, 3), for
    items. A progress that raises stops the work at once.
    """
    count = len(items)
    found: list[Result] = []
    with contextlib.closing(_answers(figure, work, list(items), processes)) as answers:
        for answer in answers:
            found.append(answer)
            progress(len(found) / count, f"{text}: {len(found)} of {count}")
    return found


def _answers(
    figure: Figure, work: Callable[[Figure, Item], Result], items: list[Item], processes: int
) -> Generator[Result, None, None]:
    if processes > 1 and len(items) > 1:
        yield from over_processes(work, figure, items, processes)
    else:
        for item in items:
            yield work(figure, item)


def seconds_each(figure: Figure, up: Floats) -> float:
    """Return how long it takes to judge a direction, once what is made on demand is there."""
    start = time.perf_counter()
    judge(figure, up)
    return time.perf_counter() - start


def processes_for(seconds: float) -> int:
    """Return over how many processes to spread work that takes one of them so long."""
    processors = os.cpu_count() or 1
    saved = seconds * (1.0 - 1.0 / processors)
    return processors if saved > _WORTH_S else 1
