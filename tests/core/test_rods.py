"""Rods as bodies, and the measures along their paths, against brute force."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pourwright.solid.boolean import pieces, to_manifold
from pourwright.solid.lines import near_path, samples
from pourwright.vents.rods import rod_body, trimmed

PATHS = {
    "upright": [(0, 0, 0), (0, 0, 30)],
    "leaning": [(0, 0, 0), (10, 4, 12)],
    "bent": [(0, 0, 0), (6, 0, 3), (8, 5, 20), (8, 5, 33)],
    "there and back": [(0, 0, 0), (12, 0, 5), (0, 1, 10), (9, -5, 14)],
    "flat": [(0, 0, 0), (25, 0, 9.2)],
    "short": [(0, 0, 0), (0.3, 0, 1.0)],
}


def made(name: str, diameter=1.5, neck=1.5, head=0.0, length=1.5):
    path = np.array(PATHS[name], dtype=float)
    foot = path[0] - (0.0, 0.0, 0.5)
    body = rod_body(
        path, diameter, foot=foot, neck_mm=neck, neck_length_mm=length, head_mm=head, name=name
    )
    return path, body


def length(path: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())


@pytest.mark.parametrize("name", PATHS)
@pytest.mark.parametrize("neck", [0.6, 1.0, 1.5, 3.0])
@pytest.mark.parametrize("head", [0.0, 0.8])
def test_a_rod_is_one_closed_body(name, neck, head):
    _, body = made(name, neck=neck, head=head)
    assert to_manifold(body).status().name == "NoError"
    parts = pieces(body)
    assert len(parts) == 1 and parts[0].volume_mm3 > 0


@pytest.mark.parametrize("name", PATHS)
def test_a_free_end_is_cut_level_at_its_last_point(name):
    path, body = made(name)
    top = path[-1, 2]
    assert body.bounds_mm[1, 2] == pytest.approx(top, abs=1e-9)
    on_top = body.vertices[np.abs(body.vertices[:, 2] - top) < 1e-9]
    assert len(on_top) >= 24
    # The mouth is the rod's own section cut level: an ellipse round the last point.
    way = path[-1] - path[-2]
    across = on_top - path[-1]
    off = across - (across @ way / (way @ way))[:, None] * way
    np.testing.assert_allclose(np.linalg.norm(off, axis=1), 0.75, rtol=1e-6)


@pytest.mark.parametrize("name", ["upright", "leaning", "bent", "there and back", "flat"])
@pytest.mark.parametrize("diameter", [1.0, 1.5, 3.0])
def test_volume_is_that_of_a_round_rod(name, diameter):
    path, body = made(name, diameter=diameter, neck=diameter, head=1.0)
    total = length(path) + 1.0 + 0.5
    sides = 24
    section = sides / 2 * np.sin(2 * np.pi / sides) * diameter**2 / 4
    # The ball at the foot and the outsides of bends add less than a ball's volume each.
    spare = len(path) * np.pi / 6 * diameter**3 + diameter**3
    assert section * length(path) - spare <= body.volume_mm3 <= section * total + spare
    if len(path) == 2:
        assert body.volume_mm3 == pytest.approx(section * total, rel=0.1)


@pytest.mark.parametrize("name", PATHS)
def test_every_corner_of_the_body_is_a_radius_from_the_path_and_nothing_is_missing(name):
    path, body = made(name, neck=1.5, head=0.0)
    rng = np.random.default_rng(1)
    ways = np.diff(path, axis=0)
    off = near_path(body.vertices, path)
    beyond = (body.vertices[:, 2] > path[-1, 2] - 1.5) | (body.vertices[:, 2] < path[0, 2] + 1.5)
    assert off[~beyond].max(initial=0.0) <= 0.75 + 1e-6
    solid = to_manifold(body)
    # Points well inside the rod are inside the body: a small ball there loses nothing.
    for piece in rng.integers(0, len(ways), 6):
        at = path[piece] + rng.uniform(0.1, 0.9) * ways[piece]
        ball = solid.sphere(0.3, 12).translate(tuple(at))
        if at[2] + 0.3 < path[-1, 2]:
            assert (ball - solid).volume() < 1e-9


def test_the_neck_is_as_thin_and_as_long_as_asked():
    _path, body = made("upright", diameter=3.0, neck=1.0, length=2.0)
    solid = to_manifold(body)
    sides = 24 / 2 * np.sin(2 * np.pi / 24)
    for z, radius in ((0.3, 0.5), (1.9, 0.5), (2.0 + 1.5 + 0.1, 1.5), (20.0, 1.5)):
        assert solid.slice(z).area() == pytest.approx(sides * radius**2, rel=0.02), z
    assert sides * 0.25 < solid.slice(2.7).area() < sides * 2.25


def test_a_short_rod_keeps_some_of_its_neck_and_some_of_itself():
    _path, body = made("short", diameter=1.5, neck=0.6, length=5.0)
    areas = [to_manifold(body).slice(float(z)).area() for z in np.linspace(0.1, 0.95, 30)]
    assert min(areas) < 0.5 and max(areas) > 1.2


def test_the_foot_reaches_into_the_figure_also_beside_the_axis():
    path = np.array([(0, 0, 0), (10.0, 0, 4.0)])
    foot = np.array([-0.2, 0, -0.6])
    body = rod_body(path, 1.5, foot=foot, neck_mm=1.0, neck_length_mm=1.5, head_mm=0, name="r")
    assert (to_manifold(body).sphere(0.4, 12).translate(tuple(foot)) - to_manifold(body)
            ).volume() < 1e-9
    assert len(pieces(body)) == 1


def test_the_head_reaches_as_far_as_asked():
    path, body = made("leaning", head=0.9)
    way = (path[-1] - path[-2]) / np.linalg.norm(path[-1] - path[-2])
    assert (body.vertices @ way).max() == pytest.approx(path[-1] @ way + 0.9)


def test_distances_from_a_path_are_those_to_its_points():
    rng = np.random.default_rng(2)
    for _ in range(5):
        path = np.cumsum(rng.normal(size=(5, 3)) * 4, axis=0)
        points = rng.normal(size=(60, 3)) * 8
        fine = np.concatenate([
            a + np.linspace(0, 1, 4001)[:, None] * (b - a)
            for a, b in itertools.pairwise(path)
        ])
        brute = np.array([np.linalg.norm(fine - p, axis=1).min() for p in points])
        found = near_path(points, path)
        assert (found <= brute + 1e-9).all()
        np.testing.assert_allclose(found, brute, atol=2e-3)


@pytest.mark.parametrize("name", PATHS)
def test_samples_are_close_together_on_the_path_and_hold_its_corners(name):
    path = np.array(PATHS[name], dtype=float)
    points = samples(path, 0.25)
    assert np.linalg.norm(np.diff(points, axis=0), axis=1).max() <= 0.25 + 1e-9
    assert near_path(points, path).max() < 1e-9
    for corner in path:
        assert np.linalg.norm(points - corner, axis=1).min() < 1e-12
    assert length(points) == pytest.approx(length(path))


def test_a_trimmed_path_is_the_path_without_its_ends():
    rng = np.random.default_rng(3)
    for _ in range(20):
        path = np.cumsum(rng.uniform(0.5, 3, size=(4, 3)), axis=0)
        total = length(path)
        low, high = rng.uniform(0, 0.6, 2) * total
        inner = trimmed(path, low, high)
        if low + high >= total:
            assert inner is None
            continue
        assert length(inner) == pytest.approx(total - low - high)
        assert near_path(inner, path).max() < 1e-9
        # Walked by brute force: the first kept point lies `low` along the path.
        fine = samples(path, 1e-3)
        done = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(fine, axis=0), axis=1))])
        for end, where in ((inner[0], low), (inner[-1], total - high)):
            assert np.linalg.norm(fine[np.argmin(np.abs(done - where))] - end) < 2e-3


def test_a_path_shorter_than_its_ends_leaves_nothing():
    path = np.array([(0, 0, 0), (0, 0, 5.0)])
    assert trimmed(path, 2.0, 3.0) is None
    assert trimmed(path, 6.0, 0.0) is None
    assert length(trimmed(path, 2.0, 2.5)) == pytest.approx(0.5)
