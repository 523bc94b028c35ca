"""The surface of a cavity, made ready once for analysis in any direction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pourwright.air.arrays import dot
from pourwright.air.curve import places_on_curve
from pourwright.air.neighbours import Neighbours, half_edge_table, neighbours, plain_twins
from pourwright.air.spheres import SphereTree, sphere_tree
from pourwright.errors import MeshError
from pourwright.solid import topology, weld
from pourwright.solid.mesh import Floats, Ints, TriMesh


@dataclass(frozen=True, eq=False)
class Surface:
    """A closed surface, recentred, with contacts parted and vertices in a space-filling order.

    Everything here is the same for all directions, and may be read by several threads at once.
    Tables of three columns lie column by column in memory, which is how the analysis reads them.

    vertices : (n, 3) mm about `centre_mm`; faces : (m, 3).
    edge_low, edge_high : (e,) the end vertices of each edge, edge_low < edge_high.
    edge_sides : (2, e) third vertices of the two faces at each edge.
    area_vectors : (m, 3) twice the area times the outward normal of each face, mm2.
    normals : (n, 3) angle-weighted pseudonormal of each vertex, any length.
    """

    vertices: Floats
    faces: Ints
    edge_low: Ints
    edge_high: Ints
    edge_sides: Ints
    area_vectors: Floats
    normals: Floats
    neighbours: Neighbours
    spheres: SphereTree
    centre_mm: Floats
    diagonal_mm: float

    @property
    def tolerance_mm(self) -> float:
        """Height below which two levels are the same; float noise of a rotated flat face."""
        return 1e-9 * self.diagonal_mm

    def heights(self, up: Floats) -> Floats:
        """Height of each vertex along `up`, (n,), surface's own frame."""
        return dot(self.vertices, up)


def prepare(mesh: TriMesh) -> Surface:
    """Make a closed, outward-oriented mesh ready; contacts between bodies are parted.

    Vertices are welded by position first, so that contacts are judged by geometry and not by how
    the mesh happens to be stored. Raises MeshError where the surface is not closed.
    """
    centre = mesh.bounds_mm.mean(axis=0)
    vertices, faces = _in_order(mesh.vertices - centre, mesh.faces)
    table = half_edge_table(faces, len(vertices))
    twin = plain_twins(table, 3 * len(faces))
    if twin is None:
        twin = topology.twins(vertices, faces)
    if (twin == topology.NONE).any():
        loose = int(np.flatnonzero(twin == topology.NONE)[0])
        raise MeshError(
            f"'{mesh.name}' is not closed",
            hint="run it through intake first",
            at_mm=vertices[faces[loose // 3, loose % 3]] + centre,
            kind="open_boundary",
        )
    welded = len(vertices)
    vertices, faces, _ = topology.unweld(vertices, faces, twin)
    if len(vertices) != welded:
        table = half_edge_table(faces, len(vertices))
    low, high, sides = _edges(faces, twin)
    beside = neighbours(vertices, table)
    # Here and below: what is large and done with goes, as the corners are larger.
    del table
    vertices, faces = np.asfortranarray(vertices), np.asfortranarray(faces)
    corners = _corners(vertices, faces)
    area = _area_vectors(corners)
    return Surface(
        vertices=vertices,
        faces=faces,
        edge_low=low,
        edge_high=high,
        edge_sides=sides,
        area_vectors=area,
        normals=pseudonormals(corners, area, faces, twin, len(vertices)),
        neighbours=beside,
        spheres=sphere_tree(corners, mesh.diagonal_mm),
        centre_mm=centre,
        diagonal_mm=mesh.diagonal_mm,
    )


def _edges(faces: Ints, twin: Ints) -> tuple[Ints, Ints, Ints]:
    """Lower and higher end of each edge, (e,), and the third vertices of its faces, (2, e)."""
    corner, once = faces.ravel(), np.flatnonzero(np.arange(len(twin)) < twin)
    other = twin[once]
    start, end = corner[once], corner[other]
    # A half-edge runs from its corner to the next one; the third vertex is the one before it.
    third = [corner[c + np.where(c % 3 == 0, 2, -1)] for c in (once, other)]
    return np.minimum(start, end), np.maximum(start, end), np.stack(third)


def _in_order(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """Weld equal positions, drop what is unused or collapsed, sort along a space-filling curve."""
    faces = weld.drop_collapsed(faces)
    order, repeats = _curve_order(vertices, faces)
    if repeats:
        vertices, faces = weld.weld_exact(vertices, faces)
        faces = weld.drop_collapsed(faces)
        order, _ = _curve_order(vertices, faces)
    place = np.empty(len(vertices), dtype=np.int64)
    place[order] = np.arange(len(order))
    faces = place[faces]
    first = np.minimum(np.minimum(faces[:, 0], faces[:, 1]), faces[:, 2])
    return vertices[order], faces[np.argsort(first, kind="stable")]


def _curve_order(vertices: Floats, faces: Ints) -> tuple[Ints, bool]:
    """Order of the vertices in use along a space-filling curve, and whether any are equal."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces.ravel()] = True
    code = places_on_curve(vertices)
    order = np.argsort(code, kind="stable")
    order = order[used[order]]
    # Equal positions have equal codes: in most models there is next to nothing to compare.
    same = np.diff(code[order]) == 0
    alike = order[np.append(same, False) | np.append(False, same)]
    return order, len(np.unique(vertices[alike], axis=0)) < len(alike)


def _corners(vertices: Floats, faces: Ints) -> Floats:
    """Corner positions of each face, (m, 3, 3), each coordinate of each corner a column."""
    columns = np.empty((3, 3, len(faces)))
    for i, corner in enumerate(faces.T):
        for axis, coordinate in enumerate(vertices.T):
            np.take(coordinate, corner, out=columns[i, axis], mode="clip")
    return columns.transpose(2, 0, 1)


def _area_vectors(corners: Floats) -> Floats:
    """Cross product of two sides of each face, (m, 3), columns."""
    (ux, uy, uz), (vx, vy, vz) = (
        [corners[:, i, axis] - corners[:, 0, axis] for axis in range(3)] for i in (1, 2)
    )
    return np.stack([uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx]).T


def pseudonormals(
    corners: Floats, area: Floats, faces: Ints, twin: Ints, n_vertices: int
) -> Floats:
    """Angle-weighted pseudonormals, (n, 3), not scaled to unit length.

    corners : (m, 3, 3) corner positions of each face; area : (m, 3) its cross product.

    The sign of its product with a direction tells inside from outside right next to the vertex
    (J. A. Baerentzen, H. Aanaes: Signed distance computation using the angle weighted
    pseudonormal, IEEE TVCG 11(3), 2005). Area weights do not.
    """

    def side(i: int) -> list[Floats]:
        return [corners[:, (i + 1) % 3, axis] - corners[:, i % 3, axis] for axis in range(3)]

    length = np.sqrt(_sum_of_products(area.T, area.T))
    longest2 = np.stack([_sum_of_products(s, s) for s in map(side, range(3))])
    unit = area.T / np.where(length > 0, length, 1.0)
    # A sliver has no direction of its own: it lies in the face across its longest edge.
    thin = length <= 1e-12 * np.maximum(np.maximum(*longest2[:2]), longest2[2])
    for _ in range(8):
        slivers = np.flatnonzero(thin)
        if len(slivers) == 0:
            break
        other = twin[3 * slivers + np.argmax(longest2[:, slivers], axis=0)] // 3
        good = ~thin[other]
        unit[:, slivers[good]] = unit[:, other[good]]
        thin[slivers[good]] = False
        if not good.any():
            break
    result = np.zeros((3, n_vertices))
    for i in range(3):
        # The cross product of any two sides is the same, twice the area.
        angle = np.arctan2(length, -_sum_of_products(side(i), side(i + 2)))
        for axis in range(3):
            result[axis] += np.bincount(
                faces[:, i], weights=angle * unit[axis], minlength=n_vertices
            )
    return result.T


def _sum_of_products(a: Sequence[Floats] | Floats, b: Sequence[Floats] | Floats) -> Floats:
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])
