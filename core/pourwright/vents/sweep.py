"""The best rising route from every voxel at once: one sweep through the layers, top to bottom.

Every move rises, so costs of a layer follow from those of the layer above it and nothing has to
be looked at twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourwright.vents.grid import Bools, Grid


@dataclass(frozen=True, eq=False)
class Routes:
    """Cheapest way out from each voxel.

    cost : (nz, ny, nx) float32 mm, inf where there is none. ends : (nz, ny, nx) of ending there.
    moves : (m, 2) row and column steps per layer. step_mm : (m,) length of each.
    """

    cost: NDArray[np.float32]
    ends: NDArray[np.float32]
    moves: NDArray[np.int64]
    step_mm: NDArray[np.float32]

    def path(self, start: tuple[int, int, int]) -> NDArray[np.int64]:
        """Voxels (k, 3) of the route from `start` to its end, which rise a layer each."""
        z, y, x = start
        voxels = [(z, y, x)]
        _, ny, nx = self.cost.shape
        cost, ends = self.cost.ravel(), self.ends.ravel()
        dy, dx = self.moves.T
        jump = (ny + dy) * nx + dx
        n = int(np.abs(self.moves).max(initial=0))
        # Costs are sums made in the same order here and there, so equality finds the way back.
        at = (z * ny + y) * nx + x
        while cost[at] < ends[at]:
            if n <= y < ny - n and n <= x < nx - n:
                best = int((cost[at + jump] + self.step_mm).argmin())
            else:
                on = np.flatnonzero((-dy <= y) & (y < ny - dy) & (-dx <= x) & (x < nx - dx))
                best = int(on[(cost[at + jump[on]] + self.step_mm[on]).argmin()])
            z, y, x = z + 1, y + int(dy[best]), x + int(dx[best])
            at = (z * ny + y) * nx + x
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
    step = (np.sqrt(1.0 + (moves**2).sum(axis=1)) * grid.pitch_mm).astype(np.float32)
    n = int(np.abs(moves).max(initial=0))
    alike = [(length, moves[step == length] + n) for length in np.unique(step)]
    # A rim as wide as the longest move, so that every move is one slice of the layer above.
    above = np.full((ny + 2 * n, nx + 2 * n), np.inf, dtype=np.float32)
    above[n : n + ny, n : n + nx] = cost[-1] = np.where(clear[-1], ends[-1], np.inf)
    for z in range(nz - 2, floor - 1, -1):
        best = cost[z]
        best[:] = ends[z]
        reached = np.isfinite(above)
        rows, columns = np.flatnonzero(reached.any(axis=1)), np.flatnonzero(reached.any(axis=0))
        if len(rows):
            y0, y1 = max(rows[0] - 2 * n, 0), min(rows[-1] + 1, ny)
            x0, x1 = max(columns[0] - 2 * n, 0), min(columns[-1] + 1, nx)
            window = best[y0:y1, x0:x1]
            for length, group in alike:
                slices = [above[y0 + dy : y1 + dy, x0 + dx : x1 + dx] for dy, dx in group]
                one = slices[0].copy()
                for other in slices[1:]:
                    np.minimum(one, other, out=one)
                one += length
                np.minimum(window, one, out=window)
        best[~clear[z]] = np.inf
        above[n : n + ny, n : n + nx] = best
    return Routes(cost, ends, moves, step)
