"""Volumes that were published or follow from definitions, through intake and the union."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from pourwright.solid import TriMesh, intake, tri_mesh


def frustum(bottom: np.ndarray, top: np.ndarray, height: float) -> TriMesh:
    """A closed body between two outlines of as many points, (n, 2) each."""
    n = len(bottom)
    points = np.r_[np.c_[bottom, np.zeros(n)], np.c_[top, np.full(n, height)]]
    hull = trimesh.convex.convex_hull(points)
    return tri_mesh(hull.vertices, hull.faces, "frustum")


def square(side: float) -> np.ndarray:
    return side / 2 * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1.0]])


def circle(radius: float, sides: int) -> np.ndarray:
    turn = 2 * np.pi * np.arange(sides) / sides
    return radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def test_square_frustum_of_the_moscow_papyrus():
    """Moscow mathematical papyrus, problem 14 (published copy): sides 4 and 2, height 6: 56."""
    assert intake([frustum(square(4), square(2), 6.0)]).volume_mm3 == pytest.approx(56.0)


def test_cone_frustum():
    """Radii 3 and 2, height 5: pi 5 (9 + 6 + 4) / 3 = 99.484; derived.

    With n sides the circle's area shrinks by n / (2 pi) sin(2 pi / n).
    """
    n = 120
    share = n / (2 * np.pi) * np.sin(2 * np.pi / n)
    volume = intake([frustum(circle(3, n), circle(2, n), 5.0)]).volume_mm3
    assert volume == pytest.approx(99.484 * share, rel=1e-5)
    assert share == pytest.approx(1.0, abs=5e-4)


def test_cone_sphere_and_cylinder():
    """Archimedes, On the Sphere and Cylinder: as 1 : 2 : 3 at equal width and height.

    Inscribed bodies are smaller by at most the chord error, 1 - cos(pi / n) of a radius, twice
    over on the sphere.
    """
    n = 60
    cone = trimesh.creation.cone(5.0, 10.0, sections=n)
    ball = trimesh.creation.uv_sphere(5.0, count=[n, n])
    drum = trimesh.creation.cylinder(5.0, 10.0, sections=n)
    one, two, three = (
        intake([tri_mesh(b.vertices, b.faces, "body")]).volume_mm3 for b in (cone, ball, drum)
    )
    chord = 3 * (1 - np.cos(np.pi / n))
    assert three / one == pytest.approx(3.0, rel=1e-9)
    assert two / one == pytest.approx(2.0, rel=chord)
    assert three == pytest.approx(np.pi * 250, rel=chord)


def test_two_balls_that_overlap():
    """Lens of two balls of radius r at distance d: pi (4 r + d) (2 r - d)^2 / 12; derived."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=6.0)
    other = ball.copy()
    other.apply_translation([0, 0, 7.0])
    solid = intake([tri_mesh(b.vertices, b.faces, "ball") for b in (ball, other)])
    lens = np.pi * (4 * 6 + 7) * (2 * 6 - 7) ** 2 / 12
    exact = 2 * 4 / 3 * np.pi * 6**3 - lens
    assert solid.volume_mm3 == pytest.approx(exact, rel=6e-3)
    assert solid.volume_mm3 < exact
