"""Bodies that touch along an edge or at a corner, made to stand a hair apart.

Such a contact is one solid to some programs and two to others, and a printer cannot print it.
"""

from __future__ import annotations

import numpy as np

from pourwright.errors import Point
from pourwright.solid import topology, weld
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.vectors import doubled_areas

GAP_MM = 0.0004


def open_contacts(mesh: TriMesh) -> tuple[TriMesh, list[Point]]:
    """Draw touching edges and corners of a closed mesh `GAP_MM` apart, into the body.

    Returns the mesh (the same one where nothing touches) and where the contacts were.
    """
    vertices, welded = weld.weld_exact(mesh.vertices, mesh.faces)
    kept = (welded != np.roll(welded, 1, axis=1)).all(axis=1)
    welded = welded[kept]
    # Of a contact a union makes now one vertex and now two, and those may tie bodies together that
    # meet in the edge between them.
    before = None
    if len(vertices) < len(mesh.vertices):
        before = topology.twins(mesh.vertices, mesh.faces[kept])
        if (before == topology.NONE).any():
            before = None
    twin = topology.twins(vertices, welded, before)
    parted, new_faces, old = topology.unweld(vertices, welded, twin)
    if len(parted) == len(vertices):
        return mesh, []
    shared = np.flatnonzero(np.bincount(old, minlength=len(vertices)) > 1)
    moving = np.flatnonzero(np.isin(old, shared))
    inward = -_directions(parted, new_faces, moving)
    parted = parted.copy()
    parted[moving] += inward * (GAP_MM / 2)
    places = [(float(x), float(y), float(z)) for x, y, z in vertices[shared]]
    return TriMesh(parted, new_faces, mesh.name), places


def _directions(vertices: Floats, faces: Ints, chosen: Ints) -> Floats:
    """Unit outward directions at the chosen vertices, the mean of their faces' normals."""
    normal = doubled_areas(vertices, faces)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    total = np.zeros_like(vertices)
    for i in range(3):
        np.add.at(total, faces[:, i], normal)
    picked: Floats = total[chosen]
    length = np.linalg.norm(picked, axis=1)
    return picked / np.maximum(length, 1e-300)[:, None]
