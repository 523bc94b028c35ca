"""An order of points in which neighbours are close: along a space-filling curve."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.mesh import Floats

_BITS = 16


def places_on_curve(points: Floats) -> NDArray[np.uint64]:
    """Place of each point, (n, 3), on a Hilbert curve through its cell of a 2^16 grid.

    Unlike simpler curves it never jumps, so runs of neighbours are compact (J. Skilling:
    Programming the Hilbert curve, AIP Conference Proceedings 707, 2004, from memory).
    """
    low = points.min(axis=0)
    scale = (2**_BITS - 1) / max(float((points.max(axis=0) - low).max()), 1e-300)
    return hilbert_index([((points[:, i] - low[i]) * scale).astype(np.uint32) for i in range(3)])


def hilbert_index(cell: list[NDArray[np.uint32]], bits: int = _BITS) -> NDArray[np.uint64]:
    """Number of each cell along the curve; cell : three arrays of whole coordinates, (n,) each.

    The arrays are used up.
    """
    x = cell
    for level in range(bits - 1, 0, -1):
        below = np.uint32((1 << level) - 1)
        for axis in range(3):
            # All ones where the bit is set: turn the lower cube over, else swap two of its axes.
            is_set = -((x[axis] >> np.uint32(level)) & np.uint32(1))
            x[0] ^= is_set & below
            if axis:
                swap = (x[0] ^ x[axis]) & below & ~is_set
                x[0] ^= swap
                x[axis] ^= swap
    x[1] ^= x[0]
    x[2] ^= x[1]
    turn = np.zeros_like(x[0])
    for level in range(bits - 1, 0, -1):
        turn ^= -((x[2] >> np.uint32(level)) & np.uint32(1)) & np.uint32((1 << level) - 1)
    index = np.zeros(len(turn), dtype=np.uint64)
    for axis in range(3):
        index |= _spread(x[axis] ^ turn) << np.uint64(2 - axis)
    return index


def _spread(value: NDArray[np.uint32]) -> NDArray[np.uint64]:
    """Move bit i of each number to bit 3 i."""
    wide = value.astype(np.uint64)
    for shift, mask in (
        (32, 0x1F00000000FFFF), (16, 0x1F0000FF0000FF), (8, 0x100F00F00F00F00F),
        (4, 0x10C30C30C30C30C3), (2, 0x1249249249249249),
    ):  # fmt: skip
        wide = (wide | (wide << np.uint64(shift))) & np.uint64(mask)
    return wide
