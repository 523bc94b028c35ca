"""Where rods are to stand: walls, drained landings, and surface that is better left alone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pourwright.air import AirReport, read_pockets
from pourwright.air.pockets import OUTSIDE
from pourwright.solid import boolean
from pourwright.solid.columns import frame, hits
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.protect import Protection
from pourwright.vents.grid import Bools, Grid, voxelise
from pourwright.vents.settings import VentSettings

# Prices in mm of rod: what a scar on the figure is worth avoiding.
_PROTECTED, _SEEN, _ROUGH, _STEEP, _ON_FIGURE, _ON_BASE = 60.0, 6.0, 2.0, 2.0, 50.0, 1.0
# Landings flatter than this against the rod hold it; the sine of the least angle.
_LEAST_FACING = 0.35
# Room round the figure that rods may use, besides what they need themselves.
_MARGIN_MM = 4.0
# Half the width of the window in which routes are found anew.
_WINDOW_MM = 40.0
# Of the points that stand for the walls.
_SPACING_MM = 0.35


@dataclass(frozen=True, eq=False)
class Site:
    """Everything a route is judged by, in the pour frame: z along the pour direction, recentred.

    coords : (n, 3) surface vertices. normals : (n, 3) unit outward normals. price : (n,) of a
    contact at each vertex, mm of rod. drained : (m,) triangles a rod may land on.
    land_price : (m,) of landing on each triangle. top_mm : the mould top plane. meter, cloud :
    the walls, to measure distances to. above : for each vertex where a rod may start, the drained
    triangle straight above it (or -1) and where it is met.
    """

    report: AirReport
    settings: VentSettings
    axes: Floats
    coords: Floats
    normals: Floats
    price: Floats
    face_normals: Floats
    drained: Bools
    land_price: Floats
    top_mm: float
    meter: boolean.GapMeter
    cloud: cKDTree
    above: dict[int, tuple[int, float]]
    grid: Grid

    def walls_beyond_mm(self, points: Floats) -> Floats:
        """Thickness (k,) of what lies straight above landings (k, 3), inf where it has no end."""
        found = hits(self.coords, self.report.surface.faces, points[:, :2])
        over = (found.z > points[found.line, 2] + 1e-6) & (found.up > 0)
        thick = np.full(len(points), np.inf)
        line = found.line[over]
        np.minimum.at(thick, line, found.z[over] - points[line, 2])
        return thick

    def near(self, vertex: int) -> Site:
        """The same in a window round a surface vertex, where routes are found much faster."""
        return replace(self, grid=self.grid.window(self.coords[vertex], _WINDOW_MM))

    def web_mm(self, points: Floats, radius_mm: float, limit_mm: float) -> float:
        """Rubber beside a rod whose middle runs through points (k, 3), cut off at a limit.

        To a hundredth of a mm: the walls are known by points a third of a mm apart.
        """
        if len(points) == 0:
            return limit_mm
        far = radius_mm + limit_mm
        distance, _ = self.cloud.query(points, distance_upper_bound=far)
        return float(min(distance.min(), far)) - radius_mm

    def standing(self, points: Floats) -> Floats:
        """Turn points (k, 3) of the pour frame back into the standing frame."""
        moved: Floats = points @ self.axes + self.report.surface.centre_mm
        return moved

    def pouring(self, points: Floats) -> Floats:
        """Turn points (k, 3) of the standing frame into the pour frame."""
        moved: Floats = (points - self.report.surface.centre_mm) @ self.axes.T
        return moved


def survey(
    sprued: TriMesh,
    report: AirReport,
    openings: Ints,
    settings: VentSettings,
    base_height_mm: float,
    protection: Protection | None,
    starts: Ints,
) -> Site:
    """Prepare the site for routing.

    openings : surface vertices that will be open once every need has its rod. base_height_mm :
    x . up of the base's figure side; what lies above it in the pour is base or funnel. starts :
    surface vertices where rods may start.
    """
    surface, up = report.surface, report.tree.up
    axes = frame(up)
    coords = surface.vertices @ axes.T
    normals = surface.normals / np.maximum(
        np.linalg.norm(surface.normals, axis=1), 1e-300
    )[:, None]
    face_normals = surface.area_vectors / np.maximum(
        np.linalg.norm(surface.area_vectors, axis=1), 1e-300
    )[:, None]
    shift = float(surface.centre_mm @ up)
    guarded = np.zeros(len(coords))
    if protection is not None:
        guarded = protection.at(surface.vertices + surface.centre_mm)
    # Pseudonormals are as long as the angle round a vertex where the surface is flat.
    rough = 1 - np.clip(np.linalg.norm(surface.normals, axis=1) / (2 * np.pi), 0, 1)
    seen = (1 + normals[:, 2]) / 2  # what faces down as the figure stands is hidden
    steep = 1 - np.clip(normals @ up, 0, 1)
    price = _PROTECTED * guarded + _SEEN * seen + _ROUGH * rough + _STEEP * steep
    left = read_pockets(surface, report.tree, openings)
    on_base = report.tree.heights[surface.faces].max(axis=1) + shift >= base_height_mm - 1e-6
    land_price = np.where(
        on_base, _ON_BASE,
        _ON_FIGURE + _PROTECTED * guarded[surface.faces].max(axis=1)
        + _SEEN * seen[surface.faces].mean(axis=1),
    )  # fmt: skip
    reach = settings.web_mm + settings.diameter_mm
    walls = TriMesh(coords, surface.faces, "walls")
    drained = _drained(left) & (face_normals @ up < -_LEAST_FACING)
    return Site(
        report=report,
        settings=settings,
        axes=axes,
        coords=coords,
        normals=normals @ axes.T,
        price=price,
        face_normals=face_normals @ axes.T,
        drained=drained,
        land_price=land_price,
        top_mm=float(coords[:, 2].max()),
        meter=boolean.GapMeter(
            TriMesh((sprued.vertices - surface.centre_mm) @ axes.T, sprued.faces, "walls")
        ),
        cloud=cKDTree(_cloud(walls), balanced_tree=False, compact_nodes=False),
        above=_above(walls, starts, drained),
        grid=voxelise(
            walls,
            float(coords[:, 2].max()),
            settings.grid_mm,
            settings.web_mm + settings.diameter_mm + _MARGIN_MM,
            reach,
        ),
    )


def _drained(left: AirReport) -> Bools:
    """Triangles whose highest vertex lies in no pocket that is left."""
    surface, tree = left.surface, left.tree
    pocket: NDArray[np.int64] = left.pocket_of_climb[tree.climb]
    shift = float(surface.centre_mm @ tree.up)
    saddle = np.array(
        [-np.inf if p.saddle_height_mm is None else p.saddle_height_mm - shift
         for p in left.pockets] + [np.inf]
    )
    trapped = (pocket != OUTSIDE) & (tree.heights > saddle[pocket])
    corners = surface.faces
    top = corners[np.arange(len(corners)), np.argmax(tree.heights[corners], axis=1)]
    free: Bools = ~trapped[top]
    return free


def _above(walls: TriMesh, starts: Ints, drained: Bools) -> dict[int, tuple[int, float]]:
    """For each vertex the triangle straight above it if a rod may land there, and the height."""
    found = hits(walls.vertices, walls.faces, walls.vertices[starts, :2])
    start = starts[found.line]
    own = (walls.faces[found.triangle] == start[:, None]).any(axis=1)
    over = np.flatnonzero(~own & (found.z > walls.vertices[start, 2] + 1e-6))
    over = over[np.lexsort((found.z[over], found.line[over]))]
    line, first = np.unique(found.line[over], return_index=True)
    result = {int(s): (-1, 0.0) for s in starts}
    for number, i in zip(line, over[first], strict=True):
        triangle = int(found.triangle[i])
        result[int(starts[number])] = (
            triangle if drained[triangle] else -1, float(found.z[i])
        )
    return result


def _cloud(walls: TriMesh) -> Floats:
    """Points on the surface, at most about `_SPACING_MM` apart."""
    v, f = walls.vertices, walls.faces
    corners = v[f]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    points = [v[np.unique(f)]]
    steps = np.ceil(longest / _SPACING_MM).astype(np.int64)
    for n in np.unique(steps[steps > 1]):
        i, j = np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij")
        # The corners are among the vertices already.
        inside = (i + j <= n) & (np.maximum(np.maximum(i, j), n - i - j) < n)
        weight = np.stack([i[inside], j[inside], n - i[inside] - j[inside]], axis=1) / n
        points.append(np.einsum("kc,mcd->mkd", weight, corners[steps == n]).reshape(-1, 3))
    return np.vstack(points)
