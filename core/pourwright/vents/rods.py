"""Round rods along a path: joints, break-off neck, ends sunk into what they join."""

from __future__ import annotations

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, TriMesh

_SIDES = 24
# Pieces overlap, not merely touch, so that their union is one body.
_OVERLAP_MM = 0.05
_CONE_PER_MM = 1.5  # a neck widens to the rod over this length for each mm of radius


def rod_body(
    path: Floats,
    diameter_mm: float,
    *,
    foot: Floats,
    neck_mm: float,
    neck_length_mm: float,
    head_mm: float,
    name: str,
) -> TriMesh:
    """Return a rod along `path`, (k, 3) mm, z upwards in the pour, as one closed mesh.

    foot : (3,) a point inside the figure that its first point is tied to. neck_mm,
    neck_length_mm : diameter and length of the thin end there. head_mm : how far it reaches
    beyond the last point, 0 for an end cut level with it (the mould top plane).
    """
    radius, neck = diameter_mm / 2, min(neck_mm, diameter_mm) / 2
    steps = np.diff(path, axis=0)
    length = np.linalg.norm(steps, axis=1)
    ways = steps / length[:, None]
    pieces: list[Floats] = []
    start = path[0]
    if neck < radius:
        cone = (radius - neck) * _CONE_PER_MM
        # A short first piece keeps some of its neck, but never loses the rod altogether.
        thin = min(neck_length_mm, 0.5 * float(length[0]))
        cone = min(cone, 0.9 * float(length[0]) - thin)
        waist, full = start + thin * ways[0], start + (thin + cone) * ways[0]
        pieces.append(_tied(foot, start, waist, neck))
        pieces.append(_frustum(waist - _OVERLAP_MM * ways[0], full, neck, radius))
        start = full - _OVERLAP_MM * ways[0]
    else:
        pieces.append(_tied(foot, start, start + 2 * _OVERLAP_MM * ways[0], radius))
    for i, way in enumerate(ways):
        last = i == len(ways) - 1
        end = path[i + 1]
        if last and head_mm > 0:
            end = end + head_mm * way
        pieces.append(_frustum(start, end, radius, radius, level_end=last and head_mm == 0))
        if not last:
            pieces.append(_ball(end, radius))
        start = path[i + 1]
    return boolean.united_hulls(pieces, name)


def _ring(way: Floats) -> Floats:
    """Unit circle square to a direction, (n, 3)."""
    helper = np.eye(3)[np.argmin(np.abs(way))]
    x = np.cross(way, helper)
    x /= np.linalg.norm(x)
    y = np.cross(way, x)
    angle = np.arange(_SIDES) * (2 * np.pi / _SIDES)
    ring: Floats = np.cos(angle)[:, None] * x + np.sin(angle)[:, None] * y
    return ring


def _frustum(
    low: Floats, high: Floats, r_low: float, r_high: float, *, level_end: bool = False
) -> Floats:
    """Points round a piece from `low` to `high`; its upper end may be level instead of square."""
    way = (high - low) / np.linalg.norm(high - low)
    ring = _ring(way)
    top = high + r_high * ring
    if level_end:
        top = top + ((high[2] - top[:, 2]) / way[2])[:, None] * way
        top[:, 2] = high[2]
    return np.vstack([low + r_low * ring, top])


def _tied(foot: Floats, start: Floats, end: Floats, radius: float) -> Floats:
    """Points round a piece from a first point on and round a ball inside the figure."""
    return np.vstack([_ball(foot, radius), _frustum(start, end, radius, radius)])


def _ball(middle: Floats, radius: float) -> Floats:
    """Points of a ball at a joint; its equator is as round as the rods that meet there."""
    rows = np.linspace(-np.pi / 2, np.pi / 2, 13)
    angle = np.arange(_SIDES) * (2 * np.pi / _SIDES)
    points = [
        np.column_stack([
            np.cos(row) * np.cos(angle), np.cos(row) * np.sin(angle), np.full(_SIDES, np.sin(row))
        ])
        for row in rows[1:-1]
    ]
    points.append(np.array([[0, 0, -1.0], [0, 0, 1.0]]))
    ball: Floats = middle + radius * np.vstack(points)
    return ball


def trimmed(path: Floats, skip_low_mm: float, skip_high_mm: float) -> Floats | None:
    """The path without the given lengths at its ends, or None where nothing is left."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    low, high = skip_low_mm, length[-1] - skip_high_mm
    if high - low < 1e-6:
        return None
    inner = (length > low) & (length < high)

    def at(where: float) -> Floats:
        return np.array([np.interp(where, length, path[:, i]) for i in range(3)])

    return np.vstack([at(low), path[inner], at(high)])
