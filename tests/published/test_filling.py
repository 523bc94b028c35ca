"""How many maxima a cavity has, for shapes where it follows from the definitions.

Criterion: a direction fills without pockets iff the cavity has one local maximum in it (after
P. Bose, M. van Kreveld, G. Toussaint: Filling polyhedral molds, Computer-Aided Design 30(4),
1998; wording from memory). The expected numbers are derived by hand from that definition.
"""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from random_bodies import random_body
from reference import mesh_of, winding_number

from pourwright.air import find_pockets, highest_vertex, join_tree, prepare, top_plane_vertices
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


def holed_plate(holes: int) -> manifold3d.Manifold:
    plate = box((0, 0, 0), (4.0 * holes + 2, 6, 2))
    for i in range(holes):
        plate -= box((4 * i + 1.5, 2, -1), (4 * i + 4.5, 4, 3))
    return plate


@pytest.mark.parametrize("holes", [0, 1, 2, 5])
def test_critical_indices_add_up_to_the_euler_characteristic(holes):
    """Banchoff 1967 (from memory): 2 - 2 g for a plate with g holes, in whatever direction.

    The join tree (H. Carr, J. Snoeyink, U. Axen, Comput. Geom. 24(2):75-94, 2003) has one pass
    fewer than maxima, its other saddles being loops that part and join the cavity's walls only.
    """
    mesh = mesh_of(holed_plate(holes))
    for up in np.random.default_rng(holes).normal(size=(5, 3)):
        up /= np.linalg.norm(up)
        assert sum(critical_indices(mesh, up)) == 2 - 2 * holes
        tree = join_tree(prepare(mesh), up)
        assert len(tree.pass_a) == len(tree.peaks) - 1


@pytest.mark.parametrize("teeth", [1, 4, 9])
def test_a_comb_needs_a_hole_for_each_tooth(teeth):
    """Greg Aloupis et al., Draining a polygon, Comput. Geom. 47(2):316-328, 2014: some shapes need
    order n holes. Turned over it is filling: a comb poured teeth up has a maximum a tooth."""
    comb = box((0, 0, 0), (3.0 * teeth, 2, 1))
    for i in range(teeth):
        comb += box((3 * i + 1, 0, 0.5), (3 * i + 2, 2, 4.0 + 0.1 * i))
    assert maxima(comb, UP) == teeth
    assert maxima(comb, DOWN) == 1


@pytest.mark.parametrize("sides", [4, 6, 24])
def test_a_pool_is_an_air_pocket_upside_down(sides):
    """Y. Yasui, S. McMains, T. Glau: Pool segmentation for predicting water traps: what a cup
    holds of water is what the space round it keeps of air, turned over. A bore of n sides and
    radius 4, 6 deep, holds n/2 sin(2 pi/n) 4^2 6; derived."""
    cup = Manifold.cylinder(9.0, 6.0, 6.0, 48) - Manifold.cylinder(7.0, 4.0, 4.0, sides).translate(
        (0.0, 0.0, 3.0)
    )
    round_it = box((-10, -10, -5), (10, 10, 15)) - cup
    holds = sides / 2 * np.sin(2 * np.pi / sides) * 16 * 6
    surface = prepare(mesh_of(round_it))
    for up, expected in ((DOWN, [holds]), (UP, [])):
        direction = np.array(up)
        report = find_pockets(surface, direction, top_plane_vertices(surface, direction))
        # The body's own underside, or its top, traps nothing: air runs off round it.
        assert [p.volume_mm3 for p in report.pockets] == pytest.approx(expected)


def test_sign_of_the_pseudonormal_tells_inside_from_outside():
    """J. A. Baerentzen, H. Aanaes, IEEE TVCG 11(3), 2005 (from memory).

    Straight above a local maximum of the surface the nearest surface point is the maximum itself,
    so the sign of its angle-weighted normal says whether that place is outside. Judged by winding
    numbers; normals weighted with areas go wrong somewhere.
    """
    seen, wrong_by_area = 0, 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        surface = prepare(mesh_of(random_body(("csg", "hollow")[seed % 2], rng)))
        mesh = TriMesh(surface.vertices, surface.faces, "body")
        by_area = np.zeros_like(surface.vertices)
        for i in range(3):
            np.add.at(by_area, surface.faces[:, i], surface.area_vectors)
        up = rng.normal(size=3)
        up /= np.linalg.norm(up)
        for v in join_tree(surface, up).peaks:
            outside = winding_number(mesh, mesh.vertices[v] + 1e-7 * up) < 0.5
            assert (surface.normals[v] @ up > 0) == outside
            wrong_by_area += (by_area[v] @ up > 0) != outside
            seen += 1
    assert seen > 100
    assert wrong_by_area


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
