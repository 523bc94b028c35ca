"""How far the rubber has to stretch when a leaf is taken off: undercuts, measured.

A bit of rubber beside the master, taken straight along its leaf's opening, may run into the master.
Its **undercut** is the least way sideways, square to the opening, after which it runs free. Under a
mushroom's cap, opened along the stem, it is from the stem to the rim; behind a ball's equator, from
the ball to the equator's cylinder.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt

from pourwright.errors import Point
from pourwright.mould.leaves import Leaves
from pourwright.mould.parting import Parting
from pourwright.mould.surface import SurfaceGraph
from pourwright.solid.columns import Columns
from pourwright.solid.mesh import Floats, Ints
from pourwright.solid.vectors import doubled_areas

_CELLS = 240  # across the larger extent
_SAMPLES = 20_000
_SPOTS = 8
# Under this many cells an undercut may be the grid's own.
_TOLD_CELLS = 1.5


@dataclass(frozen=True)
class Spot:
    """A place that the rubber has to stretch over. area_mm2 : of surface round it, as deep or not
    much less so."""

    at_mm: Point
    undercut_mm: float
    area_mm2: float


@dataclass(frozen=True, eq=False)
class LeafReport:
    """One leaf as it comes off.

    opening : unit vector that it is taken along. area_mm2 : of master that it holds;
    undercut_mm2 : of it behind something. deepest_mm : greatest undercut. spots : the worst
    places, some way apart. points_mm, undercut_mm : (k, 3) and (k,) for drawing.
    step_mm : precision of all of these.
    """

    opening: Floats
    area_mm2: float
    undercut_mm2: float
    deepest_mm: float
    spots: tuple[Spot, ...]
    points_mm: Floats
    undercut_mm: Floats
    step_mm: float


def demould(
    graph: SurfaceGraph, parting: Parting, leaves: Leaves
) -> tuple[LeafReport, LeafReport]:
    """Measure the undercuts of both leaves, the one towards the opening first, without rods."""
    return _leaf(graph, parting, leaves, 1), _leaf(graph, parting, leaves, -1)


def _leaf(graph: SurfaceGraph, parting: Parting, leaves: Leaves, sign: int) -> LeafReport:
    along = sign * parting.opening
    axes = np.stack([parting.along, np.cross(along, parting.along), along])
    free = np.flatnonzero(leaves.of_face != 0)
    coords = graph.points @ axes.T
    used = coords[np.unique(graph.faces[free])]
    low, high = used.min(axis=0), used.max(axis=0)
    step = float((high - low)[:2].max()) / _CELLS
    mine = np.flatnonzero(leaves.of_face == sign)
    area = float(graph.areas_mm2[mine].sum())
    chosen = _spread(graph.areas_mm2[mine], mine)
    if len(chosen) == 0:
        empty = np.empty((0, 3))
        return LeafReport(along, 0.0, 0.0, 0.0, (), empty, np.empty(0), step)
    normal = doubled_areas(coords, graph.faces[chosen])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    # Of the rubber beside the surface, clear of the cells that the surface itself is in.
    beside = coords[graph.faces[chosen]].mean(axis=1) + step * normal
    top, origin = _tops(coords, graph.faces[free], low, high, step)
    depth = _sideways(beside, top, origin, step, float(low[2]))
    points = graph.points[graph.faces[chosen]].mean(axis=1)
    each = area / len(chosen)
    deep = depth > _TOLD_CELLS * step
    return LeafReport(
        opening=along,
        area_mm2=area,
        undercut_mm2=float(each * deep.sum()),
        deepest_mm=float(depth[deep].max(initial=0.0)),
        spots=_spots(points, np.where(deep, depth, 0.0), each, float((high - low).max())),
        points_mm=points,
        undercut_mm=np.where(deep, depth, 0.0),
        step_mm=step,
    )


def _spread(areas: Floats, faces: Ints) -> Ints:
    """Faces chosen evenly by area, the larger ones several times."""
    if len(faces) == 0:
        return faces
    total = np.cumsum(areas)
    at = (np.arange(_SAMPLES) + 0.5) / _SAMPLES * total[-1]
    return faces[np.minimum(np.searchsorted(total, at), len(faces) - 1)]


def _tops(
    coords: Floats, faces: Ints, low: Floats, high: Floats, step: float
) -> tuple[Floats, Floats]:
    """How far the master reaches along the opening over each cell of a grid, and its origin."""
    origin = low[:2] - 2 * step
    counts = np.ceil((high[:2] - low[:2]) / step).astype(np.int64) + 4
    x, y = (origin[i] + (np.arange(counts[i]) + 0.4963) * step for i in range(2))
    lines = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    hits = Columns(coords, faces).hits(lines)
    top = np.full(len(lines), -np.inf)
    np.maximum.at(top, hits.line, hits.z)
    return top.reshape(counts[0], counts[1]), origin


def _sideways(
    points: Floats, top: Floats, origin: Floats, step: float, floor: float
) -> Floats:
    """Least way sideways, (n,), from each point to where nothing lies further along."""
    cell = np.floor((points[:, :2] - origin) / step).astype(np.int64)
    cell = np.clip(cell, 0, np.array(top.shape) - 1)
    level = np.floor((points[:, 2] - floor) / step).astype(np.int64)
    depth = np.zeros(len(points))
    behind = np.flatnonzero(top[cell[:, 0], cell[:, 1]] > points[:, 2] + 1e-9)
    for k in np.unique(level[behind]):
        here = behind[level[behind] == k]
        # Of the layer, its upper side: what ends within it is no obstacle.
        taken = top > floor + (k + 1) * step
        way = distance_transform_edt(taken) * step
        depth[here] = way[cell[here, 0], cell[here, 1]]
    return depth


def _spots(points: Floats, depth: Floats, each_mm2: float, size: float) -> tuple[Spot, ...]:
    """The deepest places, each with its surroundings left out for the next."""
    left = np.flatnonzero(depth > 0)
    left = left[np.argsort(-depth[left], kind="stable")]
    apart = 0.08 * size
    found: list[Spot] = []
    while len(left) and len(found) < _SPOTS:
        worst = left[0]
        off = np.linalg.norm(points[left] - points[worst], axis=1)
        near = off <= apart
        about = near & (depth[left] >= 0.5 * depth[worst])
        x, y, z = (float(c) for c in points[worst])
        found.append(Spot((x, y, z), float(depth[worst]), each_mm2 * int(about.sum())))
        left = left[~near]
    return tuple(found)


def stretch_percent(undercut_mm: float, across_mm: float) -> float:
    """Return how much rubber round a round thing of a width stretches to pass it, in per cent.

    undercut_mm : on either side. The rubber's own rim grows from across - 2 undercut to across.
    """
    inner = across_mm - 2 * undercut_mm
    return math.inf if inner <= 0 else 100.0 * (across_mm / inner - 1.0)
