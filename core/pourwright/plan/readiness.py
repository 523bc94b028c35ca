"""Whether a printer can print the master as it is, and what to do where it cannot."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from pourwright.air import unit_vector
from pourwright.errors import Point
from pourwright.plan.findings import PlanWarning
from pourwright.plan.findings import place as _place
from pourwright.shop.printer import Printer
from pourwright.solid import boolean
from pourwright.solid.frames import board_rotation, rotated
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.sections import section_areas_mm2
from pourwright.solid.walls import Walls, thin_walls

# Thin surface below this, in squares of the smallest wall, is a feather edge, not a wall.
_SPECK_WALLS = 4.0
# Of the footprint's area: less than that on the board lifts off.
_FIRST_LAYER_SHARE = 0.05
# Turns that are tried, and the sections that a cut is chosen from.
_TURN_DEG, _SECTIONS = 0.5, 181
# Of the even length: parts that are shorter than that are no use.
_LEAST_PART = 0.2
_AXES = "xyz"


@dataclass(frozen=True)
class Fit:
    """How a mesh lies in a printer's room.

    upright : axis of the mesh, as it stands on the board, that points up in the printer, "z"
    where it is printed standing. turn_deg : it is turned by, about the printer's upright axis.
    size_mm : along the printer's axes. over_mm : what each is too long, 0 where it fits.
    """

    upright: str
    turn_deg: float
    size_mm: Point
    over_mm: Point

    @property
    def fits(self) -> bool:
        """Whether all of it is in the room."""
        return max(self.over_mm) == 0.0


@dataclass(frozen=True)
class Cut:
    """A plane to cut at.

    axis : of the mesh as it stands on the board. at_mm : a point of the plane, standing frame.
    normal : of the plane, standing frame. area_mm2 : of the section.
    """

    axis: str
    at_mm: Point
    normal: Point
    area_mm2: float


@dataclass(frozen=True)
class Readiness:
    """What was looked at and what was found.

    printer : that it was checked against. bodies : separate pieces. first_layer_mm2 : what stands
    on the board. cuts : where to cut it if it does not fit. findings : open ones are to be decided
    before it is printed.
    """

    printer: Printer
    fit: Fit
    walls: Walls
    bodies: int
    first_layer_mm2: float
    cuts: tuple[Cut, ...]
    findings: tuple[PlanWarning, ...]


def check_print(
    mesh: TriMesh, printer: Printer, up: Sequence[float] = (0.0, 0.0, -1.0)
) -> Readiness:
    """Check a closed mesh, the master or the part with a socket, against a printer.

    mesh : standing frame. up : pour direction; the side that it points to stands on the board.
    """
    turn = board_rotation(unit_vector(up))
    stood = rotated(mesh, turn)
    fit = fit_into(stood, printer)
    walls = thin_walls(mesh, printer.smallest_wall_mm)
    solids = [p for p in boolean.pieces(mesh) if p.volume_mm3 > 0]
    low = float(stood.bounds_mm[0, 2])
    upward = np.array([0.0, 0.0, 1.0])
    first = section_areas_mm2(stood, upward, np.array([low + printer.layer_mm / 2]))[0]
    cuts = () if fit.fits else cuts_for(stood, printer, turn)
    found: list[PlanWarning] = []
    if not fit.fits:
        found.append(_too_big(fit, printer, cuts))
    if walls.thin_mm2 > _SPECK_WALLS * printer.smallest_wall_mm**2 and walls.at_mm is not None:
        places = ", ".join("({:.1f}, {:.1f}, {:.1f})".format(*p) for p in walls.places_mm[:3])
        found.append(
            PlanWarning(
                "wall_thin",
                f"Walls are down to {walls.smallest_mm:.2g} mm, the printer draws "
                f"{printer.smallest_wall_mm:.2g} mm: about {walls.thin_mm2:.2g} mm2 of surface, at "
                f"{places} mm; make them thicker or scale the figure up",
                walls.at_mm,
            )
        )
    if len(solids) > 1:
        smallest = min(solids, key=lambda p: p.volume_mm3)
        at = _point(smallest.bounds_mm.mean(axis=0))
        found.append(
            PlanWarning(
                "not_one_body",
                f"It falls into {len(solids)} bodies, the smallest at {_place(at)}: join it to the "
                "rest, or print it for itself",
                at,
                open=True,
            )
        )
    footprint = ConvexHull(stood.vertices[:, :2]).volume  # an area in the plane
    if first < _FIRST_LAYER_SHARE * footprint:
        lowest = mesh.vertices[int(np.argmin(stood.vertices[:, 2]))]
        found.append(
            PlanWarning(
                "first_layer_small",
                f"Only {first:.2g} mm2 of it stand on the board, {100 * first / footprint:.1g} % "
                f"of its footprint, at {_place(_point(lowest))}: print it with supports, or turned",
                _point(lowest),
            )
        )
    return Readiness(printer, fit, walls, len(solids), float(first), cuts, tuple(found))


def fit_into(mesh: TriMesh, printer: Printer) -> Fit:
    """Find how a mesh goes into a printer: as it stands, turned, or lying on a side.

    What fits is taken in that order; where nothing does, what is too long by the least.
    """
    hull = mesh.vertices[ConvexHull(mesh.vertices).vertices]
    tried = []
    for upright in (2, 0, 1):
        level = [i for i in range(3) if i != upright]
        height = float(np.ptp(hull[:, upright]))
        turn, wide, deep = _turned(hull[:, level], printer.build_x_mm, printer.build_y_mm)
        size = (wide, deep, height)
        over = tuple(
            max(s - b, 0.0) if s > b * (1 + 1e-9) else 0.0
            for s, b in zip(size, printer.build_mm, strict=True)
        )
        fit = Fit(_AXES[upright], turn, size, _point(np.array(over)))
        if fit.fits:
            return fit
        tried.append(fit)
    return min(tried, key=lambda f: max(f.over_mm))


def _turned(flat: Floats, build_x_mm: float, build_y_mm: float) -> tuple[float, float, float]:
    """Turn of points (k, 2) in the plane that fits best, degrees, and their extents then.

    No turn where that fits; else the one that is too long by least, or has most room left.
    """

    def extents(turn_deg: Floats) -> tuple[Floats, Floats]:
        angle = np.radians(turn_deg)
        cos, sin = np.cos(angle), np.sin(angle)
        x, y = flat.T
        return (
            np.ptp(np.outer(x, cos) - np.outer(y, sin), axis=0),
            np.ptp(np.outer(x, sin) + np.outer(y, cos), axis=0),
        )

    def excess(turn_deg: Floats) -> Floats:
        wide, deep = extents(turn_deg)
        worst: Floats = np.maximum(wide - build_x_mm, deep - build_y_mm)
        return worst

    best = 0.0
    if excess(np.array([0.0]))[0] > 0:
        step = _TURN_DEG
        tried = np.arange(0.0, 180.0, step)
        best = float(tried[np.argmin(excess(tried))])
        while step > 1e-9:  # narrower and narrower round the best one
            tried = best + step * np.linspace(-1, 1, 21)
            best = float(tried[np.argmin(excess(tried))])
            step /= 10
    wide, deep = extents(np.array([best]))
    return best % 180.0, float(wide[0]), float(deep[0])


def cuts_for(stood: TriMesh, printer: Printer, turn: Floats) -> tuple[Cut, ...]:
    """Suggest planes, square to the axes of a mesh on the board, that make parts which fit.

    The fewest parts, cut where the sections are thinnest. turn : (3, 3) from the standing frame
    to that of the board.
    """
    low, high = stood.bounds_mm
    size = high - low
    build = list(printer.build_mm)
    if max(size[0] - build[1], size[1] - build[0]) < max(size[0] - build[0], size[1] - build[1]):
        build[:2] = build[1], build[0]
    cuts = []
    for i in range(3):
        if size[i] <= build[i] * (1 + 1e-9):
            continue
        axis = np.eye(3)[i]
        tried = np.linspace(low[i], high[i], _SECTIONS)
        areas = section_areas_mm2(stood, axis, tried)
        for k in _thinnest(tried, areas, build[i]):
            middle = (low + high) / 2
            middle[i] = tried[k]
            cuts.append(Cut(_AXES[i], _point(middle @ turn), _point(axis @ turn), float(areas[k])))
    return tuple(cuts)


def _thinnest(heights: Floats, areas: Floats, longest_mm: float) -> list[int]:
    """Numbers of the heights to cut at: the fewest parts, then the least area of all sections.

    No part is longer than `longest_mm` nor, if there is a choice, shorter than a share of the
    even length. Section by section: the best ways to end a part at each height.
    """
    length = float(np.ptp(heights))
    step = heights[1] - heights[0]
    count = math.ceil(length / longest_mm - 1e-9)
    if length / count > longest_mm - step:  # no room to move a cut
        count += 1
    gap = heights[None, :] - heights[:, None]
    allowed = (gap <= longest_mm + 1e-9) & (gap >= _LEAST_PART * length / count)
    # Of sections as thin as each other those nearest to the even division.
    off = np.abs(heights - heights[0])[:, None] - np.arange(count + 1) * length / count
    price = areas[:, None] + 1e-6 * (areas.max() + 1.0) * np.abs(off) / length
    best = np.where(np.arange(len(heights)) == 0, 0.0, np.inf)
    came = []
    for k in range(1, count + 1):
        ways = np.where(allowed, best[:, None], np.inf)
        came.append(np.argmin(ways, axis=0))
        best = ways.min(axis=0) + (price[:, k] if k < count else 0.0)
    at = len(heights) - 1
    chosen = []
    for before in reversed(came[1:]):
        at = int(before[at])
        chosen.append(at)
    return chosen[::-1]


def _too_big(fit: Fit, printer: Printer, cuts: Sequence[Cut]) -> PlanWarning:
    over = ", ".join(
        f"{o:.1f} mm along {axis}" for o, axis in zip(fit.over_mm, _AXES, strict=True) if o > 0
    )
    where = "; ".join(
        f"square to {c.axis} through {_place(c.at_mm)}, a section of {c.area_mm2:.0f} mm2"
        for c in cuts
    )
    size = " x ".join(f"{s:.1f}" for s in fit.size_mm)
    room = " x ".join(f"{b:.0f}" for b in printer.build_mm)
    return PlanWarning(
        "too_big",
        f"It measures {size} mm at best and the printer's room {room} mm, too long by {over}: "
        f"print it smaller, or cut it {where}",
        cuts[0].at_mm if cuts else None,
        open=True,
    )


def _point(values: Floats) -> Point:
    x, y, z = (float(c) for c in values)
    return (x, y, z)
