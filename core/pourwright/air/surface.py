"""The surface of a cavity, made ready once for analysis in any direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourwright.errors import MeshError
from pourwright.solid import topology, weld
from pourwright.solid.mesh import Floats, Ints, TriMesh


@dataclass(frozen=True, eq=False)
class Surface:
    """A closed surface, recentred, with contacts parted and vertices in a space-filling order.

    vertices : (n, 3) mm about `centre_mm`; faces : (m, 3).
    edge_low, edge_high : (e,) the end vertices of each edge, edge_low < edge_high.
    area_vectors : (m, 3) twice the area times the outward normal of each face, mm2.
    normals : (n, 3) angle-weighted pseudonormal of each vertex, any length.
    """

    vertices: Floats
    faces: Ints
    edge_low: Ints
    edge_high: Ints
    area_vectors: Floats
    normals: Floats
    centre_mm: Floats
    diagonal_mm: float

    @property
    def tolerance_mm(self) -> float:
        """Height below which two levels are the same; float noise of a rotated flat face."""
        return 1e-9 * self.diagonal_mm


def prepare(mesh: TriMesh) -> Surface:
    """Make a closed, outward-oriented mesh ready; contacts between bodies are parted.

    Vertices are welded by position first, so that contacts are judged by geometry and not by how
    the mesh happens to be stored. Raises MeshError where the surface is not closed.
    """
    centre = mesh.bounds_mm.mean(axis=0)
    vertices, faces = weld.weld_exact(mesh.vertices - centre, mesh.faces)
    order = _morton_order(vertices)
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    vertices, faces = vertices[order], place[weld.drop_collapsed(faces)]
    faces = faces[np.argsort(faces.min(axis=1), kind="stable")]
    twin = topology.twins(vertices, faces)
    if (twin == topology.NONE).any():
        loose = int(np.flatnonzero(twin == topology.NONE)[0])
        raise MeshError(
            f"'{mesh.name}' is not closed",
            hint="run it through intake first",
            at_mm=vertices[faces[loose // 3, loose % 3]] + centre,
            kind="open_boundary",
        )
    vertices, faces, _ = topology.unweld(vertices, faces, twin)
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    once = np.flatnonzero(np.arange(len(twin)) < twin)
    low, high = np.minimum(start[once], end[once]), np.maximum(start[once], end[once])
    corners = vertices[faces]
    area = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return Surface(
        vertices=np.ascontiguousarray(vertices),
        faces=np.ascontiguousarray(faces),
        edge_low=low,
        edge_high=high,
        area_vectors=area,
        normals=pseudonormals(corners, area, faces, twin, len(vertices)),
        centre_mm=centre,
        diagonal_mm=mesh.diagonal_mm,
    )


def pseudonormals(
    corners: Floats, area: Floats, faces: Ints, twin: Ints, n_vertices: int
) -> Floats:
    """Angle-weighted pseudonormals, (n, 3), not scaled to unit length.

    corners : (m, 3, 3) corner positions of each face; area : (m, 3) its cross product.

    The sign of its product with a direction tells inside from outside right next to the vertex
    (J. A. Baerentzen, H. Aanaes: Signed distance computation using the angle weighted
    pseudonormal, IEEE TVCG 11(3), 2005). Area weights do not.
    """
    length = np.linalg.norm(area, axis=1)
    sides = np.roll(corners, -1, axis=1) - corners
    longest = np.linalg.norm(sides, axis=2)
    thin = length <= 1e-12 * longest.max(axis=1) ** 2
    unit = area / np.where(length > 0, length, 1.0)[:, None]
    # A sliver has no direction of its own: it lies in the face across its longest edge.
    for _ in range(8):
        slivers = np.flatnonzero(thin)
        if len(slivers) == 0:
            break
        other = twin[3 * slivers + np.argmax(longest[slivers], axis=1)] // 3
        good = ~thin[other]
        unit[slivers[good]] = unit[other[good]]
        thin[slivers[good]] = False
        if not good.any():
            break
    result = np.zeros((n_vertices, 3))
    for i in range(3):
        out, back = sides[:, i], -sides[:, i - 1]
        angle = np.arctan2(np.linalg.norm(np.cross(out, back), axis=1), (out * back).sum(axis=1))
        for axis in range(3):
            result[:, axis] += np.bincount(
                faces[:, i], weights=angle * unit[:, axis], minlength=n_vertices
            )
    return result


def _morton_order(vertices: Floats) -> Ints:
    """Order of the vertices along a Z-order curve, so that neighbours are close in memory."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    cell = ((vertices - low) * (2**20 / np.maximum(high - low, 1e-300))).astype(np.uint64)
    cell = np.minimum(cell, np.uint64(2**20 - 1))
    code = np.zeros(len(vertices), dtype=np.uint64)
    for axis in range(3):
        x = cell[:, axis]
        for shift, mask in (
            (32, 0x1F00000000FFFF), (16, 0x1F0000FF0000FF), (8, 0x100F00F00F00F00F),
            (4, 0x10C30C30C30C30C3), (2, 0x1249249249249249),
        ):
            x = (x | (x << np.uint64(shift))) & np.uint64(mask)
        code |= x << np.uint64(axis)
    return np.argsort(code, kind="stable")
