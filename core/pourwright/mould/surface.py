"""The master's surface as a graph that a line can run over.

Corners of the graph are the mesh's vertices and, where the mesh is coarse enough, the middles of
its edges and faces; arcs are the pieces between them. All of them lie on the surface, and no two
cross but at corners, so that a loop of arcs parts the surface cleanly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourwright.solid import boolean, weld
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.vectors import doubled_areas

# Above so many faces the mesh's own edges give ways enough.
_MOST_SPLIT = 100_000
_MOST_REFINED = 400_000


@dataclass(frozen=True, eq=False)
class SurfaceGraph:
    """Corners and arcs on a closed surface, frame of the board.

    points : (n, 3) corners. normals : (n, 3) unit, outward. faces : (m, 3) corners of the small
    triangles between the arcs. arcs : (e, 2) corners, the lower number first. lengths_mm : (e,).
    arc_faces : (e, 2) small triangles on either side. areas_mm2 : (m,).
    bend : (e,) angle between these in radians, positive where the surface is convex.
    """

    points: Floats
    normals: Floats
    faces: Ints
    arcs: Ints
    lengths_mm: Floats
    arc_faces: Ints
    areas_mm2: Floats
    bend: Floats


def graph_of(mesh: TriMesh, edge_mm: float) -> SurfaceGraph:
    """Return the graph of a closed mesh with no arc longer than about `edge_mm`.

    Long edges are halved and thirded where they are, so that every point stays on the surface.
    On each face the arcs run along its edges and from its middle to its corners and to the
    middles of its edges: at every corner there is a way each 30 degrees or so, and a way is less
    than 4 % longer than it would be across country. Meshes over 100 000 faces keep to their edges.
    """
    edge = edge_mm
    area = float(_face_areas(mesh.vertices, mesh.faces).sum())
    # About 2.3 triangles of that edge to the square.
    edge = max(edge, (2.3 * area / _MOST_REFINED) ** 0.5)
    refined = boolean.refined(mesh, edge)
    vertices, faces = weld.weld_exact(refined.vertices, refined.faces)
    faces = weld.drop_collapsed(faces)
    if len(faces) <= _MOST_SPLIT:
        vertices, faces = _split(vertices, faces)
    return _graph(vertices, faces)


def _split(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """Each face into six about its middle and the middles of its edges."""
    edges, number = _edges(faces)
    n, e = len(vertices), len(edges)
    points = np.vstack([
        vertices, vertices[edges].mean(axis=1), vertices[faces].mean(axis=1)
    ])  # fmt: skip
    middle = n + e + np.arange(len(faces))
    halves = n + number.reshape(-1, 3)  # of the edges from corner i to i + 1
    small = []
    for i in range(3):
        a, b, half = faces[:, i], faces[:, (i + 1) % 3], halves[:, i]
        small += [np.stack([a, half, middle], axis=1), np.stack([half, b, middle], axis=1)]
    return points, np.vstack(small)


def _edges(faces: Ints) -> tuple[Ints, Ints]:
    """Edges (e, 2), the lower number first, and the edge of each half-edge (3 m,)."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    count = int(faces.max()) + 1
    key, number = np.unique(low * count + high, return_inverse=True)
    return np.stack([key // count, key % count], axis=1), number.reshape(-1)


def _graph(points: Floats, faces: Ints) -> SurfaceGraph:
    arcs, number = _edges(faces)
    order = np.argsort(number, kind="stable")
    first = np.searchsorted(number[order], np.arange(len(arcs)))
    last = np.searchsorted(number[order], np.arange(len(arcs)), side="right") - 1
    sides = np.stack([order[first], order[last]], axis=1) // 3
    double = doubled_areas(points, faces)
    size = np.linalg.norm(double, axis=1)
    unit = double / np.maximum(size, 1e-300)[:, None]
    normals: Floats = np.stack(
        [
            np.bincount(faces.ravel(), np.repeat(double[:, i], 3), minlength=len(points))
            for i in range(3)
        ],
        axis=1,
    ).astype(np.float64)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    one, two = unit[sides[:, 0]], unit[sides[:, 1]]
    bend = np.arctan2(
        np.linalg.norm(np.cross(one, two), axis=1), np.einsum("ij,ij->i", one, two)
    )
    # Convex where the other face's middle lies below the plane of this one; slivers say nothing.
    middle = points[faces].mean(axis=1)
    over = np.einsum("ij,ij->i", middle[sides[:, 1]] - points[arcs[:, 0]], one)
    bend = np.where(over <= 0, bend, -bend)
    sliver = (size < 1e-9)[sides].any(axis=1)
    return SurfaceGraph(
        points=points,
        normals=normals,
        faces=faces,
        arcs=arcs,
        lengths_mm=np.linalg.norm(points[arcs[:, 0]] - points[arcs[:, 1]], axis=1),
        arc_faces=sides,
        areas_mm2=size / 2,
        bend=np.where(sliver, 0.0, bend),
    )


def _face_areas(vertices: Floats, faces: Ints) -> Floats:
    areas: Floats = np.linalg.norm(doubled_areas(vertices, faces), axis=1) / 2
    return areas
