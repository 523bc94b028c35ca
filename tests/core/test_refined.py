"""Long edges parted: only where there are any, and as if the whole mesh had been looked at."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapes import as_mesh, box

from pourwright.solid import TriMesh, boolean
from pourwright.solid.topology import is_watertight


def ball(radius: float, z: float) -> TriMesh:
    body = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    body.apply_translation((0.3, 0.2, z))
    return as_mesh(body)


# Fine balls on a plate and in a box whose lid is far away: rims of one loop and of several.
PLATE = boolean.union([as_mesh(box((-20, -20, -2), (20, 20, 1))), ball(6, 5), ball(4, -3)])
ROOM = boolean.difference(as_mesh(box((-12, -12, -12), (12, 12, 12))), [ball(5, 0), ball(3, 11)])


def points(mesh: TriMesh) -> np.ndarray:
    return np.unique(np.round(mesh.vertices[np.unique(mesh.faces)], 7), axis=0)


@pytest.mark.parametrize("mesh", [PLATE, ROOM])
def test_as_if_the_whole_had_been_looked_at(mesh, monkeypatch):
    asked: list[int] = []
    whole = boolean.to_manifold
    monkeypatch.setattr(boolean, "to_manifold", lambda m: asked.append(1) or whole(m))
    found = boolean.refined(mesh, 1.5)
    assert not asked and is_watertight(found)
    wanted = boolean.from_manifold(whole(mesh).refine_to_length(1.5), "whole")
    assert len(found.faces) == len(wanted.faces) > 1.5 * len(mesh.faces)
    np.testing.assert_array_equal(points(found), points(wanted))
    assert found.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-12)
    # Vertices that there were are where they were.
    np.testing.assert_allclose(found.vertices[: len(mesh.vertices)], mesh.vertices, atol=1e-12)
    edges = found.vertices[found.faces] - np.roll(found.vertices[found.faces], 1, axis=1)
    assert np.linalg.norm(edges, axis=2).max() < 2.5 * 1.5


def test_what_is_fine_already_is_left_as_it_is():
    mesh = ball(6, 0)
    found = boolean.refined(mesh, 1.5)
    assert found.vertices is mesh.vertices and found.faces is mesh.faces


def test_vertices_in_one_place_stay_apart():
    """Two boxes corner to corner between balls: the corner is two vertices, and stays two."""
    pair = [as_mesh(box((0, 0, 0), (4, 4, 4))), as_mesh(box((4, 4, 4), (8, 8, 8)))]
    many = [ball(5, 20 * i) for i in range(1, 4)]
    mesh = boolean.concatenate([*pair, *many])
    found = boolean.refined(mesh, 1.5)
    assert is_watertight(found) and len(boolean.pieces(found)) == 5
    assert found.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-12)
