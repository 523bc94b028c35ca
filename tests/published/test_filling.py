"""How many maxima a cavity has, for shapes where it follows from the definitions.

Criterion: a direction fills without pockets iff the cavity has one local maximum in it (after
P. Bose, M. van Kreveld, G. Toussaint: Filling polyhedral molds, Computer-Aided Design 30(4),
1998; wording from memory). The expected numbers are derived by hand from that definition.
"""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from reference import mesh_of

from pourwright.air import find_pockets, highest_vertex, prepare
from pourwright.solid import TriMesh

Manifold = manifold3d.Manifold
UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)
TILTED = (0.13, -0.21, 0.95)


def maxima(body: manifold3d.Manifold | TriMesh, up) -> int:
    """Local maxima of the cavity: the open one and every branch that closes off from it.

    Each pocket is opened at its top in turn, so that pockets inside pockets are counted too.
    """
    mesh = body if isinstance(body, TriMesh) else mesh_of(body)
    surface = prepare(mesh)
    direction = np.array(up) / np.linalg.norm(up)
    openings = highest_vertex(surface, direction)
    while True:
        pockets = find_pockets(surface, direction, openings).pockets
        if not pockets:
            return len(openings)
        openings = np.append(openings, pockets[0].peak_vertex)


def box(low, high) -> manifold3d.Manifold:
    size = np.subtract(high, low)
    return Manifold.cube(tuple(map(float, size))).translate(tuple(map(float, low)))


def stool(legs: int) -> manifold3d.Manifold:
    body = Manifold.cylinder(2.0, 10.0, 10.0, 48).translate((0.0, 0.0, 10.0))
    for i in range(legs):
        angle = 2 * np.pi * i / legs + 0.1
        leg = Manifold.cylinder(11.0, 1.0, 1.0, 16)
        body += leg.translate((7 * np.cos(angle), 7 * np.sin(angle), 0.0))
    return body


def star(points: int, inner: float, *, thick: float = 1.0) -> manifold3d.Manifold:
    """Star standing in the XZ plane, one point straight up."""
    angle = np.pi / 2 + np.arange(2 * points) * np.pi / points
    radius = np.where(np.arange(2 * points) % 2 == 0, 10.0, 10.0 * inner)
    outline = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    return Manifold.extrude(manifold3d.CrossSection([outline]), thick).rotate((90.0, 0.0, 0.0))


@pytest.mark.parametrize("up", [UP, DOWN, TILTED, (1.0, 0.0, 0.0)])
@pytest.mark.parametrize(
    "make",
    [lambda: Manifold.cube((1, 2, 3)), Manifold.tetrahedron, lambda: Manifold.sphere(3.0, 24),
     lambda: Manifold.cylinder(5.0, 2.0, 1.0, 12),
     lambda: Manifold.hull_points(np.random.default_rng(1).normal(size=(30, 3)))],
    ids=["cuboid", "tetrahedron", "sphere", "frustum", "hull"],
)
def test_convex_bodies_have_one(make, up):
    assert maxima(make(), up) == 1


@pytest.mark.parametrize("legs", [2, 3, 4, 7])
def test_stool_has_a_maximum_a_leg_poured_legs_up_and_one_legs_down(legs):
    assert maxima(stool(legs), DOWN) == legs
    assert maxima(stool(legs), UP) == 1


def test_u_tube():
    tube = box((0, 0, 0), (10, 3, 3)) + box((0, 0, 2), (3, 3, 12)) + box((7, 0, 2), (10, 3, 12))
    assert maxima(tube, UP) == 2
    assert maxima(tube, DOWN) == 1


@pytest.mark.parametrize("tilt", [(0.0, 0.0), (0.12, 0.0), (0.05, 0.07)])
def test_cup_has_one_either_way_up(tilt):
    cup = Manifold.cylinder(10.0, 6.0, 6.0, 64) - Manifold.cylinder(9.0, 5.0, 5.0, 64).translate(
        (0.0, 0.0, 2.0)
    )
    # Open end up: the rim ring. Open end down: the hollow's tip is no pocket, for the cavity
    # lies above it.
    assert maxima(cup, (*tilt, 1.0)) == 1
    assert maxima(cup, (*tilt, -1.0)) == 1


def test_torus_has_one_maximum_two_saddles_one_minimum():
    ring = Manifold.revolve(
        manifold3d.CrossSection.circle(2.0, 24).translate((8.0, 0.0)), 48
    ).rotate((90.0, 0.0, 0.0))
    up = (0.11, 0.07, 0.97)
    assert maxima(ring, up) == 1
    assert maxima(ring, tuple(-c for c in up)) == 1
    # Critical indices add up to the Euler characteristic (T. Banchoff, J. Differential Geom. 1,
    # 1967, from memory): 0 = 1 + 1 - 2 for a torus.
    assert sorted(critical_indices(mesh_of(ring), up)) == [-1, -1, 1, 1]


def critical_indices(mesh: TriMesh, up) -> list[int]:
    """Nonzero Banchoff indices: 1 less half the triangles with the vertex in the middle."""
    heights = mesh.vertices @ np.array(up)
    corner = heights[mesh.faces]
    middle = np.take_along_axis(mesh.faces, np.argsort(corner, axis=1)[:, 1:2], axis=1).ravel()
    index = 1 - np.bincount(middle, minlength=len(mesh.vertices)) / 2
    return [int(i) for i in index[index != 0]]


def test_pentagram_outline():
    """A star polygon as an outline: point up exactly has level edges, which trap naive tests."""
    golden = (3 - np.sqrt(5)) / 2  # inner over outer radius where the edges are straight lines
    assert maxima(star(5, golden), UP) == 1
    assert maxima(star(5, golden), (0.02, 0.0, 1.0)) == 2


def test_slender_five_point_star():
    assert maxima(star(5, 0.2), UP) == 3
    assert maxima(star(5, 0.2), DOWN) == 2


def test_stella_octangula_has_two_in_a_generic_direction():
    corners = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=float)
    both = Manifold.hull_points(corners) + Manifold.hull_points(-corners)
    assert maxima(both, (0.1, 0.2, 0.97)) == 2
    # Along z the top is the level cross of two edges, one maximum; a strict comparison of corners
    # with their neighbours sees none.
    assert maxima(both, UP) == 1
