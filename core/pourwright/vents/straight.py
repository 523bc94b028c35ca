"""Straight vents: rods along the pour direction, from a high point to the next thing above it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pourwright.air import AirReport, read_pockets
from pourwright.air.pockets import OUTSIDE
from pourwright.errors import Point
from pourwright.progress import Progress, silent
from pourwright.shop.process import Process
from pourwright.solid import boolean
from pourwright.solid.columns import frame, hits
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.vents.settings import Vent, VentSettings

_SEGMENTS = 32
# Rubber thinner than this share of the web asked for tears when the rod is drawn: no rod there.
_LEAST_WEB_SHARE = 0.25
# A rod may stand off the high point by this share of its radius and still cover it.
_OFF_CENTRE = 0.6
# A rod into a thin wall stops at this share of the wall, so as not to come out behind it.
_WALL_SHARE = 0.6


@dataclass(frozen=True, eq=False)
class Vents:
    """Vents that were placed, their bodies, and what could not be served.

    blocked : (peak, what stands in the way) for each high point no rod could be put on.
    """

    vents: tuple[Vent, ...]
    bodies: tuple[TriMesh, ...]
    blocked: tuple[tuple[Point, str], ...]


@dataclass(frozen=True, eq=False)
class _Rod:
    """A rod that could stand here, in the frame whose third axis is the pour direction."""

    xy: Floats
    radius: float
    start: float
    land: float
    end: float
    kind: str
    web_mm: float
    landing_triangle: int


def place_vents(
    sprued: TriMesh,
    report: AirReport,
    openings: Ints,
    process: Process,
    settings: VentSettings,
    progress: Progress = silent,
) -> Vents:
    """Give each pocket that matters a straight rod along the pour direction.

    sprued : figure, base and funnel as one closed mesh, standing frame.
    report, openings : the air of that mesh and its open surface vertices.

    Each rod starts at the highest point of a pocket and ends in the mould top plane, or as a
    bridge on whatever is straight above. What is left of a pocket with several tops is looked at
    again until nothing that matters is left or no rod can stand. A bridge that lands in a pocket
    which did not matter makes that one matter.
    """
    site = _Site(sprued, report, settings)
    opened, tried, wanted = list(openings), set[int](), set[int]()
    placed: list[tuple[_Rod, int]] = []
    blocked: list[tuple[Point, str]] = []
    rounds = 0
    while True:
        left = read_pockets(report.surface, report.tree, np.array(opened, dtype=np.int64))
        todo = [
            p for p in left.pockets
            if p.peak_vertex not in tried
            and (p.saddle_height_mm is None or process.matters(p.volume_mm3)
                 or left.pocket_at(p.peak_vertex) in {left.pocket_at(v) for v in wanted})
        ]
        if not todo:
            break
        rounds += 1
        # Highest first, so that what bridges land on has been dealt with.
        for number, pocket in enumerate(sorted(todo, key=lambda p: -p.peak_height_mm)):
            progress(1 - 0.5**rounds, f"Vent {len(placed) + 1}: {len(todo) - number} pockets left")
            tried.add(pocket.peak_vertex)
            rod, why = site.rod_at(pocket.peak_vertex, [r for r, _ in placed])
            if rod is None:
                blocked.append((pocket.peak_mm, why))
                continue
            placed.append((rod, pocket.peak_vertex))
            opened.append(pocket.peak_vertex)
            if rod.kind == "bridge":
                corner = report.surface.faces[rod.landing_triangle]
                top = int(corner[np.argmax(report.tree.heights[corner])])
                if left.pocket_at(top) != OUTSIDE:
                    wanted.add(top)
    return site.finished(placed, report, blocked)


class _Site:
    """The cavity's walls as a rod meets them: turned so that the pour direction is the z axis."""

    def __init__(self, sprued: TriMesh, report: AirReport, settings: VentSettings):
        self.surface, self.settings = report.surface, settings
        self.axes = frame(report.tree.up)
        self.coords = self.surface.vertices @ self.axes.T
        self.top = float(self.coords[:, 2].max())
        turned = (sprued.vertices - self.surface.centre_mm) @ self.axes.T
        self.meter = boolean.GapMeter(TriMesh(turned, sprued.faces, "master"))
        thin = min(settings.least_diameter_mm, settings.diameter_mm)
        self.radii = sorted({settings.diameter_mm / 2, thin / 2}, reverse=True)

    def rod_at(self, peak: int, others: Sequence[_Rod]) -> tuple[_Rod | None, str]:
        """Return the best straight rod over a surface vertex, or None and what is in its way.

        The thinner rod is only tried where the thicker one has no room.
        """
        why = "there is a wall right above it"
        for radius in self.radii:
            best: _Rod | None = None
            for rod in self._cast(peak, radius):
                web = self.meter.gap_mm(self._core(rod), self.settings.web_mm)
                web = min([web, *(_web_between(rod, o) for o in others)])
                if best is None or web > best.web_mm + 1e-6:
                    best = replace(rod, web_mm=web)
                if best.web_mm >= self.settings.web_mm:
                    return best, ""
            if best is not None:
                if best.web_mm >= _LEAST_WEB_SHARE * self.settings.web_mm:
                    return best, ""
                why = self._obstacle(best, others)
        return None, why

    def _cast(self, peak: int, radius: float) -> list[_Rod]:
        """Follow lines up from a high point, and from beside it, to what is above."""
        centre = self.coords[peak]
        ring = np.arange(8) * (np.pi / 4)
        shifts = _OFF_CENTRE * radius * np.stack([np.cos(ring), np.sin(ring)], axis=1)
        spots = centre[:2] + np.vstack([[0.0, 0.0], shifts])
        found = hits(self.coords, self.surface.faces, spots)
        own = (self.surface.faces[found.triangle] == peak).any(axis=1)
        # The wall the rod stands on ends at the peak: all that is higher is something else.
        over = ~own & (found.z > centre[2])
        start = float(centre[2]) - self.settings.overlap_mm
        rods = []
        for i, xy in enumerate(spots):
            mine = np.flatnonzero(over & (found.line == i))
            mine = mine[np.argsort(found.z[mine])]
            if len(mine) == 0:
                rods.append(_Rod(xy, radius, start, self.top, self.top, "rod", 0.0, -1))
                continue
            land = int(found.triangle[mine[0]])
            z = float(found.z[mine[0]])
            normal = self.surface.area_vectors[land] @ self.axes.T
            if normal[2] >= 0:  # the line leaves a body here: the spot is inside one already
                continue
            slope = float(np.hypot(normal[0], normal[1]) / -normal[2])
            reach = self.settings.overlap_mm + radius * min(slope, 2.0)
            if len(mine) > 1:
                reach = min(reach, _WALL_SHARE * float(found.z[mine[1]] - z))
            rods.append(_Rod(xy, radius, start, z, z + reach, "bridge", 0.0, land))
        return rods

    def _ends(self, rod: _Rod) -> tuple[float, float]:
        """Heights between which a rod has to keep its web: off its foot and off its landing."""
        zone = self.settings.web_mm + rod.radius
        low = rod.start + self.settings.overlap_mm + zone
        high = rod.land - (zone if rod.kind == "bridge" else 0.0)
        if low >= high:  # a short bridge is all end; look at its middle
            middle = (rod.start + self.settings.overlap_mm + rod.land) / 2
            return middle - 1e-3, middle + 1e-3
        return low, high

    def _core(self, rod: _Rod) -> TriMesh:
        low, high = self._ends(rod)
        short = rod.kind == "bridge" and high - low < 0.01
        return _cylinder(rod.xy, rod.radius * (0.1 if short else 1.0), low, high)

    def _obstacle(self, rod: _Rod, others: Sequence[_Rod]) -> str:
        if any(_web_between(rod, o) <= rod.web_mm for o in others):
            return "another rod stands too close"
        low, high = self._ends(rod)
        near = np.flatnonzero((self.coords[:, 2] > low) & (self.coords[:, 2] < high))
        if len(near) == 0:
            return "a wall stands too close"
        flat = np.hypot(*(self.coords[near, :2] - rod.xy).T)
        at = self.surface.vertices[near[int(np.argmin(flat))]] + self.surface.centre_mm
        return "the way straight up is blocked near ({:.1f}, {:.1f}, {:.1f}) mm".format(*at)

    def finished(
        self,
        placed: Sequence[tuple[_Rod, int]],
        report: AirReport,
        blocked: Sequence[tuple[Point, str]],
    ) -> Vents:
        """Turn the rods back into the standing frame."""
        vents, meshes = [], []
        for number, (rod, peak) in enumerate(placed):
            low = np.array([*rod.xy, self.coords[peak, 2]])
            high = np.array([*rod.xy, rod.land])
            path = tuple(self._standing(p) for p in (low, high))
            served = report.pocket_at(peak)
            vents.append(
                Vent(
                    kind=rod.kind,
                    path_mm=path,
                    diameter_mm=2 * rod.radius,
                    length_mm=float(high[2] - low[2]),
                    web_mm=rod.web_mm,
                    serves=(served,) if served != OUTSIDE else (),
                )
            )
            body = _cylinder(rod.xy, rod.radius, rod.start, rod.end)
            back = body.vertices @ self.axes + self.surface.centre_mm
            meshes.append(TriMesh(back, body.faces, f"vent {number + 1}"))
        return Vents(tuple(vents), tuple(meshes), tuple(blocked))

    def _standing(self, point: Floats) -> Point:
        x, y, z = (float(c) for c in point @ self.axes + self.surface.centre_mm)
        return (x, y, z)


def _web_between(rod: _Rod, other: _Rod) -> float:
    """Rubber between two upright rods; rods that stand in each other leave none to tear."""
    if min(rod.land, other.land) <= max(rod.start, other.start):
        return np.inf
    apart = float(np.hypot(*(rod.xy - other.xy)))
    if apart < max(rod.radius, other.radius):
        return np.inf
    return max(apart - rod.radius - other.radius, 0.0)


def _cylinder(xy: Floats, radius: float, low: float, high: float) -> TriMesh:
    """Upright round rod, closed and facing outwards."""
    n = _SEGMENTS
    angle = np.arange(n) * (2 * np.pi / n)
    ring = xy + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    vertices = np.vstack([
        np.column_stack([ring, np.full(n, low)]), np.column_stack([ring, np.full(n, high)])
    ])
    i = np.arange(n)
    j = (i + 1) % n
    fan = np.arange(1, n - 1)
    zero = np.zeros_like(fan)
    faces = np.vstack([
        np.column_stack([i, j, j + n]), np.column_stack([i, j + n, i + n]),
        np.column_stack([zero, fan + 1, fan]), np.column_stack([zero + n, fan + n, fan + 1 + n]),
    ])
    return TriMesh(vertices, faces.astype(np.int64), "vent")
