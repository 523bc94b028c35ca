"""Where a circle fits into plane outlines: the place for a funnel's neck."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.mesh import Floats

_GRID = 24
_ROUNDS = 5
# Pairs of point and edge that are looked at together; more do not fit into a processor's cache.
_CHUNK = 300_000


def clearance(loops: Sequence[Floats], points: Floats) -> Floats:
    """Distance of points (n, 2) to the nearest edge of closed outlines; negative outside them.

    Outer outlines and holes may run either way: a point is inside if it lies within an odd number
    of them.
    """
    a = np.vstack(loops)
    b = np.vstack([np.roll(loop, -1, axis=0) for loop in loops])
    rows = max(1, _CHUNK // len(a))
    parts = [_clearance(a, b, points[i : i + rows]) for i in range(0, len(points), rows)]
    return np.concatenate(parts)


def _clearance(a: Floats, b: Floats, points: Floats) -> Floats:
    along = b - a
    length = np.maximum((along**2).sum(axis=1), 1e-300)
    off = points[:, None, :] - a
    share = np.clip((off * along).sum(axis=2) / length, 0, 1)
    near = np.sqrt(((off - share[:, :, None] * along) ** 2).sum(axis=2).min(axis=1))
    result: Floats = np.where(_within(a, b, points), near, -near)
    return result


def within(loops: Sequence[Floats], points: Floats) -> NDArray[np.bool_]:
    """Whether points (n, 2) lie within closed outlines, as for `clearance`."""
    a = np.vstack(loops)
    return _within(a, np.vstack([np.roll(loop, -1, axis=0) for loop in loops]), points)


def _within(a: Floats, b: Floats, points: Floats) -> NDArray[np.bool_]:
    y = points[:, 1:]
    crossed = (a[:, 1] > y) != (b[:, 1] > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = a[:, 0] + (y - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    result: NDArray[np.bool_] = (crossed & (x > points[:, :1])).sum(axis=1) % 2 == 1
    return result


def widest_place(loops: Sequence[Floats]) -> tuple[Floats, float]:
    """Middle (2,) and radius of about the largest circle within closed outlines."""
    if not loops:
        return np.zeros(2), 0.0
    everything = np.vstack(loops)
    low, high = everything.min(axis=0), everything.max(axis=0)
    best, radius = (low + high) / 2, -np.inf
    for _ in range(_ROUNDS):
        x, y = (np.linspace(low[i], high[i], _GRID) for i in range(2))
        points = np.stack(np.meshgrid(x, y), axis=2).reshape(-1, 2)
        found = clearance(loops, points)
        top = int(np.argmax(found))
        if found[top] > radius:
            best, radius = points[top], float(found[top])
        step = (high - low) / _GRID * 2
        low, high = best - step, best + step
    return best, radius


def nearest_place(loops: Sequence[Floats], radius: float, wanted: Floats) -> Floats | None:
    """Middle of a circle of a radius within closed outlines, near a wanted point, or None.

    The wanted point itself where the circle fits there.
    """
    if not loops:
        return None
    best, widest = widest_place(loops)
    if widest < radius:
        return None
    if clearance(loops, wanted[None])[0] >= radius:
        return wanted
    everything = np.vstack(loops)
    low, high = everything.min(axis=0), everything.max(axis=0)
    x, y = (np.linspace(low[i], high[i], 2 * _GRID) for i in range(2))
    points = np.stack(np.meshgrid(x, y), axis=2).reshape(-1, 2)
    points = points[clearance(loops, points) >= radius]
    if not len(points):
        return best
    return points[int(np.argmin(((points - wanted) ** 2).sum(axis=1)))]
