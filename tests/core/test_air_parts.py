"""The parts of the fast analysis, each against the plain way to say the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_bodies import CSG_KINDS, LATTICE_KINDS, random_body, random_lattice
from reference import mesh_of
from scipy.spatial.transform import Rotation

from pourwright.air import prepare, top_plane_vertices
from pourwright.air.arrays import dot, dot_rows, ends_of, gather
from pourwright.air.curve import hilbert_index, places_on_curve
from pourwright.air.forest import highest_forest, lowest_on_the_way, rooted
from pourwright.air.neighbours import half_edge_table, plain_twins
from pourwright.air.spheres import sphere_tree
from pourwright.solid import TriMesh, topology
from pourwright.solid.boolean import convex_hull

seeds = st.integers(0, 2**32 - 1)
some = settings(max_examples=60, deadline=None)


@pytest.mark.parametrize("bits", [1, 2, 4, 16])
def test_the_curve_goes_through_every_cell_in_single_steps(bits):
    side = 2 ** min(bits, 4)
    cells = np.stack(np.meshgrid(*[np.arange(side)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    place = hilbert_index([cells[:, i].astype(np.uint32) for i in range(3)], bits)
    order = np.argsort(place)
    np.testing.assert_array_equal(place[order], np.arange(side**3))
    assert (np.abs(np.diff(cells[order], axis=0)).sum(axis=1) == 1).all()


def test_equal_points_have_equal_places_and_runs_are_compact():
    points = np.random.default_rng(1).uniform(-3, 5, (4096, 3))
    place = places_on_curve(np.vstack([points, points]))
    np.testing.assert_array_equal(place[:4096], place[4096:])
    ordered = points[np.argsort(place[:4096])]
    reach = np.ptp(ordered.reshape(-1, 64, 3), axis=1).max(axis=1)
    assert np.median(reach) < 8 / 2  # 64 of 4096 points of an 8 mm cube: about a quarter each way
    assert (places_on_curve(np.ones((5, 3))) == places_on_curve(np.ones((1, 3)))).all()


@some
@given(seeds)
def test_following_pointers_ends_where_single_steps_do(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 1500))
    # Each points some way up, the last at itself: chains of up to n steps.
    jump = rng.integers(0, rng.choice([2, 5, 50]), n) + (rng.random() < 0.7)
    pointer = np.minimum(np.arange(n) + jump, n - 1)
    want = np.arange(n)
    for i in range(n - 1, -1, -1):
        want[i] = i if pointer[i] == i else want[pointer[i]]
    np.testing.assert_array_equal(ends_of(pointer), want)


@some
@given(seeds)
def test_products_of_rows_are_the_same_wherever_they_stand(seed):
    rng = np.random.default_rng(seed)
    table, vector = rng.normal(size=(57, 3)) * 1e3, rng.normal(size=3)
    rows = rng.integers(0, 57, 101)
    np.testing.assert_array_equal(dot_rows(table, rows, vector), dot(table, vector)[rows])
    np.testing.assert_allclose(dot(table, vector), table @ vector, rtol=1e-12, atol=1e-9)
    np.testing.assert_array_equal(gather(table[:, 0], rows), table[rows, 0])


@some
@given(seeds)
def test_forest_connects_as_high_as_can_be(seed):
    """Against Kruskal's method edge by edge; few heights, so that many are equal."""
    rng = np.random.default_rng(seed)
    count, edges = int(rng.integers(1, 30)), int(rng.integers(0, 90))
    a, b = rng.integers(0, count, (2, edges))
    height = rng.choice(rng.normal(size=6), edges)
    kept = highest_forest(a, b, height, count)
    group, want = np.arange(count), []
    for i in sorted(range(edges), key=lambda i: (-height[i], i)):
        if group[a[i]] != group[b[i]]:
            want.append(height[i])
            group[group == group[a[i]]] = group[b[i]]
    assert height[kept].tolist() == want
    # No cycles: each kept edge joins two groups.
    group = np.arange(count)
    for i in kept:
        assert group[a[i]] != group[b[i]]
        group[group == group[a[i]]] = group[b[i]]


@some
@given(seeds)
def test_ways_to_the_root(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 60))
    name = rng.permutation(count)
    before = np.array([rng.integers(0, i) for i in range(1, count)])
    a, b = name[1:].copy(), name[before]
    swap = rng.random(count - 1) < 0.5
    a[swap], b[swap] = b[swap], a[swap]
    height = rng.normal(size=count - 1)
    parent, to_parent = rooted(a, b, height, count, int(name[0]))
    want_lowest = {int(name[0]): np.inf}
    for i in range(1, count):
        child, up = int(name[i]), int(name[before[i - 1]])
        assert parent[child] == up and to_parent[child] == height[i - 1]
        want_lowest[child] = min(want_lowest[up], height[i - 1])
    lowest = lowest_on_the_way(parent, to_parent)
    assert lowest.tolist() == [want_lowest[i] for i in range(count)]


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_spheres_miss_no_triangle_in_a_rays_way(seed):
    """Triangles built round points of known rays, among many others, of all sizes."""
    rng = np.random.default_rng(seed)
    ray = rng.normal(size=3)
    ray /= np.linalg.norm(ray)
    starts = rng.uniform(-50, 50, (int(rng.integers(1, 40)), 3))
    hit = np.repeat(np.arange(len(starts)), 5)
    on_ray = starts[hit] + rng.uniform(0, 60, len(hit))[:, None] * ray
    size = 10.0 ** rng.uniform(-4, 1.5, len(hit))
    corners = rng.normal(size=(len(hit), 3, 3)) * size[:, None, None]
    weight = rng.dirichlet([0.5] * 3, len(hit))
    corners += (on_ray - np.einsum("ij,ijk->ik", weight, corners))[:, None]
    other = rng.uniform(-80, 80, (3000, 1, 3)) + rng.normal(size=(3000, 3, 3))
    every = np.concatenate([corners, other])
    order = np.argsort(places_on_curve(every.mean(axis=1)), kind="stable")
    tree = sphere_tree(every[order], float(np.linalg.norm(np.ptp(every.reshape(-1, 3), axis=0))))
    rays, triangles = tree.near(starts, ray)
    assert triangles.max(initial=0) < len(every)
    found = set(zip(rays.tolist(), order[triangles].tolist(), strict=True))
    assert all((line, i) in found for i, line in enumerate(hit.tolist()))
    assert len(found) < 0.05 * len(starts) * len(every)


def _body(seed: int) -> TriMesh:
    rng = np.random.default_rng(seed)
    kind = (CSG_KINDS + LATTICE_KINDS)[seed % 6]
    if kind in CSG_KINDS:
        return mesh_of(random_body(kind, rng))
    return random_lattice(kind, rng).mesh()


@some
@given(seeds)
def test_neighbours_are_those_of_the_faces(seed):
    surface = prepare(_body(seed))
    want = [set() for _ in surface.vertices]
    for a, b, c in surface.faces.tolist():
        for v, others in ((a, (b, c)), (b, (a, c)), (c, (a, b))):
            want[v].update(others)
    owner, beside = surface.neighbours.of(np.arange(len(want)))
    got = [set() for _ in want]
    for v, w in zip(owner.tolist(), beside.tolist(), strict=True):
        got[v].add(w)
    assert got == want
    edges = {(a, b) for a, others in enumerate(want) for b in others if a < b}
    low, high = surface.edge_low.tolist(), surface.edge_high.tolist()
    assert set(zip(low, high, strict=True)) == edges
    faces = {frozenset(f) for f in surface.faces.tolist()}
    for side in surface.edge_sides.tolist():
        assert all(frozenset(x) in faces for x in zip(low, high, side, strict=True))
    cell = np.ptp(surface.vertices, axis=0).max() / 2**19
    for i, (axis, sign) in enumerate((a, s) for a in range(3) for s in (1, -1)):
        for v, w in enumerate(surface.neighbours.farthest[i].tolist()):
            assert w in want[v]
            best = max(sign * surface.vertices[x, axis] for x in want[v])
            assert sign * surface.vertices[w, axis] >= best - cell


@some
@given(seeds)
def test_twins_by_counting_are_those_by_sorting(seed):
    mesh = _body(seed)
    table = half_edge_table(mesh.faces, len(mesh.vertices))
    twin = plain_twins(table, 3 * len(mesh.faces))
    sorted_twin = topology.twins(mesh.vertices, mesh.faces)
    start = mesh.faces.ravel()
    end = np.roll(mesh.faces, -1, axis=1).ravel()
    crowded = len(np.unique(start * len(mesh.vertices) + end)) < len(start)
    assert (twin is None) == crowded
    if twin is not None:
        np.testing.assert_array_equal(twin, sorted_twin)


def test_open_and_wrongly_turned_surfaces_have_no_plain_twins():
    mesh = mesh_of(random_body("csg", np.random.default_rng(2)))
    n = len(mesh.vertices)
    assert plain_twins(half_edge_table(mesh.faces, n), 3 * len(mesh.faces)) is not None
    fewer = mesh.faces[1:]
    assert plain_twins(half_edge_table(fewer, n), 3 * len(fewer)) is None
    turned = mesh.faces.copy()
    turned[0] = turned[0, ::-1]
    assert plain_twins(half_edge_table(turned, n), 3 * len(turned)) is None


@some
@given(seeds)
def test_made_ready_alike_however_it_is_stored(seed):
    """Corners stored apart or shared, faces shuffled, vertices unused, faces without area."""
    mesh = _body(seed)
    plain = prepare(mesh)
    rng = np.random.default_rng(seed)
    vertices, faces = mesh.vertices, mesh.faces
    if rng.random() < 0.5:
        vertices, faces = vertices[faces].reshape(-1, 3), np.arange(faces.size).reshape(-1, 3)
    faces = faces[rng.permutation(len(faces))]
    # Also a vertex that only a face without area uses.
    only = rng.integers(len(vertices), len(vertices) + 5, 4)
    collapsed = np.column_stack([faces[:4, 0], only, only])
    collapsed = np.vstack([collapsed, faces[:4][:, [0, 1, 1]]])
    unused = rng.uniform(vertices.min(axis=0), vertices.max(axis=0), (9, 3))
    other = prepare(TriMesh(np.vstack([vertices, unused]), np.vstack([faces, collapsed])))
    assert len(other.faces) == len(plain.faces) == len(mesh.faces)
    assert len(other.vertices) == len(plain.vertices)
    for a, b in (
        (plain.vertices[plain.faces], other.vertices[other.faces]),
        (plain.area_vectors, other.area_vectors),
    ):
        np.testing.assert_allclose(
            np.sort(a.reshape(-1)), np.sort(b.reshape(-1)), rtol=1e-12, atol=1e-12
        )
    turn = Rotation.random(random_state=seed % 1000).as_matrix()
    turned = prepare(TriMesh(mesh.vertices @ turn.T, mesh.faces))
    np.testing.assert_allclose(
        np.sort(np.linalg.norm(turned.normals, axis=1)),
        np.sort(np.linalg.norm(plain.normals, axis=1)), atol=1e-6,
    )  # fmt: skip


def test_a_whole_face_in_the_top_plane_is_open_though_rounding_tilts_it():
    """A block on its head, by a direction of odd numbers: its four corners there, not one."""
    up = np.array([0.3, -0.5, 0.8])
    up /= np.linalg.norm(up)
    side = np.cross(up, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    frame = np.stack([side, np.cross(up, side), up])
    corners = np.array(list(np.ndindex(2, 2, 2))) * [30.0, 20.0, 10.0]
    block = convex_hull(corners @ frame + [1e3, 2e3, -3e3], "block")
    surface = prepare(block)
    heights = surface.heights(up)
    found = top_plane_vertices(surface, up)
    assert len(found) == 4
    assert (heights[found] > heights.max() - 1e-6).all() and np.ptp(heights[found]) > 0
