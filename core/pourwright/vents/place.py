"""Vents for a whole figure: which air needs one, where each goes, and what could not be served."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pourwright.air import AirReport
from pourwright.air.pockets import OUTSIDE
from pourwright.errors import Point
from pourwright.progress import Progress, silent
from pourwright.shop.process import Process
from pourwright.solid.lines import near_path
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.protect import Protection
from pourwright.vents.explain import Explainer
from pourwright.vents.field import Field, Rod, field
from pourwright.vents.needs import Need, find_needs
from pourwright.vents.rings import Ring, rings_of
from pourwright.vents.rods import rod_body
from pourwright.vents.route import best_rod
from pourwright.vents.settings import Vent, VentSettings
from pourwright.vents.site import Site, survey

# A rod into a thin wall stops at this share of the wall, so as not to come out behind it.
_WALL_SHARE = 0.6
# Times that routes are found anew for one need, each time without the ends that did not hold.
_SWEEPS = 5
# Rods that are tried to be moved for one need without a way, and for all of them.
_NEIGHBOURS, _MOVES = 4, 24


@dataclass(frozen=True, eq=False)
class Vents:
    """Vents that were placed, their bodies, and what could not be served.

    blocked : (peak, what stands in the way and what would help) for each need without a rod.
    """

    vents: tuple[Vent, ...]
    bodies: tuple[TriMesh, ...]
    blocked: tuple[tuple[Point, str], ...]
    rings: tuple[Ring, ...]


def place_vents(
    report: AirReport,
    openings: Ints,
    process: Process,
    settings: VentSettings,
    *,
    base_height_mm: float,
    protection: Protection | None = None,
    progress: Progress = silent,
) -> Vents:
    """Give each smallest part of the air that matters a rod of its own.

    report, openings : the air of figure, base and funnel as one closed mesh, standing frame, and
    its open surface vertices. base_height_mm : x . up of the base's figure side. protection :
    surface to keep off, if any.

    The number of rods is the least possible. Each starts where its scar matters least among the
    places that leave no visible air above them, and takes the cheapest rising way that keeps the
    web. Needs are served from the top of the pour downwards, so that what rods land on is served
    first.
    """
    progress(0.0, "Finding where vents are needed")
    if not any(p.saddle_height_mm is None or process.matters(p.volume_mm3) for p in report.pockets):
        return Vents((), (), (), ())
    needs, left = find_needs(report, openings, process)
    site = survey(report, left, needs, settings, base_height_mm, protection)
    router = _Router(site, min(float(site.coords[n.peak, 2]) for n in needs))
    unserved: list[Need] = []
    for number, need in enumerate(needs):
        progress(0.2 + 0.5 * number / len(needs), f"Routing vent {number + 1} of {len(needs)}")
        if not router.serve(need):
            unserved.append(need)
    for number, need in enumerate(list(unserved)):
        progress(0.7 + 0.2 * number / len(unserved), "Making room for vents without a way")
        if router.serve_by_moving(need):
            unserved.remove(need)
    blocked = []
    if unserved:
        progress(0.9, "Finding out what is in the way")
        doctor = Explainer(site, router.rods, process)
        for need in unserved:
            peak = site.standing(site.coords[[need.peak]])[0]
            blocked.append((point_of(peak), doctor.reason(need, site.contacts[need.peak])))
    progress(1.0, f"{len(router.rods)} vents")
    return _finished(site, list(zip(router.rods, router.needs, strict=True)), blocked)


class _Router:
    """Finds rods one after the other.

    rods, needs : what stands and what it serves, row by row.
    """

    def __init__(self, site: Site, floor_mm: float):
        self.site, self.floor_mm = site, floor_mm
        self.rods: list[Rod] = []
        self.needs: list[Need] = []
        self._fields: dict[float, Field] = {}
        self._moves = _MOVES

    def serve(self, need: Need) -> bool:
        """Put up a rod for the need if one goes."""
        rod = self._rod_for(need)
        if rod is None:
            return False
        self.rods.append(rod)
        self.needs.append(need)
        return True

    def serve_by_moving(self, need: Need) -> bool:
        """Take one rod away that stands near, serve the need, and serve the other one anew.

        Of the nearest few rods that none ends on; what stood before is put back where the two
        do not both go.
        """
        line = self.site.coords[[need.peak, need.peak]]
        line[1, 2] = self.site.top_mm
        order = np.argsort([near_path(r.path, line).min() for r in self.rods])
        carrying = {r.joins for r in self.rods}
        for k in [int(i) for i in order if int(i) not in carrying][:_NEIGHBOURS]:
            if self._moves == 0:
                break
            self._moves -= 1
            before = list(self.rods)
            # Far away instead of gone, so that rods keep their numbers.
            away = np.array([1e6, 1e6, 0.0])
            self.rods[k] = replace(before[k], path=before[k].path + away)
            first = self._rod_for(need)
            if first is not None:
                self.rods[k] = first
                second = self._rod_for(self.needs[k])
                if second is not None:
                    self.rods.append(second)
                    self.needs.append(self.needs[k])
                    self.needs[k] = need
                    return True
            self.rods[:] = before
        return False

    def _rod_for(self, need: Need) -> Rod | None:
        """Return a rod that serves the need, the thinner one only if need be.

        First by the routes of the bare site, then, where rods that stand now or walls spoil
        these, by routes found anew in a window round the need.
        """
        settings = self.site.settings
        thin = min(settings.least_diameter_mm, settings.diameter_mm)
        contacts = self.site.contacts[need.peak]
        near = self.site.near(need.peak)
        floor_mm = float(self.site.coords[contacts, 2].min())
        for radius in sorted({settings.diameter_mm / 2, thin / 2}, reverse=True):
            if radius not in self._fields:
                self._fields[radius] = field(self.site, (), radius, floor_mm=self.floor_mm)
            tried = best_rod(self.site, self._fields[radius], contacts, self.rods)
            banned = list(tried.bad_ends)
            for _ in range(_SWEEPS):
                if tried.rod is not None:
                    return tried.rod
                found = field(near, self.rods, radius, floor_mm=floor_mm, banned=banned)
                tried = best_rod(near, found, contacts, self.rods)
                if tried.rod is None and not tried.bad_ends:
                    break
                banned += tried.bad_ends
            if tried.rod is None and tried.feet:
                found = field(near, self.rods, radius, floor_mm=floor_mm, banned=banned)
                tried = best_rod(near, found, tried.others(contacts), self.rods)
            if tried.rod is not None:
                return tried.rod
        return None


def _finished(
    site: Site, served: Sequence[tuple[Rod, Need]], blocked: Sequence[tuple[Point, str]]
) -> Vents:
    """Turn the rods back into the standing frame and give them their bodies."""
    settings, report = site.settings, site.report
    vents, bodies = [], []
    tops = np.array([rod.path[-1] for rod, _ in served]).reshape(-1, 3)
    walls = site.walls_beyond_mm(tops)
    for number, ((rod, need), wall) in enumerate(zip(served, walls, strict=True), start=1):
        path = rod.path
        foot = path[0] - settings.overlap_mm * site.normals[rod.contact]
        bodies.append(
            body_of(
                path,
                foot,
                rod.radius_mm,
                head_mm(site, rod, wall),
                settings,
                site.axes,
                report.surface.centre_mm,
                f"vent {number}",
            )
        )
        pocket = report.pocket_at(need.peak)
        last = path[-1] - path[-2]
        end_normal = (
            -site.face_normal(rod.landing) if rod.landing >= 0 else np.array([0.0, 0.0, 1.0])
        )
        vents.append(
            Vent(
                kind="rod" if rod.landing < 0 and rod.joins < 0 else "bridge",
                path_mm=tuple(point_of(p) for p in site.standing(path)),
                diameter_mm=2 * rod.radius_mm,
                length_mm=float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum()),
                web_mm=rod.web_mm,
                ends_mm=rod.ends_mm,
                serves=(pocket,) if pocket != OUTSIDE else (),
                foot_angle_deg=angle_deg(path[1] - path[0], site.normals[rod.contact]),
                end_angle_deg=angle_deg(last, end_normal),
            )
        )
    return Vents(tuple(vents), tuple(bodies), tuple(blocked), rings_of(vents))


def body_of(
    path: Floats, foot: Floats, radius_mm: float, head_mm: float, settings: VentSettings,
    axes: Floats, centre_mm: Floats, name: str,
) -> TriMesh:
    """Body of a rod of the pour frame, (k, 3) path and (3,) foot, in the standing frame."""
    body = rod_body(
        path,
        2 * radius_mm,
        foot=foot,
        neck_mm=settings.neck_mm,
        neck_length_mm=settings.neck_length_mm,
        head_mm=head_mm,
        name=name,
    )
    return TriMesh(body.vertices @ axes + centre_mm, body.faces, name)


def head_mm(site: Site, rod: Rod, wall_mm: float) -> float:
    """How far a rod reaches into what it lands on, deeper where that is steep, never through."""
    if rod.joins >= 0:
        return 0.05  # its middle line ends on the other rod's, which is overlap enough
    if rod.landing < 0:
        return 0.0
    way = rod.path[-1] - rod.path[-2]
    way = way / np.linalg.norm(way)
    facing = float(-site.face_normal(rod.landing) @ way)
    slope = np.sqrt(max(1 - facing**2, 0.0)) / max(facing, 1e-3)
    reach = site.settings.overlap_mm + rod.radius_mm * min(float(slope), 2.0)
    return float(min(reach, _WALL_SHARE * wall_mm))


def angle_deg(one: Floats, two: Floats) -> float:
    """Angle between two vectors (3,) of any length."""
    cosine = one @ two / (np.linalg.norm(one) * np.linalg.norm(two))
    return float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))


def point_of(values: Floats) -> Point:
    """An array (3,) as a plain point."""
    x, y, z = (float(c) for c in values)
    return (x, y, z)
