"""Measures routed vents from outside: clearance and slope on finished geometry, cost by an oracle.

Nothing here is taken from the router but its grid and its list of rods, so that a mistake of the
router cannot hide in the measure.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch

import manifold3d
import numpy as np
from grid_oracle import cheapest, costs_down_from

from pourwright.plan import venting
from pourwright.plan.model import PourPlan
from pourwright.solid import TriMesh
from pourwright.solid.boolean import to_manifold
from pourwright.vents import field as fields
from pourwright.vents import place
from pourwright.vents.settings import Vent


@dataclass
class Watch:
    """What a run of the router was given and found.

    Of its first round: inputs : of place_vents; walls : figure, base and funnel; found : contacts,
    rods that stood before, and rod, of each search that ended with a rod.
    Of its last round, in which earlier rods are walls: last_site; unserved : contacts of each need
    without a rod; rods : that stood in the end, where some need got none.
    needs : of all rounds, less those that a later round looked at again.
    """

    inputs: dict[str, Any] = field(default_factory=dict)
    walls: Any = None
    site: Any = None
    last_site: Any = None
    needs: int = 0
    found: list[tuple[np.ndarray, tuple, Any]] = field(default_factory=list)
    unserved: list[np.ndarray] = field(default_factory=list)
    rods: tuple = ()


@contextmanager
def watched() -> Iterator[Watch]:
    """Look over the router's shoulder while a plan is made."""
    watch = Watch()
    real_vents, real_survey = venting.place_vents, place.survey
    real_needs, real_best, real_explainer = place.find_needs, place.best_rod, place.Explainer

    def vents(*args: Any, **more: Any) -> Any:
        if not watch.inputs:
            watch.inputs.update(
                zip(("report", "openings", "process", "settings"), args, strict=True), **more
            )
            surface = args[0].surface
            watch.walls = TriMesh(surface.vertices + surface.centre_mm, surface.faces, "walls")
        watch.needs -= len(watch.unserved)
        watch.unserved, watch.rods = [], ()
        return real_vents(*args, **more)

    def needs(*args: Any, **more: Any) -> Any:
        result = real_needs(*args, **more)
        watch.needs += len(result[0])
        return result

    def survey(*args: Any, **more: Any) -> Any:
        watch.last_site = real_survey(*args, **more)
        watch.site = watch.site or watch.last_site
        return watch.last_site

    def best(site: Any, found: Any, contacts: Any, rods: Any, *args: Any, **more: Any) -> Any:
        before = tuple(rods)
        result = real_best(site, found, contacts, rods, *args, **more)
        if result.rod is not None and site.report is watch.site.report:
            watch.found.append((contacts, before, result.rod))
        return result

    class Listening(real_explainer):  # type: ignore[misc, valid-type]
        def reason(self, need: Any, contacts: Any) -> str:
            watch.unserved.append(contacts)
            watch.rods = tuple(self.rods)
            return str(super().reason(need, contacts))

    with (
        patch.object(venting, "place_vents", vents), patch.object(place, "find_needs", needs),
        patch.object(place, "survey", survey), patch.object(place, "best_rod", best),
        patch.object(place, "Explainer", Listening),
    ):
        yield watch


def _field(site: Any, rods: Sequence[Any], radius_mm: float) -> tuple[Any, Any, Any, Any]:
    """Field of routes, where rods may pass and end, and the steps, among given rods."""
    kept: list[Any] = []

    def sweep(grid: Any, clear: Any, ends: Any, moves: Any, floor: int = 0) -> None:
        kept.append((clear, ends, moves))

    with patch.object(fields, "sweep", sweep):
        found = fields.field(site, rods, radius_mm)
    return (found, *kept[-1])


def departures(site: Any, clear: np.ndarray, contacts: np.ndarray, zone: float,
               slope_deg: float) -> np.ndarray:
    """Price of the straight way from the best contact to each voxel, inf where none is allowed.

    The first piece of a rod is as steep as asked, 0.3 to 2.2 end zones long, leaves where the
    surface faces up, and opens from the surface by 0.6 of its length, trusting the grid to be a
    voxel wrong.
    """
    grid = site.grid
    price = np.full(grid.shape, np.inf)
    span = int(np.ceil(2.2 * zone / grid.pitch_mm)) + 1
    shape = np.array(grid.shape)
    for contact in contacts:
        if site.normals[contact, 2] < 0.15 and len(contacts) > 1:
            continue
        point = site.coords[contact]
        at = np.array(grid.voxel(point))
        low, high = np.maximum(at - span, 0), np.minimum(at + span + 1, shape)
        box = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
        index = np.argwhere(clear[box]) + low
        if len(index) == 0:
            continue
        way = grid.middle_mm(index) - point
        length = np.linalg.norm(way, axis=1)
        good = (
            (way[:, 2] >= np.sin(np.radians(slope_deg)) * length - 1e-9)
            & (length <= 2.2 * zone) & (length > 0.3 * zone)
        )
        index, way, length = index[good], way[good], length[good]
        for share in np.linspace(0, 1, 15):
            along = share * length
            asked = np.where(along >= zone, zone, 0.6 * along) - grid.pitch_mm
            keeps = grid.distance_mm(point + share * way) >= asked
            index, way, length = index[keeps], way[keeps], length[keeps]
        spot = tuple(index.T)
        price[spot] = np.minimum(price[spot], length + site.price[contact])
    return price


def longest_rod_cost(watch: Watch, plan: PourPlan) -> tuple[float, float] | None:
    """Cost of a plan's longest rod, and of the oracle's best under the same rules.

    In mm of rod, scars included, the rods that stood before kept off. None without a rod that
    is long enough for the grid.
    """
    feet = np.array([v.path_mm[0] for v in plan.vents])
    free = [
        f for f in watch.found
        if f[2].joins < 0
        and (np.linalg.norm(feet - watch.site.standing(f[2].path[:1]), axis=1) < 1e-9).any()
    ]
    if not free:
        return None
    contacts, before, rod = max(free, key=lambda f: _length(f[2].path))
    site, web = watch.site, watch.inputs["settings"].web_mm
    if _length(rod.path) < 3 * (web + rod.radius_mm):
        return None
    found, clear, ends, moves = _field(site, before, rod.radius_mm)
    start = departures(site, clear, contacts, web + rod.radius_mm, found.slope_deg)
    cost = float(site.price[rod.contact]) + _length(rod.path)
    if rod.landing >= 0:
        cost += float(site.land_price[rod.landing])
    # Nothing farther from all contacts than the rod costs can be on a cheaper way.
    far = cost - float(site.price[contacts].min()) + 2 * site.grid.pitch_mm
    foot = site.coords[contacts]
    low = np.maximum(site.grid.voxel(foot.min(axis=0) - far), 0)
    high = np.maximum(np.array(site.grid.voxel(foot.max(axis=0) + far)) + 1, 0)
    box = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
    shape = clear[box].shape
    index = np.stack(np.unravel_index(np.arange(np.prod(shape)), shape), axis=1) + low
    at = site.grid.middle_mm(index)
    outside = np.linalg.norm(at - np.clip(at, foot.min(axis=0), foot.max(axis=0)), axis=1) > far
    near = clear[box] & ~outside.reshape(shape)
    best = cheapest(
        near, start[box], ends[box].astype(np.float64), moves, site.grid.pitch_mm
    )
    return cost, best


def routes_exist(watch: Watch, *, among_rods: bool) -> list[bool]:
    """Whether the oracle finds a route for the thinnest rod, for each need that got none.

    among_rods : keep off the rods that the last round put up, or only off what stood before it.
    """
    if not watch.unserved:
        return []
    settings = watch.inputs["settings"]
    radius = min(settings.least_diameter_mm, settings.diameter_mm) / 2
    site = watch.last_site
    found, clear, ends, moves = _field(site, watch.rods if among_rods else (), radius)
    ways = np.isfinite(costs_down_from(clear, ends, moves, site.grid.pitch_mm))
    zone = found.web_mm + found.radius_mm
    return [
        bool((ways & np.isfinite(
            departures(site, clear, contacts, zone, found.slope_deg)
        )).any())
        for contacts in watch.unserved
    ]


def worst_slope_deg(vents: Sequence[Vent], up: Sequence[float]) -> float:
    """Angle above level of the flattest piece of any rod."""
    axis = np.asarray(up) / np.linalg.norm(up)
    steps = [np.diff(np.array(v.path_mm), axis=0) for v in vents]
    flattest = [float((s @ axis / np.linalg.norm(s, axis=1)).min()) for s in steps]
    return float(np.degrees(np.arcsin(np.clip(min(flattest, default=1.0), -1, 1))))


@dataclass(frozen=True)
class Clearance:
    """Least rubber beside a vent away from its ends; to is "walls" or the number of a vent."""

    vent: int
    gap_mm: float
    to: str


def joined(vents: Sequence[Vent], number: int) -> int:
    """Number of the vent that a vent ends on, or -1."""
    vent = vents[number]
    if vent.kind != "bridge":
        return -1
    end = np.array(vent.path_mm[-1])
    for other, o in enumerate(vents):
        if other != number and _off_path(end, np.array(o.path_mm)) < 0.1:
            return other
    return -1


def end_zones_mm(plan: PourPlan, number: int, *, square: bool = False) -> tuple[float, float]:
    """Lengths at a vent's two ends where it may be nearer to things than the web.

    As long as it takes a rod to get web and radius off the level surface that it stands or lands
    on, or off the rod that it joins, at its angle to these; at most twice as long as square to a
    surface, five times for a rod. square : as if all rods met surfaces squarely.
    """
    vent, web = plan.vents[number], plan.job.vents.web_mm
    zone = web + vent.diameter_mm / 2
    low, high = (
        zone / max(np.cos(np.radians(angle)), 1.0 if square else 0.5)
        for angle in (vent.foot_angle_deg, vent.end_angle_deg)
    )
    if vent.kind == "rod":
        return low, 0.0
    other = joined(plan.vents, number)
    if other < 0:
        return low, high
    path, on = np.array(vent.path_mm), np.array(plan.vents[other].path_mm)
    off = [_off_path(path[-1], on[i : i + 2]) for i in range(len(on) - 1)]
    at = int(np.argmin(off))
    a, b = path[-1] - path[-2], on[at + 1] - on[at]
    sine = np.linalg.norm(np.cross(a, b)) / (np.linalg.norm(a) * np.linalg.norm(b))
    return low, (zone + plan.vents[other].diameter_mm / 2) / max(float(sine), 0.2)


def without_ends(
    plan: PourPlan, number: int, *, square: bool = False
) -> manifold3d.Manifold | None:
    """The finished body of a vent less its end zones, or None where it is all end."""
    vent = plan.vents[number]
    path = np.array(vent.path_mm)
    low, high = end_zones_mm(plan, number, square=square)
    if _length(path) - low - high < 1e-3:
        return None
    body = to_manifold(plan.vent_meshes[number])
    cutters = [_hose(_head(path, low), vent.diameter_mm / 2)]
    if high > 0:
        cutters.append(_hose(_head(path[::-1], high), vent.diameter_mm / 2))
    # The foot inside the figure need not lie on the rod's axis.
    foot = vent.diameter_mm / 2 + plan.job.vents.overlap_mm + 0.01
    cutters.append(manifold3d.Manifold.sphere(foot, 48).translate(tuple(path[0])))
    left = manifold3d.Manifold.batch_boolean([body, *cutters], manifold3d.OpType.Subtract)
    return None if left.is_empty() else left


def clearances(plan: PourPlan, walls: TriMesh, *, square: bool = False) -> list[Clearance]:
    """Least rubber between each vent without its ends and everything else, up to the web."""
    web = plan.job.vents.web_mm
    wall = to_manifold(walls)
    bodies = [to_manifold(m) for m in plan.vent_meshes]
    found = []
    for number in range(len(bodies)):
        core = without_ends(plan, number, square=square)
        if core is None:
            continue
        gap, to = core.min_gap(wall, web), "walls"
        for other, body in enumerate(bodies):
            if other in (number, joined(plan.vents, number)) or (
                joined(plan.vents, other) == number
            ):
                continue
            apart = core.min_gap(body, web)
            if apart < gap:
                gap, to = apart, str(other)
        found.append(Clearance(number, float(gap), to))
    # Of a join the rod that is joined may be near its guest only within the guest's end zone.
    for number in range(len(bodies)):
        other = joined(plan.vents, number)
        core = without_ends(plan, number, square=square) if other >= 0 else None
        if core is not None:
            found.append(Clearance(number, float(core.min_gap(bodies[other], web)), str(other)))
    return found


def touches(plan: PourPlan, walls: TriMesh) -> list[int]:
    """Vents whose body meets the walls in more places than its two ends."""
    wall = to_manifold(walls)
    many = []
    for number, mesh in enumerate(plan.vent_meshes):
        allowed = 1 if plan.vents[number].kind == "rod" or joined(plan.vents, number) >= 0 else 2
        shared = (to_manifold(mesh) ^ wall).decompose()
        if sum(s.volume() > 1e-6 for s in shared) > allowed:
            many.append(number)
    return many


def figure_contacts(plan: PourPlan) -> int:
    """Places where rods scar the figure: feet, and landings that are not on the base."""
    up = np.array(plan.up)
    lowest_base = float((plan.base.vertices @ up).min())
    landings = 0
    for number, vent in enumerate(plan.vents):
        if vent.kind == "bridge" and joined(plan.vents, number) < 0:
            landings += float(np.array(vent.path_mm[-1]) @ up) < lowest_base - 1e-6
    return len(plan.vents) + landings


def _length(path: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())


def _off_path(point: np.ndarray, path: np.ndarray) -> float:
    a, way = path[:-1], np.diff(path, axis=0)
    share = np.clip(((point - a) * way).sum(axis=1) / (way * way).sum(axis=1), 0, 1)
    return float(np.linalg.norm(point - a - share[:, None] * way, axis=1).min())


def _head(path: np.ndarray, length: float) -> np.ndarray:
    """The first part of a path, of a given length."""
    done = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    last = np.array([np.interp(length, done, path[:, i]) for i in range(3)])
    return np.vstack([path[done < length - 1e-9], last])


def _hose(path: np.ndarray, radius: float) -> manifold3d.Manifold:
    """A little thicker than a rod, square at its last point, far beyond its first."""
    ways = np.diff(path, axis=0)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    path = np.vstack([path[0] - 10 * radius * ways[0], path[1:]])
    pieces = []
    for a, b in itertools.pairwise(path):
        way = (b - a) / np.linalg.norm(b - a)
        x = np.cross(way, np.eye(3)[np.argmin(np.abs(way))])
        x /= np.linalg.norm(x)
        angle = np.linspace(0, 2 * np.pi, 49)[:-1]
        ring = 1.02 * radius * (
            np.cos(angle)[:, None] * x + np.sin(angle)[:, None] * np.cross(way, x)
        )
        pieces.append(manifold3d.Manifold.hull_points(np.vstack([a + ring, b + ring])))
    pieces += [
        manifold3d.Manifold.sphere(1.02 * radius, 48).translate(tuple(p)) for p in path[1:-1]
    ]
    return manifold3d.Manifold.batch_boolean(pieces, manifold3d.OpType.Add)
