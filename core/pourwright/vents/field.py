"""Routes for one kind of rod on the grid, given the rods that stand already."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.lines import samples
from pourwright.solid.mesh import Floats
from pourwright.vents.grid import Bools, Grid
from pourwright.vents.rods import trimmed
from pourwright.vents.site import Site
from pourwright.vents.sweep import Routes, moves_for, sweep

_SAMPLE_MM = 0.25
# Voxels by which a slanting wall may be nearer than its voxels, less the half that is allowed.
_GRID_ERROR = 0.35
# Round an end that does not hold, ends are shut within this.
_SHUT_MM = 1.5


@dataclass(frozen=True, eq=False)
class Rod:
    """A rod that holds, in the pour frame.

    path : (k, 3) from the contact upwards. landing : triangle it ends on, or -1. joins : number
    of the rod it ends on, or -1. Where both are -1 it ends in the open air. web_mm : measured,
    cut off at what was asked for. contact : surface vertex it starts at. ends_mm : lengths at
    its foot and at its top where it may be nearer than the web: as long as it takes to get clear
    of the surface that it stands on or lands on, at the angle between them but no more than twice
    web and radius, or of the rod that it joins. 0 where it ends in the open air.
    """

    path: Floats
    radius_mm: float
    landing: int
    joins: int
    web_mm: float
    contact: int
    ends_mm: tuple[float, float]

    @cached_property
    def box(self) -> Floats:
        """Lowest and highest corner (2, 3) round the middle line."""
        return np.array([self.path.min(axis=0), self.path.max(axis=0)])

    @cached_property
    def core(self) -> Floats:
        """Points (c, 3) along the part that has to keep its web, none where it is all end."""
        inner = trimmed(self.path, *self.ends_mm)
        return np.empty((0, 3)) if inner is None else samples(inner, _SAMPLE_MM)


@dataclass(frozen=True, eq=False)
class Field:
    """Routes for rods of one radius, given the rods that stand already."""

    radius_mm: float
    web_mm: float
    slope_deg: float
    clear: Bools
    routes: Routes
    rods: int


def field(
    site: Site,
    rods: Sequence[Rod],
    radius_mm: float,
    *,
    web_mm: float | None = None,
    slope_deg: float | None = None,
    floor_mm: float = -np.inf,
    banned: Sequence[Floats] = (),
) -> Field:
    """Find the routes of all voxels from `floor_mm` up for one kind of rod.

    banned : ends that turned out not to hold, and with them all ends near by.
    """
    web = site.settings.web_mm if web_mm is None else web_mm
    slope = site.settings.slope_deg if slope_deg is None else slope_deg
    grid = site.grid
    need = (web + radius_mm) / grid.pitch_mm + _GRID_ERROR
    clear = grid.off2 >= min(np.ceil(need * need), grid.reach**2 + 1)
    for rod in rods:
        _keep_off(grid, clear, rod.path, rod.radius_mm + web + radius_mm)
    ends = _ends(site, clear, need)
    for exit_ in banned:
        _shut(grid, ends, exit_)
    floor = 0 if np.isinf(floor_mm) else max(grid.voxel(np.array([0.0, 0.0, floor_mm]))[0], 0)
    return Field(
        radius_mm, web, slope, clear, sweep(grid, clear, ends, moves_for(slope), floor), len(rods)
    )


def _ends(site: Site, clear: Bools, need_voxels: float) -> NDArray[np.float32]:
    """Price of ending in each voxel: nothing at the top, the last bit and the scar on landings."""
    grid, at = site.grid, site.grid.entries
    ends = np.full(grid.shape, np.inf, dtype=np.float32)
    ends[-1] = grid.pitch_mm / 2
    good = np.flatnonzero(site.drained[at.triangle])
    row, column, z = at.row[good], at.column[good], at.z_mm[good]
    price = site.land_price[at.triangle[good]]
    layer = np.rint((z - grid.low_mm[2]) / grid.pitch_mm).astype(np.int64)
    # The wall itself fills a voxel; below it the way must be free down to a clear voxel.
    free = np.ones(len(good), dtype=bool)
    # Within the end zone, that is: farther off the rod must keep its web from the landing too.
    for below in range(1, int(need_voxels) + 2):
        here = layer - below
        free &= here >= 0
        inside = free & (here < grid.shape[0])
        free[inside] &= ~grid.solid[here[inside], row[inside], column[inside]]
        inside &= free
        spot = np.flatnonzero(inside)
        spot = spot[clear[here[spot], row[spot], column[spot]]]
        left = z[spot] - (grid.low_mm[2] + here[spot] * grid.pitch_mm)
        near = left <= (need_voxels + 1) * grid.pitch_mm
        spot, left = spot[near], left[near]
        np.minimum.at(
            ends, (here[spot], row[spot], column[spot]), (left + price[spot]).astype(np.float32)
        )
    return ends


def _shut(grid: Grid, ends: NDArray[np.float32], place: Floats) -> None:
    """Take away the ends round a place, in place."""
    low = np.floor((place - _SHUT_MM - grid.low_mm) / grid.pitch_mm).astype(int)
    high = np.ceil((place + _SHUT_MM - grid.low_mm) / grid.pitch_mm).astype(int) + 1
    x0, y0, z0 = np.maximum(low, 0)
    x1, y1, z1 = np.maximum(high, 0)
    # Ends lie up to an end zone below the place where the rod ends.
    ends[max(z0 - grid.reach, 0) : z1, y0:y1, x0:x1] = np.inf


def _keep_off(grid: Grid, clear: Bools, path: Floats, distance_mm: float) -> None:
    """Close the voxels within a distance of a path, in place."""
    for a, b in itertools.pairwise(path):
        low = np.minimum(a, b) - distance_mm
        high = np.maximum(a, b) + distance_mm
        first = np.maximum(np.floor((low - grid.low_mm) / grid.pitch_mm).astype(int), 0)
        last = np.ceil((high - grid.low_mm) / grid.pitch_mm).astype(int) + 1
        x0, y0, z0 = first
        x1, y1, z1 = np.minimum(last, np.array(grid.shape)[::-1])
        if x0 >= x1 or y0 >= y1 or z0 >= z1:
            continue
        way = b - a
        axis = [grid.low_mm[i] + np.arange(s, e) * grid.pitch_mm
                for i, (s, e) in enumerate(((x0, x1), (y0, y1), (z0, z1)))]
        dx, dy, dz = axis[0] - a[0], axis[1] - a[1], axis[2] - a[2]
        along = (dz[:, None, None] * way[2] + dy[:, None] * way[1] + dx * way[0]) / (way @ way)
        share = np.clip(along, 0, 1)
        off2 = (
            (dx - share * way[0]) ** 2
            + (dy[:, None] - share * way[1]) ** 2
            + (dz[:, None, None] - share * way[2]) ** 2
        )
        clear[z0:z1, y0:y1, x0:x1] &= off2 >= distance_mm**2
