"""The inside of the cavity, sliced by its way from the pour opening.

A front runs from the mould top plane through the inside; what it reaches in equal steps is a slice,
and where it runs on in several places at once there are as many slices side by side. So a leg is
a row of slices, and two legs that meet in a body are two rows that meet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pourwright.gates.filled import FULL, Filled, Numbers, filled
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.vents.grid import Bools

# Steps of one cycle: twice to the 6 neighbours across a face, then to all 26. What is reached then
# lies from 2.83 (across an edge) to 3.32 voxels off, so lengths are measured where that matters.
_CYCLE = (6, 6, 26)

_AROUND = np.array([
    (z, y, x) for z in (-1, 0, 1) for y in (-1, 0, 1) for x in (-1, 0, 1) if (z, y, x) != (0, 0, 0)
])
# Neighbours along a side come first, then those over an edge, then those over a corner.
_AROUND = _AROUND[np.argsort(np.abs(_AROUND).sum(axis=1), kind="stable")]


@dataclass(frozen=True, eq=False)
class Slices:
    """Slices of the inside, in the pour frame; rows belong together.

    volume_mm3, radius_mm : (k,) of each slice; the radius is that of the largest ball in it.
    top_mm : (k,) its highest point along the pour. middle_mm : (k, 3) its middle.
    length_mm : (k,) of each slice along the way. source : (k,) whether it lies in the mould top
    plane.
    body : (k,) number of the separate body it belongs to.
    link_a, link_b : (m,) slices that touch.
    number : (nz, ny, nx) slice of each voxel, -1 outside. low_mm, pitch_mm : as in vents' grids.
    """

    volume_mm3: Floats
    radius_mm: Floats
    top_mm: Floats
    middle_mm: Floats
    length_mm: Floats
    source: Bools
    body: Ints
    link_a: Ints
    link_b: Ints
    number: Numbers
    low_mm: Floats
    pitch_mm: float

    def at(self, points_mm: Floats) -> Ints:
        """Slice at points (k, 3) of the pour frame, -1 outside."""
        index = np.rint((points_mm - self.low_mm) / self.pitch_mm).astype(np.int64)
        inside = ((index >= 0) & (index < np.array(self.number.shape)[::-1])).all(axis=1)
        x, y, z = np.where(inside[:, None], index, 0).T
        return np.where(inside, self.number[z, y, x], -1).astype(np.int64)


def sliced(bodies: Sequence[TriMesh], top_mm: float, pitch_mm: float) -> Slices:
    """Slice the inside of closed bodies that touch nowhere, given in the pour frame.

    top_mm : height of the mould top plane. pitch_mm : voxel edge, coarser where it has to be.
    """
    return slices_of(filled(bodies, top_mm, pitch_mm))


def slices_of(grid: Filled) -> Slices:
    """Slice the inside of a grid, in each body from the topmost layer on."""
    nz, ny, nx = grid.share.shape
    offsets = _AROUND @ np.array([ny * nx, nx, 1])
    top_layer = (nz - 2) * ny * nx
    number = _steps(grid, offsets, int(np.searchsorted(grid.voxel, top_layer)))
    runs = _runs(grid, number // len(_CYCLE))
    a, b = _touching(runs, grid, nx)
    same = runs.level[a] == runs.level[b]
    graph = coo_array(
        (np.ones(int(same.sum()), np.int8), (a[same], b[same])), shape=(len(runs.begin),) * 2
    )
    count, label = connected_components(graph, directed=False)
    one, two = label[a[~same]].astype(np.int64), label[b[~same]].astype(np.int64)
    links = np.unique(np.minimum(one, two) * count + np.maximum(one, two))
    number = np.full(grid.share.size, -1, dtype=np.int32)
    number[grid.voxel] = np.repeat(label, runs.voxels)

    def added(of_runs: Floats | Ints) -> Floats:
        return np.bincount(label, weights=of_runs, minlength=count).astype(np.float64)

    z, rest = np.divmod(runs.begin, ny * nx)
    y, x = np.divmod(rest, nx)
    x = x + (runs.voxels - 1) / 2
    voxels = added(runs.voxels)
    middle = np.stack([added(runs.voxels * c) / voxels for c in (x, y, z)], axis=1)
    share = added(np.add.reduceat(grid.share.reshape(-1)[grid.voxel], runs.first, dtype=np.int64))
    share += _rims(grid, number, offsets, count)
    top = np.full(count, -1)
    np.maximum.at(top, label, z)
    radius = np.zeros(count, dtype=np.float32)
    np.maximum.at(radius, label, np.maximum.reduceat(grid.radius_mm, runs.first))
    body = np.zeros(count, dtype=np.int64)
    body[label] = runs.body
    pitch = grid.pitch_mm
    return Slices(
        volume_mm3=share / FULL * pitch**3,
        radius_mm=radius.astype(np.float64),
        top_mm=grid.low_mm[2] + (top + 0.5) * pitch,
        middle_mm=grid.low_mm + middle * pitch,
        length_mm=_lengths(middle * pitch, links // count, links % count, len(_CYCLE) * pitch),
        source=top == nz - 2,
        body=body,
        link_a=links // count,
        link_b=links % count,
        number=number.reshape(grid.share.shape),
        low_mm=grid.low_mm,
        pitch_mm=pitch,
    )


def _steps(grid: Filled, offsets: Ints, first: int) -> Numbers:
    """Step at which each inside voxel is reached from those of number `first` on, in its body.

    What cannot be reached is started anew from its highest voxel, some steps later.
    """
    moves = {6: offsets[:6], 26: offsets}
    outside, waits = -2, -1
    step = np.full(grid.share.size, outside, dtype=np.int32)
    step[grid.voxel] = waits
    owner = None
    if grid.body.any():
        owner = np.zeros(grid.share.size, dtype=np.int32)
        owner[grid.voxel] = grid.body
    front, left = grid.voxel[first:], grid.voxel
    now = 0
    while True:
        step[front] = now
        while len(front):
            now += 1
            around = front[:, None] + moves[_CYCLE[(now - 1) % len(_CYCLE)]]
            reached = step.take(around) == waits
            if owner is not None:
                reached &= owner.take(around) == owner.take(front)[:, None]
            front = around[reached]
            # Of a voxel that several others reach, the one that wrote last stays.
            tag = np.arange(outside - 1, outside - 1 - len(front), -1, dtype=np.int32)
            step[front] = tag
            front = front[step.take(front) == tag]
            step[front] = now
        left = left[step.take(left) == waits]
        if not len(left):
            return step.take(grid.voxel)
        now += 2 * len(_CYCLE) - now % len(_CYCLE)
        front = left[-1:]


@dataclass(frozen=True, eq=False)
class _Runs:
    """Voxels of one level and body that follow each other along x; rows belong together.

    begin, end : (r,) flat numbers of the first and the last voxel. first, voxels : (r,) place of
    the first among the voxels that are inside, and how many there are. level, body : of all.
    """

    begin: Ints
    end: Ints
    first: Ints
    voxels: Ints
    level: Numbers
    body: Numbers


def _runs(grid: Filled, level: Numbers) -> _Runs:
    voxel, body = grid.voxel, grid.body
    breaks = np.diff(voxel) != 1
    breaks |= np.diff(level) != 0
    breaks |= np.diff(body) != 0
    first = np.concatenate([[0], np.flatnonzero(breaks) + 1])
    voxels = np.diff(first, append=len(voxel))
    begin = voxel[first]
    return _Runs(begin, begin + voxels - 1, first, voxels, level[first], body[first])


def _touching(runs: _Runs, grid: Filled, nx: int) -> tuple[Ints, Ints]:
    """Pairs of runs of one body that touch, over edges and corners too, by number."""
    size = grid.share.size
    inside = np.zeros(size, dtype=bool)
    inside[grid.voxel] = True
    begins = np.zeros(size, dtype=bool)
    begins[runs.begin] = True
    begun = np.cumsum(begins, dtype=np.int32)  # runs that begin at each voxel or before it
    layer = size // grid.share.shape[0]
    beside = np.flatnonzero(runs.begin[1:] == runs.end[:-1] + 1)
    a, b = [beside], [beside + 1]
    for offset in (nx, layer - nx, layer, layer + nx):
        place = runs.begin + (offset - 1)
        start = begun.take(place) - inside.take(place)
        count = begun.take(runs.end + (offset + 1)) - start
        owner = np.repeat(np.arange(len(count)), count)
        before = np.cumsum(count) - count
        a.append(owner)
        b.append(np.arange(len(owner)) + (start - before).take(owner))
    one, two = np.concatenate(a), np.concatenate(b)
    same = runs.body[one] == runs.body[two]
    return (one, two) if same.all() else (one[same], two[same])


def _rims(grid: Filled, number: Numbers, offsets: Ints, count: int) -> Floats:
    """What slices fill of voxels that they fill by less than half: it counts all the same."""
    share = grid.share.reshape(-1)
    rim = np.flatnonzero((share > 0) & (number < 0))
    # Below the lowest layer there is nothing that they could be the rim of.
    total = np.zeros(count)
    for offset in offsets:
        beside = number.take(rim + offset, mode="clip")
        found = beside >= 0
        total += np.bincount(beside[found], weights=share[rim[found]], minlength=count)
        rim = rim[~found]
    return total


def _lengths(middle: Floats, a: Ints, b: Ints, usual_mm: float) -> Floats:
    """Length of each slice along the way: measured in channels, where it has two neighbours."""
    ends = np.concatenate([a, b])
    others = np.concatenate([b, a])
    order = np.argsort(ends, kind="stable")
    ends, others = ends[order], others[order]
    count = np.bincount(ends, minlength=len(middle))
    first = np.cumsum(count) - count
    inner = np.flatnonzero(count == 2)
    apart = middle[others[first[inner]]] - middle[others[first[inner] + 1]]
    length = np.full(len(middle), usual_mm)
    measured = np.sqrt((apart * apart).sum(axis=1)) / 2
    # A wide front is bent, and its middle moves by less or more than itself.
    length[inner] = np.clip(measured, 0.9 * usual_mm, 1.15 * usual_mm)
    return length
