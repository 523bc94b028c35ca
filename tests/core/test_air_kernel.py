"""The fast analysis against its definition, as a sweep, and from several threads."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_air import exits, maxima, plain_pockets
from random_bodies import CSG_KINDS, LATTICE_KINDS, random_body, random_lattice
from reference import mesh_of

from pourwright.air import (
    PocketTable,
    Surface,
    find_pockets,
    highest_vertex,
    join_tree,
    pockets_in,
    prepare,
    top_plane_vertices,
)
from pourwright.air.rays import first_exits
from pourwright.solid import TriMesh

seeds = st.integers(0, 2**32 - 1)
KINDS = CSG_KINDS + LATTICE_KINDS


def body(kind: str, rng: np.random.Generator) -> TriMesh:
    if kind in CSG_KINDS:
        return mesh_of(random_body(kind, rng))
    return random_lattice(kind, rng).mesh()


def setting(seed: int) -> tuple[Surface, np.ndarray, np.random.Generator]:
    """A body and a direction, one in four along an axis, for plateaus."""
    rng = np.random.default_rng(seed)
    surface = prepare(body(KINDS[seed % len(KINDS)], rng))
    up = np.eye(3)[rng.integers(3)] if rng.random() < 0.25 else rng.normal(size=3)
    return surface, up / np.linalg.norm(up), rng


def some_openings(
    surface: Surface, up: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    count = len(surface.vertices)
    return [
        highest_vertex(surface, up),
        top_plane_vertices(surface, up),
        rng.integers(0, count, rng.integers(1, 6)),
        np.empty(0, dtype=np.int64),
    ][rng.integers(4)]


@settings(max_examples=120, deadline=None)
@given(seeds)
def test_pockets_equal_their_definition(seed):
    surface, up, rng = setting(seed)
    openings = some_openings(surface, up, rng)
    report = find_pockets(surface, up, openings)
    saddles = [-np.inf if p.saddle_height_mm is None else p.saddle_height_mm
               for p in report.pockets]
    want = plain_pockets(surface, up, openings)
    got = sorted(zip((p.peak_height_mm for p in report.pockets), saddles, strict=True))
    assert len(got) == len(want)
    np.testing.assert_allclose(np.ravel(got), np.ravel([w[:2] for w in want]), atol=1e-8)
    # Each pocket holds the vertices that the definition says, no others.
    number = report.pocket_of_climb[report.tree.climb]
    level = np.append(saddles, np.inf)[number] + surface.tolerance_mm
    height = report.tree.heights + float(surface.centre_mm @ up)
    inside = np.where(height > level, number, -1)
    parts = {frozenset(np.flatnonzero(inside == i).tolist()) for i in range(len(saddles))}
    assert parts == {w[2] for w in want}


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_climbs_lead_up_to_the_maxima(seed):
    surface, up, _ = setting(seed)
    tree = join_tree(surface, up)
    assert tree.peaks.tolist() == maxima(surface, up)
    np.testing.assert_array_equal(tree.climb[tree.peaks], np.arange(len(tree.peaks)))
    # A vertex that is no maximum has a higher neighbour that climbs to the same one.
    owner, beside = surface.neighbours.of(np.arange(len(tree.heights)))
    higher = (tree.heights[beside] > tree.heights[owner]) | (
        (tree.heights[beside] == tree.heights[owner]) & (beside > owner)
    )
    follows = np.zeros(len(tree.heights), dtype=bool)
    follows[owner[higher & (tree.climb[beside] == tree.climb[owner])]] = True
    follows[tree.peaks] = True
    assert follows.all()


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_rays_leave_where_a_cast_at_all_triangles_says(seed):
    surface, up, _ = setting(seed)
    peaks = join_tree(surface, up).peaks
    roofs = peaks[surface.normals[peaks] @ up < 0]
    if len(roofs) == 0:
        return
    want = exits(surface, roofs, up)
    leaving, faces = first_exits(surface, roofs, up)
    got = {int(s): _meeting(surface, int(s), face, up)
           for s, face in zip(roofs[leaving], faces, strict=True)}
    assert all(weights.min() > -1e-9 for _, weights in got.values())
    for start in got.keys() | want.keys():
        rise, weights = got.get(start, (np.inf, np.zeros(3)))
        if abs(rise - want.get(start, (np.inf, set()))[0]) > 1e-7:
            # Rounding may decide about a wall whose edge the ray just touches.
            others = want.get(start, (0.0, set()))[1]
            touched = [weights, *(_meeting(surface, start, face, up)[1] for face in others)]
            assert min(abs(w).min() for w in touched) < 1e-9


def _meeting(
    surface: Surface, start: int, face: int, up: np.ndarray
) -> tuple[float, np.ndarray]:
    """How far above a vertex the plane of a face is, and the shares of its corners there."""
    corners = surface.vertices[surface.faces[face]] - surface.vertices[start]
    # start + rise * up = the corners' mean with some weights that add up to 1.
    system = np.vstack([np.column_stack([corners.T, -up]), [1.0, 1.0, 1.0, 0.0]])
    *weights, rise = np.linalg.lstsq(system, np.array([0.0, 0.0, 0.0, 1.0]), rcond=None)[0]
    return float(rise), np.array(weights)


def assert_same(a: PocketTable, b: PocketTable) -> None:
    for name in ("peaks", "peak_heights_mm", "saddle_heights_mm", "volumes_mm3"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)
    assert (a.low_mm, a.high_mm) == (b.low_mm, b.high_mm)


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_the_step_of_a_sweep_equals_the_single_analysis(seed):
    surface, up, rng = setting(seed)
    for openings in (None, some_openings(surface, up, rng)):
        table = pockets_in(surface, up, openings)
        named = highest_vertex(surface, up) if openings is None else openings
        pockets = find_pockets(surface, up, named).pockets
        assert [p.peak_vertex for p in pockets] == table.peaks.tolist()
        assert [p.peak_height_mm for p in pockets] == table.peak_heights_mm.tolist()
        saddles = [-np.inf if p.saddle_height_mm is None else p.saddle_height_mm for p in pockets]
        assert saddles == table.saddle_heights_mm.tolist()
        assert [p.volume_mm3 for p in pockets] == table.volumes_mm3.tolist()
        assert (np.diff(table.volumes_mm3) <= 0).all()
    height = (surface.vertices + surface.centre_mm) @ up
    assert table.low_mm == pytest.approx(height.min(), abs=1e-9)
    assert table.high_mm == pytest.approx(height.max(), abs=1e-9)


def test_two_threads_find_what_one_does():
    rng = np.random.default_rng(8)
    surface = prepare(mesh_of(random_body("hollow", rng).refine(6)))
    ups = rng.normal(size=(48, 3))
    ups /= np.linalg.norm(ups, axis=1)[:, None]
    alone = [pockets_in(surface, up) for up in ups]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda up: pockets_in(surface, up), ups))
    assert len(surface.faces) > 5000 and any(len(t.peaks) for t in alone)
    for a, b in zip(alone, together, strict=True):
        assert_same(a, b)


def test_a_part_without_an_opening_stands_in_the_table():
    far = np.array([30.0, 0.0, 0.0])
    one = mesh_of(manifold3d.Manifold.sphere(4, 12) - manifold3d.Manifold.cube((2, 2, 2)))
    n = len(one.vertices)
    both = TriMesh(
        np.vstack([one.vertices, one.vertices + far]), np.vstack([one.faces, one.faces + n])
    )
    surface = prepare(both)
    table = pockets_in(surface, np.array([0.0, 0.6, 0.8]))
    closed = np.isneginf(table.saddle_heights_mm)
    assert closed.sum() == 1
    assert table.volumes_mm3[closed][0] == pytest.approx(one.volume_mm3, rel=1e-9)
