"""Where rods are to stand: walls, drained landings, and surface that is better left alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pourwright.air import AirReport, Surface
from pourwright.air.pockets import OUTSIDE
from pourwright.solid.columns import Columns, frame
from pourwright.solid.gaps import GapMeter
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.protect import Protection
from pourwright.vents.grid import Bools, Grid, voxelise
from pourwright.vents.needs import Need, contact_vertices
from pourwright.vents.settings import VentSettings

# Prices in mm of rod: what a scar on the figure is worth avoiding.
_PROTECTED, _SEEN, _ROUGH, _STEEP, _ON_FIGURE, _ON_BASE = 60.0, 6.0, 2.0, 2.0, 50.0, 1.0
# Landings flatter than this against the rod hold it; the sine of the least angle.
LEAST_FACING = 0.35
# Contacts that are tried for one need, the cheapest ones a little apart from each other.
_CONTACTS, _APART_MM = 24, 0.5
# Room round the figure that rods may use, besides what they need themselves.
MARGIN_MM = 4.0
# Half the width of the window in which routes are found anew.
_WINDOW_MM = 40.0


@dataclass(frozen=True, eq=False)
class Site:
    """Everything a route is judged by, in the pour frame: z along the pour direction, recentred.

    axes : (3, 3) rows are the frame's axes. coords : (n, 3) surface vertices. meter, columns : of
    the walls, to measure distances to and to look straight up at. normals : (n, 3) unit outward.
    price : (n,) of a contact at each vertex, mm of rod. drained : (m,) triangles a rod may land
    on. land_price : (m,) of landing on each triangle. top_mm : the mould top plane. contacts : for
    the peak of each need the vertices where its rod may start, the peak first. above : for each of
    these the drained triangle straight above it (or -1) and where it is met.
    """

    report: AirReport
    settings: VentSettings
    axes: Floats
    coords: Floats
    normals: Floats
    price: Floats
    drained: Bools
    land_price: Floats
    top_mm: float
    meter: GapMeter
    columns: Columns
    contacts: dict[int, Ints]
    above: dict[int, tuple[int, float]]
    grid: Grid

    def walls_beyond_mm(self, points: Floats) -> Floats:
        """Thickness (k,) of what lies straight above landings (k, 3), inf where it has no end."""
        found = self.columns.hits(points[:, :2])
        over = (found.z > points[found.line, 2] + 1e-6) & (found.up > 0)
        thick = np.full(len(points), np.inf)
        line = found.line[over]
        np.minimum.at(thick, line, found.z[over] - points[line, 2])
        return thick

    def face_normal(self, triangle: int) -> Floats:
        """Unit outward normal, (3,), of a triangle in the pour frame."""
        normal: Floats = self.axes @ self.report.surface.area_vectors[triangle]
        return normal / np.linalg.norm(normal)

    def near(self, vertex: int) -> Site:
        """The same in a window round a surface vertex, where routes are found much faster."""
        return replace(self, grid=self.grid.window(self.coords[vertex], _WINDOW_MM))

    def standing(self, points: Floats) -> Floats:
        """Turn points (k, 3) of the pour frame back into the standing frame."""
        moved: Floats = points @ self.axes + self.report.surface.centre_mm
        return moved

    def pouring(self, points: Floats) -> Floats:
        """Turn points (k, 3) of the standing frame into the pour frame."""
        moved: Floats = (points - self.report.surface.centre_mm) @ self.axes.T
        return moved


def survey(
    report: AirReport,
    left: AirReport,
    needs: Sequence[Need],
    settings: VentSettings,
    base_height_mm: float,
    protection: Protection | None,
) -> Site:
    """Prepare the site for routing.

    left : the air once every one of the needs has its rod. base_height_mm : x . up of the base's
    figure side; what lies above it in the pour is base or funnel.
    """
    surface, up = report.surface, report.tree.up
    axes = frame(up)
    coords = surface.vertices @ axes.T
    walls = TriMesh(coords, surface.faces, "walls")
    columns = Columns(coords, surface.faces)
    seen = appraise(surface, axes, protection)
    drained = np.flatnonzero(
        surface.area_vectors @ up < -LEAST_FACING * lengths(surface.area_vectors)
    )
    drained = drained[_drained(left, drained)]
    may_land = np.zeros(len(surface.faces), dtype=bool)
    may_land[drained] = True
    contacts = {n.peak: _contacts(coords, seen.price, report, n) for n in needs}
    starts = np.unique(np.concatenate(list(contacts.values())))
    return Site(
        report=report,
        settings=settings,
        axes=axes,
        coords=coords,
        normals=seen.normals,
        price=seen.price,
        drained=may_land,
        land_price=land_price(report, drained, seen, base_height_mm),
        top_mm=float(coords[:, 2].max()),
        meter=GapMeter(walls),
        columns=columns,
        contacts=contacts,
        above=straight_above(columns, coords, starts, may_land),
        grid=voxelise(
            walls,
            float(coords[:, 2].max()),
            settings.grid_mm,
            settings.web_mm + settings.diameter_mm + MARGIN_MM,
            settings.web_mm + settings.diameter_mm,
            columns,
        ),
    )


@dataclass(frozen=True, eq=False)
class Appraisal:
    """What the surface is worth, vertex by vertex.

    normals : (n, 3) unit outward normals, pour frame. price : (n,) of a contact, mm of rod.
    guarded : (n,) protect weight. seen : (n,) from 0 for what faces down as the figure stands,
    and so is hidden, to 1.
    """

    normals: Floats
    price: Floats
    guarded: Floats
    seen: Floats


def appraise(surface: Surface, axes: Floats, protection: Protection | None) -> Appraisal:
    """Price every vertex; axes : rows are the pour frame's axes."""
    length = lengths(surface.normals)
    whole = np.maximum(length, 1e-300)
    normals = (surface.normals @ axes.T) / whole[:, None]
    guarded = np.zeros(len(length))
    if protection is not None:
        guarded = protection.at(surface.vertices + surface.centre_mm)
    seen = (1 + surface.normals[:, 2] / whole) / 2
    # Pseudonormals are as long as the angle round a vertex where the surface is flat.
    rough = 1 - np.clip(length / (2 * np.pi), 0, 1)
    steep = 1 - np.clip(normals[:, 2], 0, 1)
    price = _PROTECTED * guarded + _SEEN * seen + _ROUGH * rough + _STEEP * steep
    return Appraisal(normals, price, guarded, seen)


def lengths(vectors: Floats) -> Floats:
    """Lengths (n,) of vectors (n, 3)."""
    found: Floats = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))
    return found


def land_price(
    report: AirReport, faces: Ints, value: Appraisal, base_height_mm: float
) -> Floats:
    """Price of landing on each triangle of the surface, inf but for the given ones."""
    shift = float(report.surface.centre_mm @ report.tree.up)
    corners = report.surface.faces[faces].T
    on_base = report.tree.heights[corners].max(axis=0) + shift >= base_height_mm - 1e-6
    on_figure = (
        _ON_FIGURE
        + _PROTECTED * value.guarded[corners].max(axis=0)
        + _SEEN * value.seen[corners].mean(axis=0)
    )
    price = np.full(len(report.surface.faces), np.inf)
    price[faces] = np.where(on_base, _ON_BASE, on_figure)
    return price


def _drained(left: AirReport, faces: Ints) -> Bools:
    """Whether the highest vertex of each of these triangles lies in no pocket that is left."""
    surface, tree = left.surface, left.tree
    pocket: NDArray[np.int64] = left.pocket_of_climb[tree.climb]
    shift = float(surface.centre_mm @ tree.up)
    saddle = np.array(
        [-np.inf if p.saddle_height_mm is None else p.saddle_height_mm - shift
         for p in left.pockets] + [np.inf]
    )
    trapped = (pocket != OUTSIDE) & (tree.heights > saddle[pocket])
    corners = surface.faces[faces].T
    top = corners[np.argmax(tree.heights[corners], axis=0), np.arange(len(faces))]
    free: Bools = ~trapped[top]
    return free


def _contacts(coords: Floats, price: Floats, report: AirReport, need: Need) -> Ints:
    """The cheapest places for a rod's foot, some way apart, the peak always among them."""
    vertices = contact_vertices(report, need)
    order = vertices[np.argsort(price[vertices], kind="stable")]
    chosen = [need.peak]
    off = coords[order] - coords[need.peak]
    apart = np.sqrt((off * off).sum(axis=1))
    while len(chosen) < _CONTACTS:
        far = np.flatnonzero(apart >= _APART_MM)
        if len(far) == 0:
            break
        order, apart = order[far], apart[far]
        chosen.append(int(order[0]))
        off = coords[order] - coords[order[0]]
        apart = np.minimum(apart, np.sqrt((off * off).sum(axis=1)))
    return np.array(chosen)


def straight_above(
    columns: Columns, coords: Floats, starts: Ints, may_land: Bools
) -> dict[int, tuple[int, float]]:
    """For each vertex the triangle straight above it if a rod may land there, and the height."""
    found = columns.hits(coords[starts, :2])
    start = starts[found.line]
    own = (columns.faces[found.triangle] == start[:, None]).any(axis=1)
    over = np.flatnonzero(~own & (found.z > coords[start, 2] + 1e-6))
    over = over[np.lexsort((found.z[over], found.line[over]))]
    line, first = np.unique(found.line[over], return_index=True)
    result = {int(s): (-1, 0.0) for s in starts}
    for number, i in zip(line, over[first], strict=True):
        triangle = int(found.triangle[i])
        result[int(starts[number])] = (triangle if may_land[triangle] else -1, float(found.z[i]))
    return result
