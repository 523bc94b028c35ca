"""Dirty meshes made from clean ones: the right volume, or a refusal by name with place and hint."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import trimesh
from shapes import as_mesh, box, together, turned_in

from pourwright.errors import MeshError
from pourwright.solid import TriMesh, intake, tri_mesh

BALL = trimesh.creation.icosphere(subdivisions=3, radius=10)
V, F = np.array(BALL.vertices), np.array(BALL.faces)


def without(share: float) -> TriMesh:
    rng = np.random.default_rng(5)
    return tri_mesh(V, F[rng.random(len(F)) >= share])


def t_junction() -> TriMesh:
    """One side of an edge is split and the other is not."""
    a, b, c = F[0]
    middle = (V[a] + V[b]) / 2
    n = len(V)
    return tri_mesh(np.vstack([V, middle]), np.vstack([F[1:], [[a, n, c], [n, b, c]]]))


def slivers() -> TriMesh:
    """Every triangle of one cap is split at a point almost on its first edge."""
    vertices, faces = list(V), [*F[60:]]
    for a, b, c in F[:60]:
        vertices.append((V[a] + V[b] + 1e-9 * V[c]) / (2 + 1e-9))
        n = len(vertices) - 1
        faces += [[a, b, n], [b, c, n], [c, a, n]]
    return tri_mesh(vertices, faces)


def wrongly_welded() -> TriMesh:
    """A point of the ball is joined to the one opposite: the surface runs through the body."""
    far = int(np.argmin(V @ V[0]))
    return tri_mesh(V, np.where(far == F, 0, F))


def some_turned(share: float) -> TriMesh:
    turned = np.random.default_rng(6).random(len(F)) < share
    return tri_mesh(V, np.where(turned[:, None], F[:, ::-1], F))


def fin() -> TriMesh:
    """A free triangle stands on an edge of the ball."""
    a, b, _ = F[0]
    return tri_mesh(np.vstack([V, [30, 0, 0]]), np.vstack([F, [[a, b, len(V)]]]))


def half_size_inside(count: int) -> TriMesh:
    """Shells nested in each other, all inside out."""
    shells = [turned_in(trimesh.Trimesh(V * 0.7**i, F, process=False)) for i in range(count)]
    return as_mesh(together(*shells))


RIGHT = {
    "every face three times": (lambda: tri_mesh(V, np.vstack([F, F, F])), BALL.volume),
    "a third turned": (lambda: some_turned(0.3), BALL.volume),
    "inside out": (lambda: tri_mesh(V, F[:, ::-1]), BALL.volume),
    "slivers": (slivers, BALL.volume),
    "microns": (lambda: tri_mesh(V * 1e-3, F), BALL.volume * 1e-9),
    "kilometres": (lambda: tri_mesh(V * 1e6, F), BALL.volume * 1e18),
    "a million off": (lambda: tri_mesh(V + 1e6, F), BALL.volume),
    "collapsed faces": (lambda: tri_mesh(V, np.vstack([F, F[:9, [0, 0, 1]]])), BALL.volume),
    "spare nan vertex": (lambda: tri_mesh(np.vstack([V, [np.nan] * 3]), F), BALL.volume),
    "coincident faces": (
        lambda: as_mesh(together(box((0, 0, 0), (9, 9, 9)), box((9, 2, 2), (14, 7, 7)))), 854.0
    ),
    "coincident inside": (
        lambda: as_mesh(together(box((0, 0, 0), (9, 9, 9)), box((2, 2, 4), (7, 7, 9)))), 729.0
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", RIGHT)
def test_the_volume_is_right(name):
    make, volume = RIGHT[name]
    assert intake([make()]).volume_mm3 == pytest.approx(volume, rel=1e-6)


REFUSED = {
    "one face gone": (lambda: tri_mesh(V, F[1:]), {"open_boundary"}),
    "a tenth gone": (lambda: without(0.1), {"open_boundary"}),
    "all but one gone": (lambda: tri_mesh(V, F[:1]), {"open_boundary", "zero_thickness"}),
    "t-junction": (t_junction, {"open_boundary"}),
    "fin": (fin, {"open_boundary", "non_manifold_edge"}),
    "flat": (lambda: tri_mesh(V * [1, 1, 0], F), {"zero_thickness"}),
    "folded through itself": (
        lambda: tri_mesh(np.where(V[:, [2]] > 5, V - [0, 0, 26], V), F), {"self_overlap"}
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_bounds_no_solid_is_refused_by_name(name):
    make, kinds = REFUSED[name]
    with pytest.raises(MeshError) as caught:
        intake([make()])
    assert caught.value.kind in kinds
    assert caught.value.hint
    assert caught.value.at_mm is not None


def test_sprinkled_nan_is_refused():
    vertices = V.copy()
    vertices[np.random.default_rng(7).random(len(V)) < 0.02] = np.nan
    with pytest.raises(MeshError) as caught:
        tri_mesh(vertices, F)
    assert caught.value.kind == "not_finite"


def test_a_wrong_weld_is_told_or_changes_nothing_much():
    try:
        solid = intake([wrongly_welded()])
    except MeshError as error:
        assert error.kind and error.hint
    else:
        told = {f.kind for f in solid.findings}
        assert told or solid.volume_mm3 == pytest.approx(BALL.volume, rel=0.01)


def test_nested_shells_all_inside_out_are_told():
    solid = intake([half_size_inside(4)])
    # Outermost turned to a body; what lies in it alternates with it.
    assert "inverted_shell" in {f.kind for f in solid.findings}
    assert 0 < solid.volume_mm3 <= BALL.volume * (1 + 1e-9)


def test_a_hundred_and_fifty_overlapping_shells():
    """manifold3d on the clean construction: the peer for the union alone."""
    rng = np.random.default_rng(8)
    boxes = [box(low, low + size) for low, size in
             zip(rng.uniform(0, 30, (150, 3)), rng.uniform(1, 6, (150, 3)), strict=True)]
    bodies = [manifold3d.Manifold.cube(tuple(np.ptp(b.bounds, axis=0))).translate(
        tuple(b.bounds[0])) for b in boxes]
    want = manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Add).volume()
    solid = intake([as_mesh(together(*boxes))])
    assert solid.shells == 150
    assert solid.volume_mm3 == pytest.approx(want, rel=1e-6)
