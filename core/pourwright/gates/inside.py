"""The inside of the cavity, sliced by its way from the pour opening.

A front runs from the mould top plane through the inside; what it reaches in equal steps is a slice,
and where it runs on in several places at once there are as many slices side by side. So a leg is
a row of slices, and two legs that meet in a body are two rows that meet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pourwright.solid.columns import Columns
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.vents.grid import Bools, squared_distance

# Voxels of the box round the cavity, and of the cavity itself; the grid is made coarser for more.
_MAX_BOX, _MAX_INSIDE = 12_000_000, 1_200_000
# Radii are exact up to this many voxels; what is thicker offers no resistance that counts.
_REACH = 15
# Steps of one cycle: twice to the 6 neighbours across a face, then to all 26. What is reached then
# lies from 2.83 (across an edge) to 3.32 voxels off, so lengths are measured where that matters.
_CYCLE = (6, 6, 26)

# Lines per voxel column, in voxels off its middle: areas of thin sections come out right.
_LINES = ((-0.25, -0.25), (-0.25, 0.25), (0.25, -0.25), (0.25, 0.25))
# A wall lies about this many voxels beyond the last voxel that is inside.
_EDGE = 0.35
_AROUND = np.array([
    (z, y, x) for z in (-1, 0, 1) for y in (-1, 0, 1) for x in (-1, 0, 1) if (z, y, x) != (0, 0, 0)
])

Singles = NDArray[np.float32]


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
    number: NDArray[np.int32]
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
    low = np.min([b.bounds_mm[0] for b in bodies], axis=0)
    high = np.max([b.bounds_mm[1] for b in bodies], axis=0)
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
    shape = (int(nz), int(ny), int(nx))
    share = np.zeros(shape, dtype=np.float32)
    chord = np.zeros(shape, dtype=np.float32)
    body = np.full(shape, -1, dtype=np.int16)
    for number, mesh in enumerate(bodies):
        before = share.copy() if number else None
        _fill(mesh, origin, pitch, share, chord)
        body[share > (0 if before is None else before)] = number
    inside = _solid(share)
    radius = np.sqrt(squared_distance(~inside, _REACH).astype(np.float32)) + np.float32(_EDGE)
    # Sheets that lie flat are known exactly along the lines.
    radius = np.minimum(radius * np.float32(pitch), np.maximum(chord / 2, np.float32(0.25 * pitch)))
    return _slices(inside, body, share, radius, origin, pitch)


def _fill(
    mesh: TriMesh, origin: Floats, pitch: float, share: Singles, chord: Singles
) -> None:
    """Enter a body into the grids: the filled share of each voxel, the longest stretch inside."""
    nz, ny, nx = share.shape
    columns = Columns(mesh.vertices, mesh.faces)
    for dy, dx in _LINES:
        # A hair off, so that lines do not run through vertices of axis-aligned models.
        x = origin[0] + (np.arange(nx) + dx + 1e-4) * pitch
        y = origin[1] + (np.arange(ny) + dy + 1.7e-4) * pitch
        gx, gy = np.meshgrid(x, y)
        found = columns.hits(np.stack([gx.ravel(), gy.ravel()], axis=1))
        order = np.lexsort((found.z, found.line))
        line, z, way = found.line[order], found.z[order], -found.up[order]
        # A stretch inside runs from where the depth leaves 0 to where it is back.
        depth = np.cumsum(way)
        enters = np.flatnonzero((depth > 0) & (depth - way <= 0))
        leaves = np.flatnonzero((depth <= 0) & (depth - way > 0))
        low = (z[enters] - origin[2]) / pitch + 0.5
        high = (z[leaves] - origin[2]) / pitch + 0.5
        first = np.clip(np.floor(low), 0, nz - 1).astype(np.int64)
        runs = np.clip(np.ceil(high) - 1, first, nz - 2).astype(np.int64) - first + 1
        owner = np.repeat(np.arange(len(runs)), runs)
        layer = np.arange(len(owner)) - np.repeat(np.cumsum(runs) - runs, runs) + first[owner]
        part = np.minimum(high[owner], layer + 1) - np.maximum(low[owner], layer)
        flat = layer * (ny * nx) + line[enters][owner]
        np.add.at(share.reshape(-1), flat, (part / len(_LINES)).astype(np.float32))
        np.maximum.at(
            chord.reshape(-1), flat, ((high - low)[owner] * pitch).astype(np.float32)
        )


def _solid(share: Singles) -> Bools:
    """Voxels that are filled by half at least, and whatever is too thin for that anywhere."""
    half = share >= 0.5
    near = half.copy()
    for axis in range(3):
        for there, here in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
            to = tuple(there if i == axis else slice(None) for i in range(3))
            of = tuple(here if i == axis else slice(None) for i in range(3))
            near[to] |= half[of]
    solid: Bools = half | ((share > 0) & ~near)
    return solid


def _slices(
    inside: Bools,
    body: NDArray[np.int16],
    share: Singles,
    radius: Singles,
    origin: Floats,
    pitch: float,
) -> Slices:
    nz, ny, nx = inside.shape
    flat = np.flatnonzero(inside)
    order = np.full(inside.size, -1, dtype=np.int32)
    order[flat] = np.arange(len(flat))
    offsets = _AROUND @ np.array([ny * nx, nx, 1])
    owner = body.reshape(-1)[flat]
    step = _front(flat, order, owner, offsets, int(np.searchsorted(flat, (nz - 2) * ny * nx)))
    level = step // len(_CYCLE)
    a, b = _touching(flat, order, owner, offsets[len(offsets) // 2 :])
    same = level[a] == level[b]
    graph = coo_array(
        (np.ones(int(same.sum()), np.int8), (a[same], b[same])), shape=(len(flat),) * 2
    )
    count, label = connected_components(graph, directed=False)
    one, two = label[a[~same]].astype(np.int64), label[b[~same]].astype(np.int64)
    links = np.unique(np.minimum(one, two) * count + np.maximum(one, two))
    number = np.full(inside.size, -1, dtype=np.int32)
    number[flat] = label
    # The rim of a slice fills its voxels by less than half; its volume counts all the same.
    rim = np.flatnonzero((share > 0) & ~inside)
    rim = rim[(rim // (ny * nx) > 0)]
    mine = np.full(len(rim), -1, dtype=np.int64)
    for offset in offsets[np.argsort(np.abs(_AROUND).sum(axis=1), kind="stable")]:
        mine = np.where(mine < 0, number[np.clip(rim + offset, 0, inside.size - 1)], mine)
    everyone = np.concatenate([label, mine[mine >= 0]])
    weight = share.reshape(-1)[np.concatenate([flat, rim[mine >= 0]])].astype(np.float64)
    total = np.bincount(everyone, weights=weight, minlength=count)
    z, rest = np.divmod(flat, ny * nx)
    y, x = np.divmod(rest, nx)
    voxels = np.bincount(label, minlength=count)
    middle = np.stack(
        [np.bincount(label, weights=c, minlength=count) / voxels for c in (x, y, z)], axis=1
    )
    top = np.full(count, -np.inf)
    np.maximum.at(top, label, origin[2] + (z + 0.5) * pitch)
    largest = np.zeros(count)
    np.maximum.at(largest, label, radius.reshape(-1)[flat].astype(np.float64))
    of_body = np.zeros(count, dtype=np.int64)
    of_body[label] = owner
    source = np.zeros(count, dtype=bool)
    source[label[z == nz - 2]] = True
    return Slices(
        volume_mm3=total * pitch**3,
        radius_mm=largest,
        top_mm=top,
        middle_mm=origin + middle * pitch,
        length_mm=_lengths(middle * pitch, links // count, links % count, len(_CYCLE) * pitch),
        source=source,
        body=of_body,
        link_a=links // count,
        link_b=links % count,
        number=number.reshape(inside.shape),
        low_mm=origin,
        pitch_mm=pitch,
    )


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


def _front(
    flat: Ints, order: NDArray[np.int32], owner: NDArray[np.int16], offsets: Ints, first: int
) -> Ints:
    """Step at which each inside voxel is reached from those of number `first` on, in its body.

    What cannot be reached is started anew from its highest voxel, some steps later.
    """
    level_moves = np.abs(_AROUND).sum(axis=1)
    moves = {6: offsets[level_moves == 1], 26: offsets}
    step = np.full(len(flat), -1, dtype=np.int64)
    front = np.arange(first, len(flat))
    highest = len(flat) - 1
    now = 0
    while True:
        step[front] = now
        while len(front):
            around = order[flat[front][:, None] + moves[_CYCLE[now % 3]]]
            around = around[(around >= 0) & (owner[around] == owner[front][:, None])]
            front = np.unique(around[step[around] < 0])
            now += 1
            step[front] = now
        while highest >= 0 and step[highest] >= 0:
            highest -= 1
        if highest < 0:
            return step
        now += 2 * len(_CYCLE) - now % len(_CYCLE)
        front = np.array([highest])


def _touching(
    flat: Ints, order: NDArray[np.int32], owner: NDArray[np.int16], offsets: Ints
) -> tuple[Ints, Ints]:
    """Pairs of inside voxels of one body that touch, by number."""
    a, b = [], []
    for offset in offsets:
        other = order[flat + offset]
        hit = np.flatnonzero((other >= 0) & (owner[other] == owner))
        a.append(hit)
        b.append(other[hit].astype(np.int64))
    return np.concatenate(a), np.concatenate(b)
