"""Lines of a lattice through triangles, against single lines through the same triangles."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapes import as_mesh, box

from pourwright.solid import TriMesh
from pourwright.solid.columns import hits
from pourwright.solid.lattice import LatticeHits, lattice_hits


def by_columns(mesh: TriMesh, low: np.ndarray, pitch: float, shape: tuple[int, int]) -> np.ndarray:
    """Line, height, triangle and sign of each hit, sorted, found line by line."""
    y, x = np.divmod(np.arange(shape[0] * shape[1]), shape[1])
    found = hits(mesh.vertices, mesh.faces, low + pitch * np.stack([x, y], axis=1))
    return in_order(found.line, found.triangle, found.up, found.z)


def in_order(line: np.ndarray, triangle: np.ndarray, up: np.ndarray, z: np.ndarray) -> np.ndarray:
    order = np.lexsort((triangle, line))
    return np.stack([line, triangle, up, z], axis=1)[order]


def sorted_hits(found: LatticeHits) -> np.ndarray:
    return in_order(found.line, found.triangle, found.up, found.z)


def crumpled(seed: int, faces: int = 400) -> TriMesh:
    """Triangles that have nothing to do with each other, slivers and large ones among them."""
    chance = np.random.default_rng(seed)
    points = chance.normal(size=(faces, 1, 3)) * 4
    points = points + chance.normal(size=(faces, 3, 3)) * chance.choice([0.01, 1.0, 8.0], faces)[
        :, None, None
    ]
    return TriMesh(points.reshape(-1, 3), np.arange(3 * faces).reshape(-1, 3))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("pitch", [0.13, 0.7])
def test_the_same_hits_as_line_by_line(seed, pitch):
    """Part of the mesh lies outside the lattice, on every side."""
    mesh = crumpled(seed)
    low, shape = np.array([-4.03, -2.21]), (41, 53)
    found = sorted_hits(lattice_hits(mesh.vertices, mesh.faces, low, pitch, shape))
    wanted = by_columns(mesh, low, pitch, shape)
    assert len(found) > 500
    np.testing.assert_array_equal(found[:, :3], wanted[:, :3])
    np.testing.assert_allclose(found[:, 3], wanted[:, 3], atol=1e-9)


@pytest.mark.parametrize("make", [
    lambda: as_mesh(box((-3, -2, -1), (3, 2, 1))),
    lambda: as_mesh(trimesh.creation.icosphere(subdivisions=3, radius=4)),
    lambda: as_mesh(trimesh.creation.torus(3.0, 1.0)),
])  # fmt: skip
def test_lines_through_corners_and_along_sides_cancel(make):
    """Vertices put on lattice points, so that whole faces stand on edge and lines meet corners."""
    mesh = make()
    mesh = TriMesh(np.round(mesh.vertices * 4) / 4, mesh.faces)
    found = lattice_hits(mesh.vertices, mesh.faces, np.array([-8.0, -8.0]), 0.25, (65, 65))
    depth = np.bincount(found.line, weights=found.up, minlength=65 * 65)
    assert (depth == 0).all()
    thickness = (found.z * found.up).sum() * 0.25**2
    assert thickness == pytest.approx(mesh.volume_mm3, rel=0.05)


def test_beside_the_lattice_there_is_nothing():
    mesh = as_mesh(box((-3, -2, -1), (3, 2, 1)))
    for low in ((3.01, 0.0), (0.0, 2.01), (-9.0, 0.0), (0.0, -9.0)):
        assert len(lattice_hits(mesh.vertices, mesh.faces, np.array(low), 0.5, (4, 4)).z) == 0
