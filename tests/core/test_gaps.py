"""Distances from paths to surfaces, against manifold3d and against dense points."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from shapes import as_mesh, box

from pourwright.solid import TriMesh
from pourwright.solid.boolean import from_manifold
from pourwright.solid.gaps import GapMeter, piece_distances


def scattered(rng: np.random.Generator, k: int, size: float = 1.0) -> np.ndarray:
    """Triangles (k, 3, 3) of all sizes about the middle."""
    return rng.normal(size=(k, 1, 3)) + size * rng.uniform(0.01, 2, (k, 1, 1)) * rng.normal(
        size=(k, 3, 3)
    )


def dense(corners: np.ndarray, n: int = 30) -> np.ndarray:
    """Points all over one triangle."""
    i, j = (v.ravel() for v in np.meshgrid(np.arange(n + 1), np.arange(n + 1)))
    i, j = i[i + j <= n], j[i + j <= n]
    return np.stack([i, j, n - i - j], axis=1) / n @ corners


@pytest.mark.parametrize("seed", range(6))
def test_distances_are_those_of_dense_points(seed):
    """Never above the nearest of many points of both, and no farther below than these are apart."""
    rng = np.random.default_rng(seed)
    triangles = scattered(rng, 30, 0.3 if seed % 2 else 1.0)
    p, q = rng.normal(size=(2, 3)) * rng.uniform(0.1, 3)
    found = piece_distances(p, q, triangles)
    line = p + np.linspace(0, 1, 150)[:, None] * (q - p)
    for distance, corners in zip(found, triangles, strict=True):
        points = dense(corners)
        nearest = np.linalg.norm(points[:, None] - line, axis=2).min()
        step = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).max() / 30
        assert nearest - step - np.linalg.norm(q - p) / 150 - 1e-9 <= distance <= nearest + 1e-9


@pytest.mark.parametrize(
    ("p", "q", "distance"),
    [
        ((0.2, 0.2, 1.0), (0.2, 0.2, 3.0), 1.0),  # an end over the inside
        ((0.2, 0.2, -1.0), (0.3, 0.3, 2.0), 0.0),  # right through
        ((-1.0, 0.2, 0.5), (2.0, 0.2, 0.5), 0.5),  # level above it
        ((3.0, 0.0, 0.0), (4.0, 0.0, 0.0), 2.0),  # in its plane, beyond a corner
        ((-1.0, -1.0, 0.0), (2.0, -1.0, 0.0), 1.0),  # in its plane, along an edge
        ((0.2, 0.2, 0.7), (0.2, 0.2, 0.7), 0.7),  # a point
        ((0.5, -2.0, -1.0), (0.5, -2.0, 1.0), 2.0),  # past an edge, square to it
        ((0.1, 0.1, 0.0), (0.2, 0.1, 0.0), 0.0),  # lying inside it
    ],
)
def test_distances_by_hand(p, q, distance):
    corners = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]]], dtype=float)
    for order in ((0, 1, 2), (1, 2, 0), (0, 2, 1)):
        found = piece_distances(np.array(p), np.array(q), corners[:, list(order)])
        assert found[0] == pytest.approx(distance, abs=1e-12)


def test_triangles_without_area_are_lines_and_points():
    flat = np.array([[[0, 0, 0], [2, 0, 0], [1, 0, 0]], [[5, 0, 0], [5, 0, 0], [5, 0, 0]]], float)
    found = piece_distances(np.array([1.0, 1, 0]), np.array([1.0, 3, 0]), flat)
    np.testing.assert_allclose(found, [1.0, np.hypot(4, 1)])


def test_gaps_are_those_of_manifold3d():
    """Rods of no thickness round a body, measured by manifold3d's `min_gap` of thin prisms."""
    rng = np.random.default_rng(8)
    body = manifold3d.Manifold.sphere(5, 40) + manifold3d.Manifold.cube((4, 4, 12), True)
    meter = GapMeter(from_manifold(body, "body"))
    thin = 1e-5
    for _ in range(40):
        path = rng.normal(size=(2, 3)) * 6 + rng.normal(size=3) * 3
        ends = np.vstack([path + thin * rng.normal(size=(1, 3)) for _ in range(4)])
        gap = body.min_gap(manifold3d.Manifold.hull_points(ends), 4.0)
        found = meter.gap_mm(path, 4.0)
        # manifold3d says 0 for a rod that is wholly inside; from inside the wall is some way off.
        if gap > 0:
            assert found == pytest.approx(gap, abs=20 * thin)
        elif found > 0:
            assert body.min_gap(
                manifold3d.Manifold.sphere(thin, 4).translate(tuple(path[0])), 1.0
            ) == 0


def test_the_limit_is_kept_and_all_pieces_count():
    block = as_mesh(box((0, 0, 0), (10, 10, 10)))
    meter = GapMeter(block)
    far, near = np.array([5.0, 5, 40]), np.array([5.0, 5, 13])
    assert meter.gap_mm(np.array([far, near]), 5.0) == pytest.approx(3.0)
    assert meter.gap_mm(np.array([far, near]), 2.0) == 2.0
    aside = np.array([30.0, 5, 13])
    assert meter.gap_mm(np.array([far, near, aside]), 50.0) == pytest.approx(3.0)
    assert meter.gap_mm(np.array([far, aside]), 50.0) > 3.0
    assert meter.gap_mm(near[None], 50.0) == pytest.approx(3.0)
    assert meter.gap_mm(np.array([far, [5.0, 5, -40]]), 50.0) == 0.0


def test_any_order_of_faces_gives_the_same_gap():
    rng = np.random.default_rng(2)
    mesh = from_manifold(manifold3d.Manifold.sphere(5, 60), "ball")
    shuffled = type(mesh)(mesh.vertices, rng.permutation(mesh.faces), "shuffled")
    for _ in range(10):
        path = rng.normal(size=(3, 3)) * 8
        assert GapMeter(mesh).gap_mm(path, 9.0) == GapMeter(shuffled).gap_mm(path, 9.0)


@pytest.mark.parametrize("count", [1, 31, 32, 33, 64, 65])
def test_every_face_counts_however_many_there_are(count):
    """A row of triangles, each of which is the nearest to one point."""
    corner = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], dtype=float)
    vertices = np.concatenate([corner + (5.0 * i, 0, 0) for i in range(count)])
    meter = GapMeter(TriMesh(vertices, np.arange(3 * count).reshape(-1, 3), "row"))
    for i in range(count):
        assert meter.gap_mm(np.array([[5.0 * i, 0, 0.5]]), 3.0) == pytest.approx(0.5)
