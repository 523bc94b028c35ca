"""Inside or outside by solid angles: the judge of volumes, which shares no code with the core.

A point's winding number is the sum of the signed solid angles under which it sees the triangles,
over 4 pi (A. van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. BME-30, 1983, page 125).
"""

from __future__ import annotations

import numpy as np


def winding(soup: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Winding numbers (k,) of points (k, 3) in triangles (m, 3, 3)."""
    total = np.zeros(len(points))
    step = max(1, 40_000 // max(len(soup), 1))
    for start in range(0, len(points), step):
        p = points[start : start + step, None, :]
        a, b, c = (soup[None, :, i] - p for i in range(3))
        la, lb, lc = (np.sqrt((v * v).sum(axis=2)) for v in (a, b, c))
        cross = np.cross(b, c)
        over = (a * cross).sum(axis=2)
        under = la * lb * lc + (
            (a * b).sum(axis=2) * lc + (b * c).sum(axis=2) * la + (c * a).sum(axis=2) * lb
        )
        total[start : start + step] = np.arctan2(over, under).sum(axis=1) / (2 * np.pi)
    return total


def without_repeats(soup: np.ndarray) -> np.ndarray:
    """The triangles without exact repeats and without those that have two equal corners."""
    corners = soup + 0.0
    _, number = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    faces = number.reshape(-1, 3)
    a, b, c = faces.T
    proper = (a != b) & (b != c) & (c != a)
    faces, corners = faces[proper], corners[proper]
    if len(faces) == 0:
        return corners
    turn = np.argmin(faces, axis=1)[:, None]
    turned = np.take_along_axis(faces, (np.arange(3) + turn) % 3, axis=1)
    _, first = np.unique(turned, axis=0, return_index=True)
    return corners[np.sort(first)]


def disagreement(given: np.ndarray, made: np.ndarray, points: int = 500) -> float:
    """Share of the solid that lies in one of two surfaces and not in the other.

    given : what was read, shells that may overlap (their union counts). made : one solid.
    The points are random but the same for the same surfaces.
    """
    with np.errstate(all="ignore"):
        return _disagreement(without_repeats(given), made, points)


def _disagreement(given: np.ndarray, made: np.ndarray, points: int) -> float:
    low, high = given.reshape(-1, 3).min(axis=0), given.reshape(-1, 3).max(axis=0)
    rng = np.random.default_rng(3)
    middle, size = (low + high) / 2, high - low
    given, made = given - middle, made - middle  # for digits
    at = rng.uniform(-0.5, 0.5, (points, 3)) * size
    want, got = winding(given, at) > 0.5, winding(made, at) > 0.5
    if want.sum() < 60:  # spikes through an almost empty box: look just under every triangle
        faces = np.repeat(given, 1 + 200 // len(given), axis=0)
        a, b, c = (faces[:, i] for i in range(3))
        share = rng.dirichlet((1, 1, 1), len(faces))
        normal = np.cross(b - a, c - a)
        length = np.sqrt((normal * normal).sum(axis=1))[:, None]
        near = (share[:, :, None] * faces).sum(axis=1)
        at = near - 1e-4 * normal / np.sqrt(np.maximum(length, 1e-300))
        want, got = winding(given, at) > 0.5, winding(made, at) > 0.5
        if not want.any():
            return 0.0 if not got.any() else 1.0
    # By chance alone, points on a facet's rounding may differ.
    return max(int((want != got).sum()) - 2, 0) / int(want.sum())
