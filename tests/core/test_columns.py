"""Vertical lines through triangles."""

from __future__ import annotations

import numpy as np
import pytest
from shapes import as_mesh, box, together, turned_in

from pourwright.solid.columns import Columns, hits
from pourwright.solid.crosscheck import columns, inside_lengths


def hills(rng: np.random.Generator, n: int = 40) -> tuple[np.ndarray, np.ndarray]:
    """A bumpy sheet over the unit square, turned by an odd angle."""
    x, y = np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, n))
    xy = np.stack([x.ravel(), y.ravel()], axis=1) + rng.uniform(-0.3, 0.3, (n * n, 2)) / n
    turn = np.array([[np.cos(0.7), -np.sin(0.7)], [np.sin(0.7), np.cos(0.7)]])
    vertices = np.column_stack([xy @ turn.T, rng.uniform(0, 1, n * n)])
    i = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    faces = np.concatenate([
        np.column_stack([i, i + 1, i + n + 1]), np.column_stack([i, i + n + 1, i + n])
    ])
    return vertices, faces


def test_no_line_slips_between_two_triangles():
    """Lines through points computed to lie on shared edges meet one of the two at least."""
    rng = np.random.default_rng(3)
    vertices, faces = hills(rng)
    n = 40
    inner = faces[(faces[:, 0] // n > 0) & (faces[:, 0] // n < n - 2) & (faces[:, 0] % n > 0)]
    inner = inner[(inner[:, 0] % n < n - 2)]
    edges = inner[:, [0, 2]]  # the diagonals, shared by both triangles of a square
    share = rng.uniform(0, 1, (len(edges), 60))
    a, b = vertices[edges[:, 0], None, :2], vertices[edges[:, 1], None, :2]
    points = (a + (b - a) * share[..., None]).reshape(-1, 2)
    found = hits(vertices, faces, points)
    assert len(np.unique(found.line)) == len(points)


def test_heights_lie_on_the_triangles():
    rng = np.random.default_rng(4)
    vertices, faces = hills(rng)
    points = rng.uniform(-0.2, 1.2, (2000, 2))
    found = hits(vertices, faces, points)
    assert len(found.line) > 500
    corner = vertices[faces[found.triangle]]
    at = np.column_stack([points[found.line], found.z])
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    off = np.einsum("ij,ij->i", at - corner[:, 0], normal) / np.linalg.norm(normal, axis=1)
    assert np.abs(off).max() < 1e-12


@pytest.mark.parametrize("count", [1, 7, 5000])
def test_same_hits_one_by_one_and_together(count):
    rng = np.random.default_rng(5)
    vertices, faces = hills(rng, 12)
    points = rng.uniform(-0.2, 1.2, (count, 2))
    together_ = hits(vertices, faces, points)
    some = rng.choice(count, min(count, 40), replace=False)
    for line in some:
        alone = hits(vertices, faces, points[line : line + 1])
        mine = together_.line == line
        np.testing.assert_array_equal(np.sort(alone.triangle), np.sort(together_.triangle[mine]))


def test_nothing_to_meet():
    vertices, faces = hills(np.random.default_rng(1), 4)
    assert len(hits(vertices, faces, np.empty((0, 2))).line) == 0
    assert len(hits(vertices, faces, np.full((3, 2), 50.0)).line) == 0
    assert len(hits(vertices, faces[:0], np.zeros((3, 2))).line) == 0


def test_lengths_inside_a_hollow_block():
    block = as_mesh(together(box((0, 0, 0), (10, 10, 10)), turned_in(box((3, 3, 3), (7, 7, 7)))))
    points = columns(block.bounds_mm, 50)
    inside = inside_lengths(block, points)
    per_line = np.bincount(inside.line, weights=inside.top - inside.bottom, minlength=len(points))
    hollow = ((points > 3) & (points < 7)).all(axis=1)
    np.testing.assert_allclose(per_line, np.where(hollow, 6, 10), atol=1e-9)
    assert set(inside.winding) == {1}


def test_slivers_are_met_at_a_height_of_theirs():
    """Points on triangles so thin that no side test says anything but zero."""
    rng = np.random.default_rng(6)
    met = 0
    for _ in range(400):
        a, b = rng.uniform(-1, 1, (2, 2))
        t, u = rng.uniform(0.1, 0.9, 2)
        xy = np.array([a, b, a + t * (b - a)])
        vertices = np.column_stack([xy, rng.uniform(0, 1, 3)])
        found = hits(vertices, np.array([[0, 1, 2]]), (a + u * (b - a))[None])
        met += len(found.z)
        assert (found.z >= vertices[:, 2].min()).all() and (found.z <= vertices[:, 2].max()).all()
    assert met > 20


def test_made_ready_once_lines_are_met_as_by_themselves():
    rng = np.random.default_rng(9)
    vertices, faces = hills(rng, 15)
    for only_up in (False, True):
        ready = Columns(vertices, faces[:, ::-1] if only_up else faces, only_up=only_up)
        for _ in range(3):
            points = rng.uniform(-0.2, 1.2, (50, 2))
            mine, plain = ready.hits(points), hits(vertices, faces, points)
            assert len(mine.line) == (0 if only_up else len(plain.line))
            if not only_up:
                np.testing.assert_array_equal(mine.z, plain.z)
                np.testing.assert_array_equal(mine.up, 1)
