"""The inside of the cavity on a grid: which voxels, how full, of which body, how thick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.lattice import lattice_hits
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.vents.grid import Bools, squared_distance

# Voxels of the box round the cavity, and of the cavity itself; the grid is made coarser for more.
_MAX_BOX, _MAX_INSIDE = 12_000_000, 1_200_000
# Radii are exact up to this many voxels; what is thicker offers no resistance that counts.
_REACH = 15
# Lines through each voxel column, along x and along y: areas of thin sections come out right.
_LINES = 2
# A line's share of a voxel is counted in whole numbers, so that sums over stretches are exact.
_UNITS = 2**20
FULL = _LINES**2 * _UNITS
# A wall lies about this many voxels beyond the last voxel that is inside.
_EDGE = 0.35

Numbers = NDArray[np.int32]
Singles = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Filled:
    """Voxels that are inside, in the pour frame; index order (z, y, x), a rim of one all round.

    voxel : (n,) their flat numbers, rising. body, radius_mm : (n,) the number of the body, and
    the distance to the nearest wall. share : (nz, ny, nx) how much of each voxel is filled, in
    parts of FULL. low_mm : (3,) x, y, z of the middle of voxel 0, 0, 0.
    """

    voxel: Ints
    body: NDArray[np.int32]
    radius_mm: Singles
    share: Numbers
    low_mm: Floats
    pitch_mm: float


def filled(bodies: Sequence[TriMesh], top_mm: float, pitch_mm: float) -> Filled:
    """Put closed bodies that touch nowhere on a grid, given in the pour frame.

    top_mm : height of the mould top plane. pitch_mm : voxel edge, coarser where it has to be.
    """
    bounds = np.array([b.bounds_mm for b in bodies])
    low, high = bounds[:, 0].min(axis=0), bounds[:, 1].max(axis=0)
    high[2] = top_mm
    size = high - low
    volume = sum(b.volume_mm3 for b in bodies)
    pitch = max(
        pitch_mm,
        float(np.cbrt(size.prod() / _MAX_BOX)),
        float(np.cbrt(volume / _MAX_INSIDE)),
    )
    # A rim of one voxel on every side, so that neighbours always exist.
    nx, ny, nz = np.ceil(size / pitch).astype(int) + 2
    origin = np.array([low[0] - pitch / 2, low[1] - pitch / 2, top_mm - (nz - 1.5) * pitch])
    share = np.zeros((int(nz), int(ny), int(nx)), dtype=np.int32)
    owner = np.zeros(share.shape, dtype=np.int32) if len(bodies) > 1 else None
    stretches = []
    for number, mesh in enumerate(bodies):
        first, last = np.floor((bounds[number] - origin) / pitch + 0.5).astype(int)
        box = tuple(
            slice(max(a - 1, 0), b + 2) for a, b in zip(first[::-1], last[::-1], strict=True)
        )
        own, through = _entered(mesh, origin, pitch, share.shape, box)
        share[box] += own
        if owner is not None:
            owner[box][own > 0] = number
        stretches.append(through)
    inside = _solid(share)
    voxel = np.flatnonzero(inside)
    off2 = squared_distance(~inside, _REACH).reshape(-1)[voxel]
    radius = np.sqrt(np.arange(256, dtype=np.float32))[off2] + np.float32(_EDGE)
    # Sheets that lie flat are known exactly along the lines.
    chord = longest(stretches, share.shape).reshape(-1)[voxel]
    radius = np.minimum(radius, np.maximum(chord / 2, np.float32(0.25))) * np.float32(pitch)
    return Filled(
        voxel=voxel,
        body=np.zeros(len(voxel), np.int32) if owner is None else owner.reshape(-1)[voxel],
        radius_mm=radius,
        share=share,
        low_mm=origin,
        pitch_mm=pitch,
    )


@dataclass(frozen=True, eq=False)
class Stretches:
    """Stretches of lines inside: voxel column of the whole grid, ends in voxels from its floor."""

    column: Numbers
    low: Floats
    high: Floats


def _entered(
    mesh: TriMesh,
    origin: Floats,
    pitch: float,
    shape: tuple[int, ...],
    box: tuple[slice, ...],
) -> tuple[Numbers, Stretches]:
    """The filled share of each voxel of a part of the grid, and where lines are inside."""
    z0, y0, x0 = (s.start for s in box)
    nz, ny, nx = (min(s.stop, n) - s.start for s, n in zip(box, shape, strict=True))
    # A hair off, so that lines do not run along the sides of axis-aligned models.
    first = origin[:2] + (np.array([x0, y0]) - 0.25 + np.array([1e-4, 1.7e-4])) * pitch
    found = lattice_hits(
        mesh.vertices, mesh.faces, first, pitch / _LINES, (_LINES * ny, _LINES * nx)
    )
    height = (found.z - origin[2]) / pitch + 0.5
    # One number to sort by: heights are less than a line apart.
    order = np.argsort(found.line + np.clip(height / shape[0], 0.0, 0.999_999))
    line, height, way = found.line[order], height[order], -found.up[order].astype(np.int32)
    # A stretch inside runs from where the depth leaves 0 to where it is back.
    depth = np.cumsum(way)
    enters = np.flatnonzero((depth > 0) & (depth - way <= 0))
    leaves = np.flatnonzero((depth <= 0) & (depth - way > 0))
    low, high = height[enters], np.minimum(height[leaves], shape[0] - 1)
    row, column = np.divmod(line[enters], _LINES * nx)
    y, x = row // _LINES, column // _LINES
    # What changes from one layer to the next, then the sum; what ends in the last ends beyond it.
    share = np.zeros((nz + 1, ny * nx), dtype=np.int32)
    for ends, sign in ((low, 1), (high, -1)):
        layer = np.floor(ends).astype(np.int64)
        over = np.rint((ends - layer) * _UNITS).astype(np.int32)
        at = (layer - z0) * (ny * nx) + y * nx + x
        np.add.at(share.reshape(-1), at, sign * (_UNITS - over))
        np.add.at(share.reshape(-1), at + ny * nx, sign * over)
    np.cumsum(share, axis=0, out=share)
    through = Stretches(((y + y0) * shape[2] + x + x0).astype(np.int32), low, high)
    return share[:-1].reshape(nz, ny, nx), through


def longest(stretches: Sequence[Stretches], shape: tuple[int, ...]) -> Singles:
    """The longest stretch through each voxel, in voxels."""
    column = np.concatenate([s.column for s in stretches])
    low = np.concatenate([s.low for s in stretches])
    length = np.concatenate([s.high for s in stretches]) - low
    # Where several go through a voxel the last one written stays, so the longest come last.
    order = np.argsort(length, kind="stable")
    column, low, length = column[order], low[order], length[order]
    first = np.floor(low).astype(np.int32)
    runs = np.ceil(low + length).astype(np.int32) - first
    start = np.cumsum(runs) - runs
    layer_size = shape[1] * shape[2]
    flat = np.arange(int(runs.sum())) - np.repeat(start, runs)
    flat *= layer_size
    flat += np.repeat(first.astype(np.int64) * layer_size + column, runs)
    longest = np.zeros(shape, dtype=np.float32)
    longest.reshape(-1)[flat] = np.repeat(length.astype(np.float32), runs)
    return longest


def _solid(share: Numbers) -> Bools:
    """Voxels that are filled by half at least, and whatever is too thin for that anywhere."""
    half = share >= FULL // 2
    near = half.copy()
    for axis in range(3):
        for there, here in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
            to = tuple(there if i == axis else slice(None) for i in range(3))
            of = tuple(here if i == axis else slice(None) for i in range(3))
            near[to] |= half[of]
    near |= share == 0
    np.logical_not(near, out=near)
    half |= near
    return half
