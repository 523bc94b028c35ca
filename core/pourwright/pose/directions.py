"""Directions to try: evenly over a cone, and the same ones on every run."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pourwright.air import unit_vector
from pourwright.solid.columns import frame
from pourwright.solid.mesh import Floats

_GOLDEN_ANGLE = math.pi * (3.0 - math.sqrt(5.0))
# A direction counts as inside a cone within this cosine, rounding's share.
_ROUNDING = 1e-12
# As many directions are compared with all others at once.
_AT_ONCE = 64


def cone_directions(axis: Sequence[float] | Floats, cone_deg: float, count: int) -> Floats:
    """Return unit vectors evenly over the cone about `axis`, (count, 3), the axis first.

    Fibonacci's spiral: equal steps along the axis and golden turns give every direction the same
    area, in a frame that depends on the axis alone. cone_deg : half angle; 180 is the whole
    sphere, and at 0 there is only the axis. Raises InputError for an axis without direction.
    """
    up = unit_vector(tuple(axis))
    if cone_deg <= 0.0 or count == 1:
        return up[None, :]
    step = np.arange(1, count)
    # The axis stands for the first of `count` equal areas.
    along = 1.0 - (1.0 - math.cos(math.radians(cone_deg))) * (step + 0.5) / count
    across = np.sqrt(np.maximum(1.0 - along**2, 0.0))
    turn = step * _GOLDEN_ANGLE
    local = np.stack([across * np.cos(turn), across * np.sin(turn), along], axis=1)
    return np.vstack([up, normalised(local @ frame(up))])


def spacing_deg(cone_deg: float, count: int) -> float:
    """Return about how far apart neighbours among `count` directions in a cone are, degrees."""
    area = 2.0 * math.pi * (1.0 - math.cos(math.radians(cone_deg))) / count
    return math.degrees(math.sqrt(area))


def in_cone(directions: Floats, axis: Floats, cone_deg: float) -> np.ndarray:
    """Return which of (n, 3) unit vectors are within the half angle of the axis, (n,) bool."""
    if cone_deg >= 180.0:
        return np.ones(len(directions), dtype=bool)
    inside: np.ndarray = directions @ axis >= math.cos(math.radians(cone_deg)) - _ROUNDING
    return inside


def thinned(directions: Floats, least_deg: float, others: Floats | None = None) -> Floats:
    """Return directions so that none is within least_deg of one before it, or of `others`."""
    if others is not None and len(others):
        near = [
            (directions[i : i + _AT_ONCE] @ others.T).max(axis=1)
            for i in range(0, len(directions), _AT_ONCE)
        ]
        directions = directions[np.concatenate([*near, []]) < math.cos(math.radians(least_deg))]
    kept: list[int] = []
    for i, direction in enumerate(directions):
        if not kept or angle_deg(directions[kept], direction).min() >= least_deg:
            kept.append(i)
    return directions[kept]


def angle_deg(a: Floats, b: Floats) -> Floats:
    """Return the angle between unit vectors, (..., 3) each; exact for small ones too."""
    half = np.linalg.norm(a - b, axis=-1) / 2.0
    angle: Floats = np.degrees(2.0 * np.arcsin(np.minimum(half, 1.0)))
    return angle


def normalised(vectors: Floats) -> Floats:
    """Return (n, 3) vectors at length 1."""
    unit: Floats = vectors / np.linalg.norm(vectors, axis=1)[:, None]
    return unit
