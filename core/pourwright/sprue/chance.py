"""Seeded chance that is the same on every machine.

Only `random_raw` of PCG64 is used, whose stream NumPy promises never to change, and numbers are
made from it by integer shifts.
"""

from __future__ import annotations

import numpy as np

from pourwright.solid.mesh import Floats

_GRID = 1024.0


class Chance:
    """A stream of numbers from a seed."""

    def __init__(self, seed: int):
        self._bits = np.random.PCG64(seed)

    def numbers(self, count: int) -> Floats:
        """Return `count` numbers from 0 to below 1."""
        raw = np.asarray(self._bits.random_raw(count), dtype=np.uint64)
        return (raw >> np.uint64(11)).astype(np.float64) * 2.0**-53

    def between(self, low: float, high: float) -> float:
        """Return one number from `low` to below `high`."""
        return low + (high - low) * float(self.numbers(1)[0])

    def spread(self, count: int, low: float, high: float) -> Floats:
        """Return `count` numbers from `low` to below `high`."""
        return low + (high - low) * self.numbers(count)


class Noise:
    """Smooth noise over the plane, from -1 to 1, that repeats after 64 steps each way."""

    def __init__(self, chance: Chance):
        self._table = 2 * chance.numbers(64 * 64).reshape(64, 64) - 1

    def at(self, x: Floats, y: Floats) -> Floats:
        """Noise at points whose coordinates count the lattice's steps."""
        i, j = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
        u, v = x - i, y - j
        u, v = u * u * (3 - 2 * u), v * v * (3 - 2 * v)
        t = self._table
        a, b = t[i % 64, j % 64], t[(i + 1) % 64, j % 64]
        c, d = t[i % 64, (j + 1) % 64], t[(i + 1) % 64, (j + 1) % 64]
        return (a * (1 - u) + b * u) * (1 - v) + (c * (1 - u) + d * u) * v


def settled(points: Floats) -> Floats:
    """Points on a fixed fine grid, so that the last digits of sines do not matter."""
    return np.round(points * _GRID) / _GRID
