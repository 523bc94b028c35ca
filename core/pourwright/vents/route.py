"""One rod: from a contact on the figure, by the cheapest rising way, to the open air or a landing.

Routes are found on the grid, drawn straight, and then measured against the real surface; only
what holds there is taken.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pourwright.solid.lines import near_path
from pourwright.solid.mesh import Floats, Ints
from pourwright.vents.field import Field, Rod
from pourwright.vents.site import Site

_LEAST_RISE = 0.15  # a rod leaves the figure where the surface faces up at least this much
_OPENING_SHARE = 0.6  # near a surface, a rod is at least this share of its way off it
_JOIN_PRICE = 2.0  # of ending on another rod, mm of rod: one more joint to break
_LEAST_MM = 0.1  # of a rod, to be one
_JOIN_RISES = (1.0, 0.5, 2.0, 4.0)  # rise per run at which a rod comes up to another one
_TRIES, _TRIES_A_CONTACT, _TRIES_AN_END = 20, 3, 2
# Voxels that are looked at as a first stop from one contact.
_LOOKED_AT = 60
# Voxels by which a straight piece may be nearer than asked, by the grid: measured in the end.
_SLACK = 0.5


@dataclass(frozen=True, eq=False)
class Tried:
    """What came of looking for a rod.

    rod : the cheapest that holds, or None. bad_ends : (3,) each, that did not hold on the real
    walls; with these banned another field leads elsewhere. feet : contacts that were tried in vain.
    """

    rod: Rod | None
    bad_ends: tuple[Floats, ...] = ()
    feet: frozenset[int] = frozenset()

    def others(self, contacts: Ints) -> Ints:
        """Of the contacts those not tried here, or all where all were.

        The cheapest ones would use up every look again.
        """
        left = contacts[~np.isin(contacts, list(self.feet))]
        return left if len(left) else contacts


def best_rod(site: Site, found: Field, contacts: Ints, rods: Sequence[Rod]) -> Tried:
    """Look for the cheapest rod from one of the contacts that holds."""
    bad: list[Floats] = []
    least = found.web_mm - site.grid.pitch_mm / 2
    failed: dict[tuple[int, ...], int] = {}
    short = sorted(_short_ways(site, found, contacts, rods), key=lambda w: w[0])
    long = (
        (price, _drawn(site, found, contact, start))
        for price, contact, start in _departures(site, found, contacts)
    )
    for _, rod in heapq.merge(short, long, key=lambda w: w[0]):
        if rod is None:
            continue
        end = tuple(np.rint(rod.path[-1]).astype(int))
        if failed.get((rod.contact, *end), 0) >= _TRIES_AN_END:
            continue
        web = _web_mm(site, rod, found.web_mm)
        apart = _apart_mm(rod, rods, found.web_mm)
        if min(web, apart) >= least:
            return Tried(replace(rod, web_mm=min(web, apart)))
        for key in (end, (rod.contact, *end)):
            failed[key] = failed.get(key, 0) + 1
        if failed[end] == _TRIES_AN_END and web < least and rod.joins < 0:
            bad.append(rod.path[-1])
    return Tried(None, tuple(bad), frozenset(key[0] for key in failed if len(key) == 4))


def _web_mm(site: Site, rod: Rod, limit_mm: float) -> float:
    """Rubber between a rod and the real walls away from its ends, cut off at a limit."""
    if len(rod.core) == 0:
        return limit_mm
    return site.meter.gap_mm(_bends(rod.core), limit_mm + rod.radius_mm) - rod.radius_mm


def _apart_mm(rod: Rod, rods: Sequence[Rod], web_mm: float) -> float:
    """Rubber between a rod and the others, away from their ends, cut off at the web."""
    least = web_mm
    for number, other in enumerate(rods):
        thick = rod.radius_mm + other.radius_mm
        if _boxes_apart_mm(rod.box, other.box) > web_mm + thick:
            continue
        if len(rod.core):
            least = min(least, float(near_path(rod.core, other.path).min()) - thick)
        if len(other.core) and rod.joins != number:
            least = min(least, float(near_path(other.core, rod.path).min()) - thick)
    return least


def _boxes_apart_mm(one: Floats, other: Floats) -> float:
    """Distance of two boxes, (2, 3) lowest and highest corner: what is in them is no nearer."""
    gap = np.maximum(np.maximum(one[0] - other[1], other[0] - one[1]), 0.0)
    return float(np.sqrt(gap @ gap))


def _short_ways(
    site: Site, found: Field, contacts: Ints, rods: Sequence[Rod]
) -> Iterator[tuple[float, Rod]]:
    """Straight rods that are too short for the grid: onto a rod beside, or a wall just above."""
    zone = found.web_mm + found.radius_mm
    radius = found.radius_mm
    places = site.coords[contacts]
    box = np.array([places.min(axis=0), places.max(axis=0)])
    for number, other in enumerate(rods):
        if _boxes_apart_mm(box, other.box) > 3 * zone:
            continue
        beside = contacts[near_path(places, other.path) <= 3 * zone]
        for k, end in _points_on(other, site.coords[beside]) if len(beside) else ():
            contact = int(beside[k])
            start = site.coords[contact]
            length = float(np.linalg.norm(end - start))
            # Near the rod that it joins it may be near what that rod stands on as well.
            if length <= 4 * zone and _holds(
                site, found, start, end, from_surface=0.0, to_surface=0.0
            ):
                path = np.array([start, end])
                low = zone / _facing(end - start, site.normals[contact])
                high = (zone + other.radius_mm) / _sine(path, other, end)
                rod = Rod(path, radius, -1, number, 0.0, contact, (low, high))
                yield float(site.price[contact]) + length + _JOIN_PRICE, rod
    for contact in contacts.tolist():
        start, (landing, height) = site.coords[contact], site.above[contact]
        if landing >= 0 and _LEAST_MM < height - start[2] <= 2.2 * zone:
            path = np.array([start, [start[0], start[1], height]])
            low = zone / _facing(path[1] - start, site.normals[contact])
            high = zone / _facing(path[1] - start, -site.face_normal(landing))
            if _holds(site, found, *path, from_surface=0.0, to_surface=0.0):
                cost = float(site.price[contact] + height - start[2] + site.land_price[landing])
                yield cost, Rod(path, radius, landing, -1, 0.0, contact, (low, high))


def _sine(path: Floats, other: Rod, end: Floats) -> float:
    """Sine of the angle at which a path comes onto a rod, not less than 0.2."""
    off = [near_path(end[None], other.path[i : i + 2])[0] for i in range(len(other.path) - 1)]
    piece = int(np.argmin(off))
    way, along = path[-1] - path[-2], other.path[piece + 1] - other.path[piece]
    cross = np.linalg.norm(np.cross(way, along))
    return max(float(cross / (np.linalg.norm(way) * np.linalg.norm(along))), 0.2)


def _facing(way: Floats, normal: Floats) -> float:
    """Cosine between a way and a surface's normal, not less than a half."""
    return max(float(way @ normal / np.linalg.norm(way)), 0.5)


def _points_on(rod: Rod, starts: Floats) -> Iterator[tuple[int, Floats]]:
    """Points on a rod's middle line that can be reached rising from points (k, 3) beside it.

    With the number of the start.
    """
    for rise in _JOIN_RISES:
        for a, b in itertools.pairwise(rod.path):
            # Where the rod is as high as a way of this rise from the start gets to it: one step
            # of the fixed point is enough for upright rods, a few for leaning ones.
            share = np.zeros(len(starts))
            for _ in range(5):
                at = a + share[:, None] * (b - a)
                run = np.hypot(at[:, 0] - starts[:, 0], at[:, 1] - starts[:, 1])
                off = starts[:, 2] + rise * run - at[:, 2]
                share = np.clip((starts[:, 2] + rise * run - a[2]) / (b[2] - a[2]), 0, 1)
            from_foot = np.linalg.norm(at - rod.path[0], axis=1)
            good = (np.abs(off) < 1e-2) & (run > 1e-3) & (from_foot > rod.radius_mm)
            yield from ((int(k), at[k]) for k in np.flatnonzero(good))


def _departures(
    site: Site, found: Field, contacts: Ints
) -> Iterator[tuple[float, int, tuple[int, int, int]]]:
    """Ways from contacts to clear voxels, cheapest first: price, contact and voxel."""
    zone = found.web_mm + found.radius_mm
    standing = site.normals[contacts, 2] >= _LEAST_RISE
    feet = contacts[standing] if len(contacts) > 1 else contacts
    rise, reach = float(np.sin(np.radians(found.slope_deg))), 2.2 * zone
    steps = _steps(rise, reach / site.grid.pitch_mm)
    given = [0] * len(feet)
    streams = [
        _stops(site, found, foot, number, steps, rise, 0.3 * zone, reach)
        for number, foot in enumerate(feet.tolist())
    ]
    for price, number, voxel in heapq.merge(*streams, key=lambda stop: stop[0]):
        if sum(given) >= _TRIES:
            return
        if given[number] >= _TRIES_A_CONTACT:
            continue
        foot = int(feet[number])
        end = site.grid.middle_mm(np.array([voxel]))[0]
        if _holds(site, found, site.coords[foot], end, from_surface=0.0, to_surface=np.inf):
            given[number] += 1
            yield price, foot, voxel


@lru_cache(maxsize=8)  # the same for every need
def _steps(rise: float, reach_voxels: float) -> Ints:
    """Steps (3, k) z, y, x to all voxels that may be near and high enough for a foot.

    Whatever place within its voxel the foot has.
    """
    far = reach_voxels + 1
    n = int(far)
    z, y, x = np.mgrid[: n + 1, -n : n + 1, -n : n + 1]
    run = np.sqrt(z * z + y * y + x * x)
    ball = (run <= far) & (z + 1 >= rise * (run - 1))
    return np.stack([z[ball], y[ball], x[ball]])


def _stops(
    site: Site, found: Field, foot: int, number: int, steps: Ints, rise: float, least_mm: float,
    most_mm: float,
) -> Iterator[tuple[float, int, tuple[int, int, int]]]:
    """First stops from a foot, cheapest first: price of the whole way, its number, and voxel."""
    grid, point, cost = site.grid, site.coords[foot], found.routes.cost
    nz, ny, nx = grid.shape
    z, y, x = (s + i for s, i in zip(steps, grid.voxel(point), strict=True))
    inside = np.flatnonzero((z >= 0) & (z < nz) & (y >= 0) & (y < ny) & (x >= 0) & (x < nx))
    z, y, x = z[inside], y[inside], x[inside]
    dx, dy, dz = (
        low + i * grid.pitch_mm - p
        for low, i, p in zip(grid.low_mm.tolist(), (x, y, z), point.tolist(), strict=True)
    )
    length = np.sqrt(dx * dx + dy * dy + dz * dz)
    total = cost.ravel().take((z * ny + y) * nx + x) + length + site.price[foot]
    steep = (dz >= rise * length - 1e-9) & (length <= most_mm) & (length > least_mm)
    good = np.flatnonzero(steep & np.isfinite(total))
    if len(good) > _LOOKED_AT:
        limit = np.partition(total[good], _LOOKED_AT - 1)[_LOOKED_AT - 1]
        good = good[total[good] <= limit]
    good = good[np.argsort(total[good], kind="stable")][:_LOOKED_AT]
    for k in good:
        yield float(total[k]), number, (int(z[k]), int(y[k]), int(x[k]))


def _holds(
    site: Site,
    found: Field,
    a: Floats,
    b: Floats,
    *,
    from_surface: float,
    to_surface: float,
) -> bool:
    """Whether a straight piece keeps clear, by the grid.

    from_surface, to_surface : length of rod before `a` back to the contact, and from `b` on to
    the landing (inf where it does not land): near its ends a rod may be near the surface.
    """
    length = float(np.linalg.norm(b - a))
    if length < 1e-9:
        return False
    if (b - a)[2] < np.sin(np.radians(found.slope_deg)) * length - 1e-9:
        return False
    pitch = site.grid.pitch_mm
    n = max(int(2 * length / pitch), 2)
    share = np.arange(n + 1) / n
    t = length * share
    points = a + share[:, None] * (b - a)
    near_end = np.minimum(from_surface + t, to_surface + length - t)
    zone = found.web_mm + found.radius_mm
    asked = np.minimum(zone, _OPENING_SHARE * near_end)
    return bool((site.grid.distance_mm(points) >= asked - _SLACK * pitch).all())


def _drawn(
    site: Site, found: Field, contact: int, start: tuple[int, int, int]
) -> Rod | None:
    """Draw the route from a voxel in as few straight pieces as keep clear by the grid."""
    grid = site.grid
    voxels = found.routes.path(start)
    points = grid.middle_mm(voxels)
    z, y, x = (int(c) for c in voxels[-1])
    landing = -1
    if z == grid.shape[0] - 1:
        end = np.array([*points[-1][:2], site.top_mm])
    else:
        landing, height = _landing(site, z, y, x)
        if landing < 0:
            return None
        end = np.array([*points[-1][:2], height])
    raw = np.vstack([site.coords[contact], points, end])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(raw, axis=0), axis=1))])
    left = length[-1] - length if landing >= 0 else np.full(len(raw), np.inf)
    zone = found.web_mm + found.radius_mm
    kept = [0]
    while kept[-1] < len(raw) - 1:
        i, j = kept[-1], len(raw) - 1
        while j > i + 1 and not _holds(
            site, found, raw[i], raw[j], from_surface=length[i], to_surface=left[j]
        ):
            j -= max((j - i) // 4, 1)
        kept.append(max(j, i + 1))
    path = _bends(raw[kept])
    high = zone / _facing(path[-1] - path[-2], -site.face_normal(landing)) if landing >= 0 else 0.0
    low = zone / _facing(path[1] - path[0], site.normals[contact])
    return Rod(path, found.radius_mm, landing, -1, 0.0, contact, (low, high))


def _bends(path: Floats) -> Floats:
    """The path without points at which it goes straight on."""
    ways = np.diff(path, axis=0)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    turns = np.linalg.norm(np.diff(ways, axis=0), axis=1) > 1e-6
    return path[np.concatenate([[True], turns, [True]])]


def _landing(site: Site, z: int, y: int, x: int) -> tuple[int, float]:
    """The drained triangle straight above a voxel, and where it is met."""
    at = site.grid.entries
    height = site.grid.low_mm[2] + z * site.grid.pitch_mm
    mine = np.flatnonzero((at.row == y) & (at.column == x) & (at.z_mm > height))
    if len(mine) == 0:
        return -1, 0.0
    first = mine[np.argmin(at.z_mm[mine])]
    triangle = int(at.triangle[first])
    return (triangle if site.drained[triangle] else -1), float(at.z_mm[first])
