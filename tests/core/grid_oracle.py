"""Least-cost rising routes on a grid by scikit-image, which shares no code with the router."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from skimage.graph import MCP, MCP_Geometric

# Added to every price in the oracle's graph, so that going from price to price never pays.
_BIG = 1000.0


class Rising(MCP_Geometric):
    """Least-cost paths for steps wider than one voxel, weighted by their true length."""

    def __init__(self, costs: np.ndarray, offsets: Sequence[tuple[int, ...]]):
        # The parent's own constructor takes steps of one voxel only; the rest of it does not care.
        # The cost of a start counts once more this way.
        MCP.__init__(self, costs, offsets=offsets)


def cheapest(
    clear: np.ndarray, departures: np.ndarray, ends: np.ndarray, moves: np.ndarray, pitch: float
) -> float:
    """Cost of the cheapest rising route from any departure to any end, inf where there is none.

    clear : (nz, ny, nx). departures, ends : the same shape, price of starting and of ending in a
    voxel, inf where that is not allowed. moves : (m, 2) row and column steps for a layer's rise.

    The grid is laid three times in one graph: in the middle of a route, ended, not yet departed.
    """
    floor = int(np.flatnonzero(np.isfinite(departures).any(axis=(1, 2)))[0]) if (
        np.isfinite(departures).any()
    ) else -1
    ended = clear & np.isfinite(ends)
    if floor < 0 or not ended[floor:].any():
        return float("inf")
    clear, ends, departures, ended = (a[floor:] for a in (clear, ends, departures, ended))
    costs = np.full((3, *clear.shape), -1.0)
    costs[0][clear] = pitch
    costs[1][ended] = 2 * (ends[ended] + _BIG) - pitch
    begun = clear & np.isfinite(departures)
    if not begun.any():
        return float("inf")
    costs[2][begun] = (departures[begun] + _BIG - pitch) / 2
    offsets = [(0, 1, int(dy), int(dx)) for dy, dx in moves] + [(1, 0, 0, 0), (-2, 0, 0, 0)]
    starts = np.argwhere(begun)
    total, _ = Rising(costs, offsets).find_costs(
        np.column_stack([np.full(len(starts), 2), starts]).tolist(),
        np.column_stack([np.ones(int(ended.sum()), int), np.argwhere(ended)]).tolist(),
        find_all_ends=False,
    )
    return float(total[1].min()) - 2 * _BIG


def costs_down_from(
    clear: np.ndarray, ends: np.ndarray, moves: np.ndarray, pitch: float
) -> np.ndarray:
    """Cost of the cheapest rising route from every voxel to an end, inf where there is none."""
    costs = np.full((2, *clear.shape), -1.0)
    costs[0][clear] = pitch
    ended = clear & np.isfinite(ends)
    if not ended.any():
        return np.full(clear.shape, np.inf)
    costs[1][ended] = (ends[ended].astype(np.float64) + _BIG - pitch / 2) / 1.5
    down = [(0, -1, -int(dy), -int(dx)) for dy, dx in moves] + [(-1, 0, 0, 0)]
    starts = np.argwhere(ended)
    total, _ = Rising(costs, down).find_costs(
        np.column_stack([np.ones(len(starts), int), starts]).tolist()
    )
    return total[0] - _BIG
