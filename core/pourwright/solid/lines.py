"""Polylines."""

from __future__ import annotations

import itertools

import numpy as np

from pourwright.solid.mesh import Floats
from pourwright.solid.vectors import dot


def simplified(points: Floats, slack_mm: float) -> Floats:
    """Return a polyline (k, d) with fewer points, none of the others further off than the slack.

    D. Douglas, T. Peucker, Cartographica 10(2), 1973 (from memory).
    """
    keep = np.zeros(len(points), dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, len(points) - 1)]
    while stack:
        start, end = stack.pop()
        if end - start < 2:
            continue
        way = points[end] - points[start]
        off = points[start + 1 : end] - points[start]
        share = np.clip(off @ way / max(float(way @ way), 1e-300), 0.0, 1.0)
        gap = np.linalg.norm(off - share[:, None] * way, axis=1)
        worst = int(np.argmax(gap))
        if gap[worst] > slack_mm:
            middle = start + 1 + worst
            keep[middle] = True
            stack += [(start, middle), (middle, end)]
    return points[keep]


def samples(path: Floats, step_mm: float) -> Floats:
    """Points (k, 3) along a path at most `step_mm` apart, its corners among them."""
    points = [path[:1]]
    for a, b in itertools.pairwise(path):
        n = max(int(np.ceil(np.linalg.norm(b - a) / step_mm)), 1)
        points.append(a + (np.arange(1, n + 1) / n)[:, None] * (b - a))
    return np.vstack(points)


def near_path(points: Floats, path: Floats) -> Floats:
    """Distance (k,) of points (k, 3) from a path of straight pieces."""
    best = np.full(len(points), np.inf)
    for a, b in itertools.pairwise(path):
        way, off = b - a, points - a
        share = dot(off, way / (way @ way))
        off -= np.minimum(np.maximum(share, 0.0), 1.0)[:, None] * way
        best = np.minimum(best, dot(off, off))
    found: Floats = np.sqrt(best)
    return found
