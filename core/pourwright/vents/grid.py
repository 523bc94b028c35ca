"""The cavity as a grid of voxels in the pour frame: what is solid, and how far rods keep off it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.columns import Columns
from pourwright.solid.mesh import Floats, TriMesh

Bools = NDArray[np.bool_]
Bytes = NDArray[np.uint8]

# 60 million voxels: 60 MB for each of the byte grids and 240 MB for the costs of a sweep.
MAX_VOXELS = 60_000_000
# Squared distances are kept in bytes, so they are exact up to this many voxels.
MAX_REACH_VOXELS = 15


@dataclass(frozen=True, eq=False)
class Entries:
    """Places under the solid, one row each: a rod that rises there lands.

    row, column : of the voxel column. z_mm : height. triangle : of the mesh.
    """

    row: NDArray[np.int64]
    column: NDArray[np.int64]
    z_mm: Floats
    triangle: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Grid:
    """Voxels of a mesh whose third axis is the pour direction; index order (z, y, x).

    low_mm : (3,) x, y, z of the middle of voxel 0, 0, 0. pitch_mm : edge of a voxel.
    solid : (nz, ny, nx) whether the middle of the voxel is inside, or a wall passes it along the
        pour direction.
    off2 : (nz, ny, nx) squared distance to the nearest solid voxel in voxels, cut off above
        `reach` squared.
    entries : where lines along the columns enter the solid from below.
    """

    low_mm: Floats
    pitch_mm: float
    solid: Bools
    off2: Bytes
    reach: int
    entries: Entries

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of layers, rows and columns."""
        nz, ny, nx = self.solid.shape
        return (nz, ny, nx)

    def window(self, point_mm: Floats, half_mm: float) -> Grid:
        """The columns within `half_mm` of a point, along both rows and columns; no copies."""
        _, ny, nx = self.shape
        _, y, x = self.voxel(point_mm)
        n = int(np.ceil(half_mm / self.pitch_mm))
        y0, y1 = max(y - n, 0), min(y + n + 1, ny)
        x0, x1 = max(x - n, 0), min(x + n + 1, nx)
        at = self.entries
        mine = (at.row >= y0) & (at.row < y1) & (at.column >= x0) & (at.column < x1)
        entries = Entries(
            at.row[mine] - y0, at.column[mine] - x0, at.z_mm[mine], at.triangle[mine]
        )
        low = self.low_mm + self.pitch_mm * np.array([x0, y0, 0.0])
        here = (slice(None), slice(y0, y1), slice(x0, x1))
        return Grid(
            low, self.pitch_mm, self.solid[here], self.off2[here], self.reach, entries
        )

    def middle_mm(self, index: NDArray[np.int64]) -> Floats:
        """Positions (k, 3) x, y, z of voxels (k, 3) z, y, x."""
        return self.low_mm + index[:, ::-1] * self.pitch_mm

    def voxel(self, point_mm: Floats) -> tuple[int, int, int]:
        """Index z, y, x of the voxel nearest to a point."""
        x, y, z = np.rint((point_mm - self.low_mm) / self.pitch_mm).astype(int)
        return (int(z), int(y), int(x))

    def distance_mm(self, points_mm: Floats) -> Floats:
        """Distance (k,) of points (k, 3) from the solid, to a voxel's precision, cut off."""
        index = np.rint((points_mm - self.low_mm) / self.pitch_mm).astype(np.int64)
        high = np.array(self.shape)[::-1] - 1
        inside = (index >= 0) & (index <= high)
        held = inside.all()
        x, y, z = (index if held else np.clip(index, 0, high)).T
        found: Floats = np.sqrt(self.off2[z, y, x], dtype=np.float64) * self.pitch_mm
        if not held:
            found[~inside.all(axis=1)] = self.reach * self.pitch_mm
        return found


def voxelise(
    mesh: TriMesh,
    top_mm: float,
    pitch_mm: float,
    pad_mm: float,
    reach_mm: float,
    columns: Columns | None = None,
) -> Grid:
    """Put a closed mesh on a grid from `pad_mm` outside its sides up to the height `top_mm`.

    The topmost layer lies half a voxel under `top_mm`. The pitch is made coarser where the grid
    would not fit `MAX_VOXELS`, or distances up to `reach_mm` would not fit a byte. columns : of
    the mesh, where there are some already.
    """
    if columns is None:
        columns = Columns(mesh.vertices, mesh.faces)
    low, high = mesh.bounds_mm.copy()
    low[:2] -= pad_mm
    high[:2] += pad_mm
    high[2] = top_mm
    size = high - low
    pitch = max(
        pitch_mm,
        float(np.cbrt(size.prod() / MAX_VOXELS)) * 1.01,
        reach_mm / MAX_REACH_VOXELS,
    )
    reach = int(np.ceil(reach_mm / pitch - 1e-9))
    nx, ny, nz = np.maximum(np.ceil(size / pitch), 1).astype(int)
    origin = np.array([low[0] + pitch / 2, low[1] + pitch / 2, top_mm - (nz - 0.5) * pitch])
    solid, entries = _inside(columns, origin, pitch, (nz, ny, nx))
    return Grid(origin, pitch, solid, squared_distance(solid, reach), reach, entries)


def _inside(
    columns: Columns, origin: Floats, pitch: float, shape: tuple[int, int, int]
) -> tuple[Bools, Entries]:
    """Which voxel middles are inside, by crossings along vertical lines, and where those enter."""
    nz, ny, nx = shape
    # A hair off the middles, so that lines do not run through vertices of axis-aligned models.
    x = origin[0] + (np.arange(nx) + 1e-4) * pitch
    y = origin[1] + (np.arange(ny) + 1.7e-4) * pitch
    gx, gy = np.meshgrid(x, y)
    found = columns.hits(np.stack([gx.ravel(), gy.ravel()], axis=1))
    layer = np.clip(np.ceil((found.z - origin[2]) / pitch), 0, nz).astype(np.int16)
    by_layer = np.argsort(layer, kind="stable")
    line, inward = found.line[by_layer], -found.up[by_layer].astype(np.int16)
    ends = np.searchsorted(layer[by_layer], np.arange(nz), side="right")
    solid = np.zeros((nz, ny * nx), dtype=bool)
    depth, done = np.zeros(ny * nx, dtype=np.int16), 0
    for z, end in enumerate(ends):
        np.add.at(depth, line[done:end], inward[done:end])
        np.greater(depth, 0, out=solid[z])
        done = end
    # A wall thinner than a voxel would slip between two middles.
    at = np.rint((found.z - origin[2]) / pitch).astype(np.int64)
    on = np.flatnonzero((at >= 0) & (at < nz))
    solid[at[on], found.line[on]] = True
    enter = np.flatnonzero(found.up < 0)
    row, column = np.divmod(found.line[enter], nx)
    entries = Entries(row, column, found.z[enter], found.triangle[enter])
    return solid.reshape(shape), entries


def squared_distance(solid: Bools, reach: int) -> Bytes:
    """Squared distance to the nearest solid voxel, exact up to `reach`, then `reach`**2 + 1.

    One axis after the other, the smallest of the shifted distances plus the shift squared
    (P. Felzenszwalb, D. Huttenlocher: Distance transforms of sampled functions, Theory of
    Computing 8, 2012, from memory; cut off, so that bytes and a few shifts do).
    """
    far = min(reach * reach + 1, 255)
    shifts = [k for k in range(1, reach + 1) if k * k < far]
    away = _layers_away(solid, len(shifts) + 1)
    squares = np.minimum(np.arange(len(shifts) + 2) ** 2, far).astype(np.uint8)
    result = np.empty(solid.shape, dtype=np.uint8)
    # Layer by layer, which stays in the processor's cache, and only where there is something near
    # and something open. All round what is open lie solid voxels, and none beyond is nearer.
    for z, layer in enumerate(away):
        near, is_open = _extent(layer < len(squares) - 1, reach), _extent(layer > 0, 1)
        result[z] = np.where(layer > 0, np.uint8(far), np.uint8(0))
        if near is None or is_open is None:
            continue
        box = tuple(
            slice(max(n.start, o.start), min(n.stop, o.stop))
            for n, o in zip(near, is_open, strict=True)
        )
        spread = _spread(squares[layer[box]], shifts, far)
        result[z][box] = _spread(spread.T, shifts, far).T
    return result


def _extent(some: Bools, more: int) -> tuple[slice, slice] | None:
    """The rows and columns of a layer in which something is true, and some more round them."""
    rows, columns = (np.flatnonzero(some.any(axis=i)) for i in (1, 0))
    if not len(rows):
        return None
    return (
        slice(max(rows[0] - more, 0), rows[-1] + more + 1),
        slice(max(columns[0] - more, 0), columns[-1] + more + 1),
    )


def _layers_away(solid: Bools, most: int) -> Bytes:
    """Number of layers to the nearest solid voxel straight above or below, cut off at `most`."""
    away = np.empty(solid.shape, dtype=np.uint8)
    for order in (range(len(solid)), range(len(solid) - 1, -1, -1)):
        count = np.full(solid.shape[1:], most, dtype=np.uint8)
        for z in order:
            np.minimum(count + np.uint8(1), np.uint8(most), out=count)
            count[solid[z]] = 0
            away[z] = count if order.step > 0 else np.minimum(away[z], count)
    return away


def _spread(near: Bytes, shifts: Sequence[int], far: int) -> Bytes:
    """Smallest of the values along the first axis, each plus its distance squared."""
    before, result = np.ascontiguousarray(near), np.array(near, order="C")
    most = int(before.max())
    for k in shifts:
        if k * k >= most:
            break
        # What is cut off before the sum stays cut off after it, where the sum would not fit a byte.
        small = before if 2 * far <= 256 else np.minimum(before, np.uint8(far - k * k))
        shifted = small + np.uint8(k * k)
        np.minimum(result[k:], shifted[:-k], out=result[k:])
        np.minimum(result[:-k], shifted[k:], out=result[:-k])
    return result
