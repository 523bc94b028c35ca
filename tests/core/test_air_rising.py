"""Which walls air stays at: against bodies cut at the closing level and taken apart."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from random_bodies import CSG_KINDS, random_body
from reference import mesh_of
from scipy.spatial import cKDTree

from pourwright.air import analysed_mesh, closing_levels_mm, find_pockets, highest_vertex, prepare
from pourwright.air.pockets import AirReport

EPS = 1e-5


def analysed(body: manifold3d.Manifold, up: np.ndarray) -> AirReport:
    surface = prepare(mesh_of(body))
    return find_pockets(surface, up, highest_vertex(surface, up))


def walls_of(body: manifold3d.Manifold, up: np.ndarray, report: AirReport, number: int) -> set[int]:
    """Faces that have their highest corner in the part of the cut body that is this pocket."""
    pocket = report.pockets[number]
    assert pocket.saddle_height_mm is not None
    parts = body.trim_by_plane(tuple(up), pocket.saddle_height_mm + EPS).decompose()
    mesh = analysed_mesh(report)
    near = [
        cKDTree(mesh_of(p).vertices).query(pocket.peak_mm)[0] for p in parts if p.volume() > 0
    ]
    part = [p for p in parts if p.volume() > 0][int(np.argmin(near))]
    height = mesh.vertices[mesh.faces] @ up
    top = mesh.faces[np.arange(len(height)), np.argmax(height, axis=1)]
    distance, _ = cKDTree(mesh_of(part).vertices).query(mesh.vertices[top])
    return set(np.flatnonzero((distance < 1e-7) & (height.max(axis=1) > pocket.saddle_height_mm)))


@pytest.mark.parametrize("kind", ["csg", "hollow"])
@pytest.mark.parametrize("seed", range(6))
def test_walls_of_a_pocket_are_those_of_its_part(kind, seed):
    assert kind in CSG_KINDS
    rng = np.random.default_rng([seed, 77])
    body = random_body(kind, rng)
    up = rng.normal(size=3)
    up /= np.linalg.norm(up)
    report = analysed(body, up)
    closing = closing_levels_mm(report)
    voids = any(p.volume() < 0 for p in body.decompose())
    in_pockets = set()
    for number, pocket in enumerate(report.pockets):
        if pocket.volume_mm3 < 1e-3 or pocket.saddle_height_mm is None:
            continue
        found = set(np.flatnonzero(closing == pocket.saddle_height_mm))
        in_pockets |= found
        want = walls_of(body, up, report, number)
        # The cut part lacks what only its voids' walls hold: these come as parts of their own.
        assert found >= want if voids else found == want
        assert found
    others = np.ones(len(closing), dtype=bool)
    others[list(in_pockets)] = False
    small = [p.saddle_height_mm for p in report.pockets if p.volume_mm3 < 1e-3]
    assert np.isin(closing[others], [*small, np.inf, -np.inf]).all()


def stool() -> manifold3d.Manifold:
    seat = manifold3d.Manifold.cube((30, 30, 5))
    legs = [
        manifold3d.Manifold.cube((5, 5, 20 + i)).translate((x, y, 4))
        for i, (x, y) in enumerate([(0, 0), (25, 0), (0, 25), (25, 25)])
    ]
    return manifold3d.Manifold.batch_boolean([seat, *legs], manifold3d.OpType.Add)


def test_a_stool_legs_up_keeps_air_in_all_legs_but_the_open_one():
    report = analysed(stool(), np.array([0, 0, 1.0]))
    mesh, closing = analysed_mesh(report), closing_levels_mm(report)
    top = mesh.vertices[mesh.faces][:, :, 2].max(axis=1)
    open_leg = mesh.vertices[mesh.faces][:, :, :2].min(axis=(1, 2)) > 24
    assert (closing[(top > 5) & ~open_leg] == pytest.approx(5.0))
    assert np.isinf(closing[(top <= 5) | open_leg]).all()


def test_a_part_without_any_opening_never_fills():
    body = manifold3d.Manifold.cube((10, 10, 10))
    both = manifold3d.Manifold.compose([body, body.translate((20, 0, -2))])
    report = analysed(both, np.array([0, 0, 1.0]))
    mesh, closing = analysed_mesh(report), closing_levels_mm(report)
    second = mesh.vertices[mesh.faces][:, :, 0].min(axis=1) > 15
    assert np.isneginf(closing[second]).all() and np.isposinf(closing[~second]).all()


def test_only_pockets_that_count_have_levels():
    report = analysed(stool(), np.array([0, 0, 1.0]))
    assert len({p.volume_mm3 for p in report.pockets}) == 3
    largest = report.pockets[0]
    some = closing_levels_mm(report, lambda p: p.volume_mm3 >= largest.volume_mm3)
    every = closing_levels_mm(report)
    mesh = analysed_mesh(report)
    tallest_closed = mesh.vertices[mesh.faces][:, :, 0].max(axis=1) <= 5  # leg number 2, at (0, 25)
    tallest_closed &= mesh.vertices[mesh.faces][:, :, 1].min(axis=1) >= 25
    kept = np.isfinite(every) & tallest_closed
    assert kept.any() and (some[kept] == every[kept]).all() and np.isposinf(some[~kept]).all()


def test_without_pockets_nothing_closes():
    report = analysed(manifold3d.Manifold.sphere(5, 32), np.array([0, 0, 1.0]))
    assert report.pockets == () and np.isposinf(closing_levels_mm(report)).all()
