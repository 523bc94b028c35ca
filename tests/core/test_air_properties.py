"""What must hold for the air of any body: where it stands, how it is stored, what is opened."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from random_bodies import random_body
from reference import mesh_of

from pourwright.air import (
    find_pockets,
    highest_vertex,
    nearest_vertices,
    prepare,
    read_pockets,
    top_plane_vertices,
    unit_vector,
)
from pourwright.air.shapes import pocket_shapes
from pourwright.errors import InputError, MeshError
from pourwright.solid import TriMesh, tri_mesh
from pourwright.solid.topology import is_watertight

seeds = st.integers(0, 2**32 - 1)
few = settings(max_examples=25, deadline=None)


def setting(seed: int) -> tuple[TriMesh, np.ndarray, np.random.Generator]:
    rng = np.random.default_rng(seed)
    mesh = mesh_of(random_body(("csg", "hollow", "nested")[seed % 3], rng))
    up = rng.normal(size=3)
    return mesh, up / np.linalg.norm(up), rng


def pockets(mesh: TriMesh, up: np.ndarray) -> np.ndarray:
    """(p, 3) volume, depth and x . up of the peak, largest first; specks dropped."""
    surface = prepare(mesh)
    found = find_pockets(surface, up, highest_vertex(surface, up)).pockets
    rows = [
        (p.volume_mm3, p.peak_height_mm - (p.saddle_height_mm or -1e3), p.peak_height_mm)
        for p in found
        if p.volume_mm3 > 1e-6
    ]
    return np.array(rows).reshape(-1, 3)


def assert_same(a: np.ndarray, b: np.ndarray) -> None:
    assert a.shape == b.shape
    np.testing.assert_allclose(a, b, rtol=1e-6, atol=1e-6)


@few
@given(seeds)
def test_turning_body_and_direction_together_changes_nothing(seed):
    mesh, up, rng = setting(seed)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    turned = TriMesh(mesh.vertices @ turn.T, mesh.faces)
    assert_same(pockets(turned, turn @ up), pockets(mesh, up))


@few
@given(seeds)
def test_order_of_vertices_and_faces_changes_nothing(seed):
    mesh, up, rng = setting(seed)
    order = rng.permutation(len(mesh.vertices))
    place = np.argsort(order)
    faces = np.roll(place[mesh.faces[rng.permutation(len(mesh.faces))]], 1, axis=1)
    assert_same(pockets(TriMesh(mesh.vertices[order], faces), up), pockets(mesh, up))


@few
@given(seeds)
def test_finer_triangles_of_the_same_surface_change_nothing(seed):
    mesh, up, _ = setting(seed)
    fine = trimesh.remesh.subdivide(mesh.vertices, mesh.faces)
    assert_same(pockets(tri_mesh(*fine), up), pockets(mesh, up))


@few
@given(seeds, st.floats(0.01, 1000))
def test_volume_grows_with_the_cube_of_scale(seed, scale):
    mesh, up, _ = setting(seed)
    big = pockets(TriMesh(mesh.vertices * scale, mesh.faces), up)
    small = pockets(mesh, up)
    n = min(len(big), len(small))
    np.testing.assert_allclose(big[:n, 0], small[:n, 0] * scale**3, rtol=1e-5)


@few
@given(seeds)
def test_a_vent_at_the_peak_drains_it_and_never_adds_air(seed):
    mesh, up, _ = setting(seed)
    surface = prepare(mesh)
    opening = highest_vertex(surface, up)
    before = find_pockets(surface, up, opening)
    if not before.pockets or before.pockets[0].saddle_height_mm is None:
        return
    worst = before.pockets[0]
    after = read_pockets(surface, before.tree, np.append(opening, worst.peak_vertex))
    assert all(p.peak_vertex != worst.peak_vertex for p in after.pockets)
    assert sum(p.volume_mm3 for p in after.pockets) < sum(p.volume_mm3 for p in before.pockets)


def test_same_input_gives_the_same_answer():
    mesh, up, _ = setting(5)
    surface = prepare(mesh)
    a, b = (find_pockets(surface, up, highest_vertex(surface, up)).pockets for _ in range(2))
    assert a == b


def test_air_above_an_opening_stays():
    """An opening half way down one leg of an upturned U leaves the air above it."""
    box = tri_mesh(*_box((0, 0, 0), (10, 10, 20)))
    surface = prepare(box)
    up = np.array([0.0, 0.0, 1.0])
    fine = trimesh.remesh.subdivide_to_size(box.vertices, box.faces, 3.0)
    surface = prepare(tri_mesh(*fine))
    side = nearest_vertices(surface, [(0.0, 5.0, 12.0)])
    level = float(surface.vertices[side[0], 2] + surface.centre_mm[2])
    (left,) = find_pockets(surface, up, side).pockets
    assert left.saddle_height_mm == pytest.approx(level)
    assert left.volume_mm3 == pytest.approx(100 * (20 - level))


def test_part_without_an_opening_is_reported_with_its_whole_volume():
    one, two = _box((0, 0, 0), (10, 10, 10)), _box((20, 0, 0), (24, 4, 4))
    mesh = tri_mesh(np.vstack([one[0], two[0]]), np.vstack([one[1], two[1] + 8]))
    surface = prepare(mesh)
    up = np.array([0.0, 0.0, 1.0])
    report = find_pockets(surface, up, top_plane_vertices(surface, up))
    (never,) = report.pockets
    assert never.saddle_height_mm is None
    assert never.volume_mm3 == pytest.approx(64)
    open_top = highest_vertex(surface, up)[0]
    assert never.component != _cavity_of(report, open_top)


def _cavity_of(report, vertex: int) -> int:
    """Component number of the part that holds a vertex, read off by closing every opening."""
    closed = read_pockets(report.surface, report.tree, np.empty(0, np.int64))
    return closed.pockets[closed.pocket_at(vertex)].component


def test_pocket_shapes_hold_the_pockets_volume():
    checked = 0
    for seed in range(30):
        mesh, up, _ = setting(3 * seed)
        surface = prepare(mesh)
        found = [
            p
            for p in find_pockets(surface, up, highest_vertex(surface, up)).pockets
            if p.saddle_height_mm is not None and p.volume_mm3 > 1e-3
        ]
        shapes = pocket_shapes(mesh, up, [(p.peak_mm, p.saddle_height_mm) for p in found])
        for pocket, shape in zip(found, shapes, strict=True):
            assert shape.volume_mm3 == pytest.approx(pocket.volume_mm3, rel=1e-5, abs=1e-6)
            assert is_watertight(shape)
            checked += 1
    assert checked >= 10


@pytest.mark.parametrize("up", [(0, 0, 0), (0, 0), (np.nan, 0, 1), (np.inf, 0, 0), (0, 0, 1e-20)])
def test_no_direction_is_refused(up):
    with pytest.raises(InputError):
        unit_vector(up)


def test_open_surface_is_refused_with_its_place():
    vertices, faces = _box((0, 0, 0), (1, 1, 1))
    with pytest.raises(MeshError) as caught:
        prepare(tri_mesh(vertices, faces[1:]))
    assert caught.value.kind == "open_boundary"
    assert caught.value.at_mm is not None


def _box(low, high) -> tuple[np.ndarray, np.ndarray]:
    box = trimesh.creation.box(bounds=[low, high])
    return np.array(box.vertices), np.array(box.faces)
