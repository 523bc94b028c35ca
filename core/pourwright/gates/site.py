"""Where gates may stand: from the parts to be fed up to what is fed, never to the open air."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pourwright.air import AirReport
from pourwright.gates.inside import Slices
from pourwright.gates.settings import GateSettings
from pourwright.solid.columns import Columns, frame
from pourwright.solid.gaps import GapMeter
from pourwright.solid.mesh import Floats, Ints, TriMesh, concatenate
from pourwright.solid.protect import Protection
from pourwright.vents.grid import Bools, voxelise
from pourwright.vents.settings import VentSettings
from pourwright.vents.site import (
    LEAST_FACING,
    MARGIN_MM,
    Site,
    appraise,
    land_price,
    lengths,
    straight_above,
)

# Of a missing mm of the part's thickness, in mm of gate.
_THIN = 10.0
_LEAST_RISE = 0.15  # a gate leaves the part where the surface faces up at least this much
_APART_MM = 1.0
# Contacts that are tried: so many, this share of the part apart. The cheapest are often side by
# side, and where one is shut in so are the others.
_CONTACTS = ((8, 0.0), (8, 0.1), (12, 0.25))


@dataclass(frozen=True, eq=False)
class Ground:
    """The surface that gates stand on, in the pour frame; made once for a figure.

    slice_of_vertex, slice_of_face : (n,), (m,) slice of the inside behind each, -1 where the grid
    has none. facing : (m,) whether a gate may end on a face. price : (n,) of a contact.
    land_price : (m,) of an end. base_z_mm : height of the base's figure side.
    """

    report: AirReport
    axes: Floats
    coords: Floats
    normals: Floats
    slice_of_vertex: Ints
    slice_of_face: Ints
    facing: Bools
    price: Floats
    land_price: Floats
    base_z_mm: float


def ground(
    report: AirReport, slices: Slices, base_z_mm: float, protection: Protection | None
) -> Ground:
    """Look at the surface of figure, base and funnel.

    report : its air, standing frame. base_z_mm : height of the base's figure side, pour frame.
    """
    surface, up = report.surface, report.tree.up
    axes = frame(up)
    coords = surface.vertices @ axes.T
    value = appraise(surface, axes, protection)
    area = surface.area_vectors
    size = np.maximum(lengths(area), 1e-300)
    facing = area @ up < -LEAST_FACING * size
    shift = float(surface.centre_mm @ up)
    return Ground(
        report=report,
        axes=axes,
        coords=coords,
        normals=value.normals,
        slice_of_vertex=_behind(slices, coords, value.normals),
        slice_of_face=_behind(
            slices, coords[surface.faces].mean(axis=1), (area / size[:, None]) @ axes.T
        ),
        facing=facing,
        price=value.price,
        land_price=land_price(report, np.flatnonzero(facing), value, base_z_mm + shift),
        base_z_mm=base_z_mm,
    )


def _behind(slices: Slices, points: Floats, normals: Floats) -> Ints:
    """Slice of the inside behind points (k, 3) of the surface, -1 where the grid has none."""
    found = np.full(len(points), -1, dtype=np.int64)
    for depth in (0.75, 1.25, 0.35, 0.0):
        there = slices.at(points - depth * slices.pitch_mm * normals)
        found = np.where(found < 0, there, found)
    return found


def standable(found: Ground, slices: Ints) -> Ints:
    """Vertices of the slices where a gate can stand."""
    here = np.isin(found.slice_of_vertex, slices) & (found.normals[:, 2] >= _LEAST_RISE)
    return np.flatnonzero(here)


def contacts(found: Ground, vertices: Ints, slices: Slices, diameter_mm: float) -> Ints:
    """The cheapest of the vertices to stand a gate on, some side by side and some well apart.

    Where the part is thinner than the gate each missing mm costs as much as 10 mm of gate.
    """
    radius = slices.radius_mm[found.slice_of_vertex[vertices]]
    price = found.price[vertices] + _THIN * np.maximum(diameter_mm / 2 - radius, 0.0)
    order = vertices[np.argsort(price, kind="stable")]
    extent = float(np.linalg.norm(np.ptp(found.coords[vertices], axis=0)))
    chosen: list[int] = []
    for most, share in _CONTACTS:
        left = order
        for one in chosen:
            left = _away(found, left, one, max(_APART_MM, share * extent))
        for _ in range(most):
            if len(left) == 0:
                break
            chosen.append(int(left[0]))
            left = _away(found, left, chosen[-1], max(_APART_MM, share * extent))
    return np.array(chosen, dtype=np.int64)


def _away(found: Ground, vertices: Ints, one: int, apart_mm: float) -> Ints:
    off = np.linalg.norm(found.coords[vertices] - found.coords[one], axis=1)
    return vertices[off >= apart_mm]


def rod_settings(settings: GateSettings, diameter_mm: float) -> VentSettings:
    """The rules of vents for a gate of one diameter."""
    return VentSettings(
        diameter_mm=diameter_mm,
        least_diameter_mm=diameter_mm,
        web_mm=settings.web_mm,
        overlap_mm=settings.overlap_mm,
        slope_deg=settings.slope_deg,
        neck_mm=settings.neck_share * diameter_mm,
        neck_length_mm=settings.neck_length_mm,
        grid_mm=settings.grid_mm,
    )


def site_for(
    found: Ground, settings: GateSettings, gates: Sequence[TriMesh], diameter_mm: float
) -> Site:
    """The site that gates up to a diameter are routed on, without landings yet.

    gates : those that stand, in the pour frame; they count as walls.
    """
    walls = concatenate([TriMesh(found.coords, found.report.surface.faces, "walls"), *gates])
    columns = Columns(walls.vertices, walls.faces)
    top = float(found.coords[:, 2].max())
    rules = rod_settings(settings, diameter_mm)
    reach = settings.web_mm + diameter_mm
    grid = voxelise(walls, top, settings.grid_mm, reach + MARGIN_MM, reach, columns)
    # The open air is no place to end: the topmost layer counts as wall.
    shut = grid.off2.copy()
    shut[-1] = 0
    nowhere = np.zeros(len(walls.faces), dtype=bool)
    return Site(
        report=found.report,
        settings=rules,
        axes=found.axes,
        coords=found.coords,
        normals=found.normals,
        price=found.price,
        drained=nowhere,
        land_price=np.full(len(walls.faces), np.inf),
        top_mm=top,
        meter=GapMeter(walls),
        columns=columns,
        contacts={},
        above={},
        grid=replace(grid, off2=shut),
    )


def towards(site: Site, found: Ground, fed: Ints, feet: Ints) -> Site:
    """The same site with the fed slices' faces as landings, for gates that start at `feet`."""
    drained = np.zeros(len(site.drained), dtype=bool)
    own = len(found.facing)
    drained[:own] = found.facing & np.isin(found.slice_of_face, fed)
    price = np.full(len(drained), np.inf)
    price[:own] = np.where(drained[:own], found.land_price, np.inf)
    above = straight_above(site.columns, site.coords, feet, drained)
    return replace(site, drained=drained, land_price=price, above=above)
