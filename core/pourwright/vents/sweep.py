"""The best rising route from every voxel at once: one sweep through the layers, top to bottom.

Every move rises, so costs of a layer follow from those of the layer above it and nothing has to
be looked at twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourwright.vents.grid import Bools, Grid

_STOP = -1


@dataclass(frozen=True, eq=False)
class Routes:
    """Cheapest way out from each voxel, and how it goes on.

    cost : (nz, ny, nx) float32 mm, inf where there is none. move : (nz, ny, nx) int8 number of
    the move in `moves`, or -1 where the route ends. moves : (m, 2) row and column steps per layer.
    """

    cost: NDArray[np.float32]
    move: NDArray[np.int8]
    moves: NDArray[np.int64]

    def path(self, start: tuple[int, int, int]) -> NDArray[np.int64]:
        """Voxels (k, 3) of the route from `start` to its end, which rise a layer each."""
        z, y, x = start
        voxels = [(z, y, x)]
        while self.move[z, y, x] != _STOP:
            dy, dx = self.moves[self.move[z, y, x]]
            z, y, x = z + 1, y + int(dy), x + int(dx)
            voxels.append((z, y, x))
        return np.array(voxels)


def moves_for(slope_deg: float) -> NDArray[np.int64]:
    """Steps within one layer's rise that are at least as steep as `slope_deg` from level."""
    widest = 1.0 / np.tan(np.radians(slope_deg))
    n = min(int(widest + 1e-9), 5)
    steps = [
        (dy, dx)
        for dy in range(-n, n + 1)
        for dx in range(-n, n + 1)
        if dy * dy + dx * dx <= min(widest, 5.0) ** 2 + 1e-9
    ]
    steps.sort(key=lambda s: s[0] * s[0] + s[1] * s[1])
    return np.array(steps, dtype=np.int64)


def sweep(
    grid: Grid, clear: Bools, ends: NDArray[np.float32], moves: NDArray[np.int64], floor: int = 0
) -> Routes:
    """Find the cheapest route from every clear voxel to an end.

    clear : (nz, ny, nx) where a rod's middle may pass. ends : (nz, ny, nx) cost of ending in a
    voxel, inf where a route cannot end. floor : lowest layer that is needed.
    """
    nz, ny, nx = grid.shape
    cost = np.full(grid.shape, np.inf, dtype=np.float32)
    move = np.full(grid.shape, _STOP, dtype=np.int8)
    length = (np.sqrt(1.0 + (moves**2).sum(axis=1)) * grid.pitch_mm).astype(np.float32)
    cost[nz - 1] = np.where(clear[nz - 1], ends[nz - 1], np.inf)
    for z in range(nz - 2, floor - 1, -1):
        above, here = cost[z + 1], clear[z]
        rows = np.flatnonzero(np.isfinite(above).any(axis=1))
        best = np.where(here, ends[z], np.inf).astype(np.float32)
        if len(rows):
            which = move[z]
            cols = np.flatnonzero(np.isfinite(above).any(axis=0))
            y0, y1, x0, x1 = rows[0], rows[-1] + 1, cols[0], cols[-1] + 1
            for number, ((dy, dx), step) in enumerate(zip(moves, length, strict=True)):
                a, b = max(y0 - dy, 0), min(y1 - dy, ny)
                c, d = max(x0 - dx, 0), min(x1 - dx, nx)
                if a >= b or c >= d:
                    continue
                candidate = above[a + dy : b + dy, c + dx : d + dx] + step
                window = best[a:b, c:d]
                better = candidate < window
                np.copyto(window, candidate, where=better)
                np.copyto(which[a:b, c:d], np.int8(number), where=better)
        best[~here] = np.inf
        cost[z] = best
    return Routes(cost, move, moves)


