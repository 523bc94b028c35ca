"""Which directions are tried, and the outline of a figure seen along them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from pose_bodies import Manifold, limbs, pose_body, solid_of

from pourwright.air import prepare
from pourwright.errors import InputError
from pourwright.pose.directions import angle_deg, cone_directions, in_cone, spacing_deg, thinned
from pourwright.pose.judge import ready
from pourwright.pose.outline import diameter_mm, footprint_mm2, height_mm, hull_of, outline
from pourwright.pose.search import directions_of
from pourwright.pose.settings import PoseSettings
from pourwright.pose.special import flat_directions, resting_directions
from pourwright.shop.process import PROCESSES

AXES = [(0.0, 0.0, -1.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.3, -2.0, 0.7)]


def unit(vector) -> np.ndarray:
    return np.asarray(vector, dtype=float) / np.linalg.norm(vector)


@pytest.mark.parametrize("axis", AXES)
@pytest.mark.parametrize("cone_deg", [7.0, 90.0, 180.0])
def test_directions_fill_the_cone_and_nothing_else(axis, cone_deg):
    found = cone_directions(axis, cone_deg, 300)
    assert found.shape == (300, 3)
    np.testing.assert_allclose(np.linalg.norm(found, axis=1), 1.0, atol=1e-12)
    np.testing.assert_allclose(found[0], unit(axis), atol=1e-15)
    tilt = angle_deg(found, unit(axis))
    assert tilt.max() <= cone_deg + 1e-9
    # Half of the cone's area holds half of the directions.
    half = np.degrees(np.arccos((1 + np.cos(np.radians(cone_deg))) / 2))
    assert abs((tilt < half).sum() - 150) <= 2
    # No hole anywhere: random directions of the cone have one near.
    rng = np.random.default_rng(3)
    probes = np.array([unit(v) for v in rng.normal(size=(40_000, 3))])
    probes = probes[angle_deg(probes, unit(axis)) < cone_deg][:2000]
    nearest = np.degrees(np.arccos(np.clip((probes @ found.T).max(axis=1), -1, 1)))
    assert nearest.max() < 1.3 * spacing_deg(cone_deg, 300)


def test_directions_are_the_same_on_every_run():
    first = cone_directions((0, 1, 0), 50.0, 99)
    assert first.tobytes() == cone_directions((0, 1, 0), 50.0, 99).tobytes()
    assert first.tobytes() == cone_directions((0, 5, 0), 50.0, 99).tobytes()


def test_one_direction_or_no_cone_is_the_axis():
    for count, cone_deg in ((1, 180.0), (500, 0.0)):
        np.testing.assert_array_equal(cone_directions((0, 0, -3), cone_deg, count), [[0, 0, -1]])


def test_axis_that_points_nowhere():
    with pytest.raises(InputError, match="points nowhere"):
        cone_directions((0, 0, 0), 180.0, 10)


def test_thinned_keeps_what_comes_first():
    ups = np.array([unit((0, 0, 1)), unit((0.01, 0, 1)), unit((1, 0, 0)), unit((0, 1, 0.001))])
    np.testing.assert_array_equal(thinned(ups, 2.0), ups[[0, 2, 3]])
    np.testing.assert_array_equal(thinned(ups, 2.0, np.array([[0, 1.0, 0]])), ups[[0, 2]])
    assert len(thinned(ups[:0], 2.0, ups)) == 0


def test_angle_is_exact_for_small_ones():
    tiny = 1e-9
    assert angle_deg(np.array([1.0, 0, 0]), np.array([np.cos(tiny), np.sin(tiny), 0])) == (
        pytest.approx(np.degrees(tiny), rel=1e-6)
    )


def test_a_tripod_rests_on_its_feet():
    """Three balls far apart: the plane through their tops is among the directions, either way."""
    feet = np.array([[0, 0, 0], [40, 5, 3], [12, 37, -6]], dtype=float)
    body = Manifold.batch_hull([Manifold.sphere(2, 16).translate(tuple(f)) for f in feet])
    hull = hull_of(solid_of(body).mesh.vertices)
    found = resting_directions(hull, 60.0)
    normal = unit(np.cross(feet[1] - feet[0], feet[2] - feet[0]))
    for side in (normal, -normal):
        # The balls are facetted, so the plane through their tops is tilted by a little.
        assert angle_deg(found, side).min() < 2.0
    heights = hull.points @ found.T
    top = heights.max(axis=0)
    for i in range(len(found)):
        touching = hull.points[heights[:, i] > top[i] - 0.3]
        spread = np.linalg.norm(touching[:, None] - touching[None], axis=2).max()
        assert spread > 10.0, "a direction in which the top is one place only"


def test_flats_lie_level_in_both_senses():
    box = Manifold.cube((10, 20, 30)).rotate((13, 27, 51))
    normals = prepare(solid_of(box).mesh)
    found = flat_directions(normals)
    assert len(found) == 6
    areas = normals.area_vectors / np.linalg.norm(normals.area_vectors, axis=1)[:, None]
    for normal in areas:
        assert angle_deg(found, normal).min() < 1e-6
        assert angle_deg(found, -normal).min() < 1e-6


def test_flat_underside_of_a_cone_lies_level_up_and_down():
    cone = prepare(solid_of(Manifold.cylinder(10.0, 8.0, 0.0, 200)).mesh)
    found = flat_directions(cone)
    assert angle_deg(found, np.array([0, 0, -1.0])).min() < 1e-6
    assert angle_deg(found, np.array([0, 0, 1.0])).min() < 1e-6


def test_a_box_may_rest_on_an_edge_at_any_angle():
    hull = hull_of(solid_of(Manifold.cube((30, 25, 20))).mesh.vertices)
    found = resting_directions(hull, 43.0)
    for angle in np.radians(np.arange(0, 360, 3)):
        for up in ((np.cos(angle), np.sin(angle), 0), (0, np.cos(angle), np.sin(angle))):
            assert angle_deg(found, np.array(up)).min() < 3.5


def test_sweep_has_the_asked_for_directions_and_those_of_the_shape():
    _, solid = pose_body(5)
    settings = PoseSettings(directions=60, cone_deg=70.0, axis=(0, 1, 0))
    figure = ready(solid, PROCESSES["open"], settings, 1.0)
    found = directions_of(figure)
    np.testing.assert_array_equal(found[:60], cone_directions((0, 1, 0), 70.0, 60))
    assert len(found) > 60
    assert in_cone(found, np.array([0, 1.0, 0]), 70.0).all()
    dots = found @ found.T - 2 * np.eye(len(found))
    assert dots.max() < np.cos(np.radians(0.14))
    alone = ready(solid, PROCESSES["open"], PoseSettings(directions=1), 1.0)
    np.testing.assert_array_equal(directions_of(alone), [[0, 0, -1]])


def smallest_rectangle(points: np.ndarray) -> float:
    """By trying very many angles."""
    angle = np.radians(np.arange(0, 90, 0.02))
    x = np.outer(points[:, 0], np.cos(angle)) + np.outer(points[:, 1], np.sin(angle))
    y = np.outer(points[:, 1], np.cos(angle)) - np.outer(points[:, 0], np.sin(angle))
    return float((np.ptp(x, axis=0) * np.ptp(y, axis=0)).min())


def smallest_circle(points: np.ndarray) -> float:
    """By trying every circle on two and on three points."""
    best = np.inf
    for group in itertools.chain(
        itertools.combinations(points, 2), itertools.combinations(points, 3)
    ):
        corners = np.array(group)
        if len(corners) == 2:
            centre = corners.mean(axis=0)
        else:
            sides = corners[1:] - corners[0]
            if abs(np.linalg.det(sides)) < 1e-9:
                continue
            centre = corners[0] + np.linalg.solve(2 * sides, (sides**2).sum(axis=1))
        radius = np.linalg.norm(corners[0] - centre)
        if np.linalg.norm(points - centre, axis=1).max() <= radius * (1 + 1e-9):
            best = min(best, 2 * radius)
    return best


@pytest.mark.parametrize("number", [1, 3, 5, 7])
def test_outline_of_random_bodies(number):
    vertices = pose_body(number)[1].mesh.vertices
    hull = hull_of(vertices)
    rng = np.random.default_rng(number)
    for up in [*np.eye(3), *rng.normal(size=(8, 3))]:
        up = unit(up)
        level = np.linalg.svd(up[None])[2][1:]
        seen = vertices @ level.T
        starts, ends = outline(hull, up)
        assert height_mm(hull, up) == pytest.approx(np.ptp(vertices @ up), rel=1e-12)
        assert footprint_mm2(starts, ends) == pytest.approx(smallest_rectangle(seen), rel=2e-3)
        rim = np.concatenate([starts, ends])
        # The outline's own extent in any direction is that of all vertices.
        width = np.linalg.norm(rim[:, None] - rim[None], axis=2).max()
        seen_width = np.linalg.norm(seen[:, None] - seen[None], axis=2).max()
        assert width == pytest.approx(seen_width, rel=1e-9)


def test_rectangle_round_a_turned_box():
    hull = hull_of(solid_of(Manifold.cube((10, 20, 30)).rotate((0, 0, 33))).mesh.vertices)
    assert footprint_mm2(*outline(hull, np.array([0, 0, 1.0]))) == pytest.approx(200.0)
    assert height_mm(hull, np.array([0, 0, -1.0])) == pytest.approx(30.0)


def test_smooth_outline_of_many_edges():
    hull = hull_of(solid_of(Manifold.cylinder(5.0, 10.0, 10.0, 1500)).mesh.vertices)
    starts, ends = outline(hull, np.array([0, 0, 1.0]))
    assert footprint_mm2(starts, ends) == pytest.approx(400.0, rel=1e-4)
    assert diameter_mm(starts) == pytest.approx(20.0, rel=1e-4)


def test_smallest_circles():
    triangle = np.array([[0, 0], [1, 0], [0.5, np.sqrt(0.75)]])
    assert diameter_mm(triangle) == pytest.approx(2 / np.sqrt(3))
    assert diameter_mm(np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])) == pytest.approx(np.sqrt(2))
    assert diameter_mm(np.array([[0, 0], [4, 0], [1, 0], [3, 0.0]])) == pytest.approx(4.0)
    assert diameter_mm(np.array([[2.0, 3.0]])) == 0.0
    for sides in (5, 7, 37, 99):
        turn = 2 * np.pi * np.arange(sides) / sides
        corners = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        assert diameter_mm(corners) == pytest.approx(2.0, rel=1e-9)
    rng = np.random.default_rng(5)
    for _ in range(40):
        points = rng.normal(size=(int(rng.integers(2, 10)), 2)) * rng.uniform(0.1, 50, 2)
        assert diameter_mm(points) == pytest.approx(smallest_circle(points), rel=1e-7)
    many = rng.normal(size=(4000, 2))
    widest = max(np.linalg.norm(many - point, axis=1).max() for point in many[::20])
    assert widest <= diameter_mm(many) <= widest * 2 / np.sqrt(3)


def test_hull_of_a_body_thin_as_paper():
    sheet = Manifold.cube((40, 30, 1e-4)).rotate((20, 30, 40))
    hull = hull_of(solid_of(sheet).mesh.vertices)
    up = unit(np.linalg.svd(hull.points - hull.points.mean(axis=0))[2][2])
    assert height_mm(hull, up) == pytest.approx(1e-4, rel=1e-3)
    assert footprint_mm2(*outline(hull, up)) == pytest.approx(1200.0, rel=1e-3)


def test_limbs_have_directions_of_their_own():
    """What the even spread would miss by some degrees."""
    solid = solid_of(limbs(np.random.default_rng(2)), 60.0)
    hull = hull_of(solid.mesh.vertices)
    assert 5 <= len(resting_directions(hull, 80.0)) <= 400
