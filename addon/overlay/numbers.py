"""Numbers of the pockets beside their places, biggest bubbles first, none over another."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..colors import MATTERS, SEALED
from .pockets import Pockets

MOST = 60
WIDTH_PX, HEIGHT_PX, OFFSET_PX = 20.0, 13.0, 7.0

Label = tuple[int, float, float]


def labels(
    held: Pockets, matrix: Any, width: float, height: float, active: int, ui: float
) -> list[Label]:
    """Return number, x and y in pixels of what can be written; `active` always is.

    matrix : from Blender units to the region, (4, 4).
    """
    import numpy as np

    places = np.column_stack([held.places, np.ones(len(held.places))]) @ np.asarray(matrix).T
    ahead = places[:, 3] > 0.0
    flat = places[:, :2] / np.where(ahead, places[:, 3], 1.0)[:, None]
    x, y = ((flat + 1.0) * (width / 2.0, height / 2.0) + OFFSET_PX * ui).T
    inside = ahead & (x > 0.0) & (x < width) & (y > 0.0) & (y < height)
    written: list[Label] = []
    for i in _order(held, active):
        if not inside[i]:
            continue
        free = all(abs(x[i] - a) > WIDTH_PX * ui or abs(y[i] - b) > HEIGHT_PX * ui
                   for _, a, b in written)  # fmt: skip
        if free:
            written.append((i + 1, float(x[i]), float(y[i])))
            if len(written) == MOST:
                break
    return written


def _order(held: Pockets, active: int) -> Iterator[int]:
    if 0 <= active < len(held.kinds):
        yield active
    for i, kind in enumerate(held.kinds):  # the list has the biggest first
        if i != active and kind in (MATTERS, SEALED):
            yield i
