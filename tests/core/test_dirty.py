"""Dirty meshes made from clean ones: the right volume, or a refusal by name with place and hint.

Right means the exact volume of what was made, by construction. Nothing here may crash, and no
number may be wrong without a finding that says so.
"""

from __future__ import annotations

from fractions import Fraction

import manifold3d
import numpy as np
import pytest
import trimesh
from shapes import as_mesh, box, figure_eight, together, turned_in

from pourwright.errors import MeshError
from pourwright.solid import TriMesh, boolean, intake, read_models, tri_mesh
from pourwright.solid.mesh import concatenate

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


def some_turned(share: float) -> TriMesh:
    turned = np.random.default_rng(6).random(len(F)) < share
    return tri_mesh(V, np.where(turned[:, None], F[:, ::-1], F))


def fin() -> TriMesh:
    """A free triangle stands on an edge of the ball."""
    a, b, _ = F[0]
    return tri_mesh(np.vstack([V, [30, 0, 0]]), np.vstack([F, [[a, b, len(V)]]]))


def nested(count: int, inward: bool) -> TriMesh:
    """Shells in each other, each 0.7 of the one around it, all facing one way."""
    shells = [trimesh.Trimesh(V * 0.7**i, F, process=False) for i in range(count)]
    return as_mesh(together(*(turned_in(s) if inward else s for s in shells)))


def alternating(count: int, whole_turned: bool) -> TriMesh:
    """Shells in each other that face out and in by turns: solid, void, solid ..."""
    shells = [trimesh.Trimesh(V * 0.7**i, F, process=False) for i in range(count)]
    return as_mesh(
        together(*(turned_in(s) if (i % 2 == 1) != whole_turned else s
                   for i, s in enumerate(shells)))
    )  # fmt: skip


def alternating_volume(count: int) -> float:
    return float(sum((-1) ** i * BALL.volume * 0.7 ** (3 * i) for i in range(count)))


def split_edge(shift: float) -> TriMesh:
    """A T-junction mended on one side only, with its point off the edge by a share of it."""
    a, b, c = F[0]
    point = (V[a] + V[b]) / 2 * (1 + shift)
    n = len(V)
    return tri_mesh(np.vstack([V, point]), np.vstack([F[1:], [[a, n, c], [n, b, c]]]))


def two_boxes(*, edge: bool) -> TriMesh:
    """Boxes that share one edge, or only a corner, welded there."""
    second = box((9, 9, 0 if edge else 9), (12, 12, 9 if edge else 12))
    both = together(box((0, 0, 0), (9, 9, 9)), second)
    vertices, number = np.unique(np.round(both.vertices, 9), axis=0, return_inverse=True)
    return tri_mesh(vertices, number.reshape(-1)[both.faces])


def sheet_on(points: np.ndarray, *, twice: bool) -> TriMesh:
    """The ball with a free sheet beside it: once, or twice back to back."""
    sheet = np.array([[0, 1, 2], [0, 2, 3]]) + len(V)
    faces = [F, sheet, sheet[:, ::-1]] if twice else [F, sheet]
    return tri_mesh(np.vstack([V, points]), np.vstack(faces))


SQUARE = np.array([[20, 0, 0], [26, 0, 0], [26, 6, 0], [20, 6, 0.0]])


def welded(near_mm: float) -> TriMesh:
    """Every vertex moved to the nearest of a grid, as exporters with few digits do."""
    return tri_mesh(np.round(V / near_mm) * near_mm, F)


def exact(mesh: TriMesh) -> float:
    """The volume of the closed surface as it is, each corner a Python float, summed exactly."""
    terms = []
    for a, b, c in mesh.vertices[mesh.faces]:
        for i, j, k, sign in ((0, 1, 2, 1), (1, 2, 0, 1), (2, 0, 1, 1),
                              (0, 2, 1, -1), (1, 0, 2, -1), (2, 1, 0, -1)):  # fmt: skip
            terms.append(sign * Fraction(a[i]) * Fraction(b[j]) * Fraction(c[k]))
    return float(sum(terms) / 6)


def in_float32(offset: float) -> TriMesh:
    return tri_mesh((V + offset).astype(np.float32).astype(float), F)


def pushed_through(above_mm: float, by_mm: float) -> TriMesh:
    """The top of the ball is pushed down through its bottom, where it is inside out."""
    return tri_mesh(np.where(V[:, [2]] > above_mm, V - [0, 0, by_mm], V), F)


RIGHT = {
    "clean": (lambda: tri_mesh(V, F), BALL.volume),
    "every face three times": (lambda: tri_mesh(V, np.vstack([F, F, F])), BALL.volume),
    "some faces twice, turned on": (
        lambda: tri_mesh(V, np.vstack([F, np.roll(F[:40], 1, axis=1)])), BALL.volume
    ),
    "a third turned": (lambda: some_turned(0.3), BALL.volume),
    "inside out": (lambda: tri_mesh(V, F[:, ::-1]), BALL.volume),
    "soup": (lambda: tri_mesh(V[F].reshape(-1, 3), np.arange(F.size).reshape(-1, 3)), BALL.volume),
    "slivers": (slivers, BALL.volume),
    "microns": (lambda: tri_mesh(V * 1e-3, F), BALL.volume * 1e-9),
    "nanometres": (lambda: tri_mesh(V * 1e-6, F), BALL.volume * 1e-18),
    "kilometres": (lambda: tri_mesh(V * 1e6, F), BALL.volume * 1e18),
    "a million off": (lambda: tri_mesh(V + 1e6, F), BALL.volume),
    "collapsed faces": (lambda: tri_mesh(V, np.vstack([F, F[:9, [0, 0, 1]]])), BALL.volume),
    "spare nan vertex": (lambda: tri_mesh(np.vstack([V, [np.nan] * 3]), F), BALL.volume),
    "spare far vertex": (lambda: tri_mesh(np.vstack([V, [1e300] * 3]), F), BALL.volume),
    "spare vertices between": (
        lambda: tri_mesh(np.repeat(V, 2, axis=0) + [[0, 0, 0], [9, 9, 9]] * len(V), 2 * F),
        BALL.volume,
    ),
    "coincident faces": (
        lambda: as_mesh(together(box((0, 0, 0), (9, 9, 9)), box((9, 2, 2), (14, 7, 7)))), 854.0
    ),
    "coincident inside": (
        lambda: as_mesh(together(box((0, 0, 0), (9, 9, 9)), box((2, 2, 4), (7, 7, 9)))), 729.0
    ),
    "an edge in common": (
        lambda: as_mesh(together(box((0, -2, 0), (25, 2, 4)), box((21, -2, -8), (25, 2, 4)))), 528.0
    ),
    "the same body twice": (
        lambda: as_mesh(together(BALL, trimesh.Trimesh(V, F[::-1], process=False))), BALL.volume
    ),
    "solid in void in solid": (lambda: alternating(5, False), alternating_volume(5)),
    "the same, inside out": (lambda: alternating(4, True), alternating_volume(4)),
    "solids in solids": (lambda: nested(4, False), BALL.volume),
    "a sheet back to back beside": (lambda: sheet_on(SQUARE, twice=True), BALL.volume),
    "a sheet back to back inside": (lambda: sheet_on(SQUARE - [22, 3, 0], twice=True), BALL.volume),
}  # fmt: skip


@pytest.mark.parametrize("name", RIGHT)
def test_the_volume_is_right(name):
    make, volume = RIGHT[name]
    assert intake([make()]).volume_mm3 == pytest.approx(volume, rel=1e-6)


# Mended or left, but told: kind of the finding and the exact volume of what is left, by Fractions.
TOLD = {
    "sheet of no thickness": (lambda: sheet_on(SQUARE, twice=True), "zero_thickness", None),
    "repeats": (lambda: tri_mesh(V, np.vstack([F, F[:7]])), "repeated_faces", None),
    "turned faces": (lambda: some_turned(0.1), "mixed_winding", None),
    "turned shell": (lambda: tri_mesh(V, F[:, ::-1]), "inverted_shell", None),
    "touching edges": (lambda: two_boxes(edge=True), "touching", 729 + 81.0),
    "touching corners": (lambda: two_boxes(edge=False), "touching", 729 + 27.0),
    "metres for millimetres": (lambda: tri_mesh(V * 1000, F), "unit_suspected", BALL.volume * 1e9),
    "a little fold": (
        lambda: pushed_through(9, 18.4), "self_overlap", exact(pushed_through(9, 18.4))
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", TOLD)
def test_what_is_mended_is_told(name):
    make, kind, volume = TOLD[name]
    solid = intake([make()])
    assert kind in {f.kind for f in solid.findings}
    # Boxes that touch are drawn 0.0004 mm apart.
    tolerance = 0.01 if kind == "self_overlap" else 5e-5
    assert solid.volume_mm3 == pytest.approx(BALL.volume if volume is None else volume,
                                             rel=tolerance)  # fmt: skip


@pytest.mark.parametrize("grid_mm", [0.05, 0.3, 1.0, 3.0])
def test_vertices_that_fall_together(grid_mm):
    """The volume is that of the surface as the grid has left it, or it is refused by name."""
    mesh = welded(grid_mm)
    try:
        solid = intake([mesh])
    except MeshError as error:
        assert grid_mm > 0.3 and error.kind and error.hint
    else:
        assert solid.volume_mm3 == pytest.approx(exact(mesh), rel=0.01)


@pytest.mark.parametrize("offset", [1e3, 1e5, 1e6, 1e7])
def test_float32_far_from_the_origin(offset):
    mesh = in_float32(offset)
    try:
        solid = intake([mesh])
    except MeshError as error:
        assert offset >= 1e7 and error.kind and error.hint
    else:
        assert solid.volume_mm3 == pytest.approx(exact(mesh), rel=0.01)


@pytest.mark.parametrize(("offset", "told"), [(0.0, False), (100.0, False), (1e6, True)])
def test_numbers_too_coarse_for_the_place_are_told(tmp_path, offset, told):
    trimesh.Trimesh(V + offset, F, process=False).export(tmp_path / "ball.stl")
    _, findings = read_models([tmp_path / "ball.stl"])
    assert ("coarse_numbers" in {f.kind for f in findings}) == told


@pytest.mark.parametrize("offset", [1e8, 1e9, 1e11, 1e15])
def test_float64_very_far_from_the_origin(offset):
    mesh = TriMesh(V + offset, F)
    try:
        solid = intake([mesh])
    except MeshError as error:
        assert error.kind == "too_far" and offset > 1e10
    else:
        assert solid.volume_mm3 == pytest.approx(BALL.volume, rel=1e-4)


REFUSED = {
    "one face gone": (lambda: tri_mesh(V, F[1:]), {"open_boundary"}),
    "a tenth gone": (lambda: without(0.1), {"open_boundary"}),
    "nine tenths gone": (lambda: without(0.9), {"open_boundary"}),
    "all but one gone": (lambda: tri_mesh(V, F[:1]), {"open_boundary", "zero_thickness"}),
    "t-junction": (t_junction, {"open_boundary"}),
    "t-junction off its edge": (lambda: split_edge(1e-3), {"open_boundary"}),
    "fin": (fin, {"open_boundary", "non_manifold_edge"}),
    "a sheet beside": (lambda: sheet_on(SQUARE, twice=False), {"open_boundary"}),
    "a wall inside": (
        lambda: tri_mesh(V, np.vstack([F, [[F[0][0], F[0][1], F[200][2]]]])),
        {"open_boundary", "non_manifold_edge"},
    ),
    "flat": (lambda: tri_mesh(V * [1, 1, 0], F), {"zero_thickness"}),
    "a line": (lambda: tri_mesh(V * [1, 0, 0], F), {"zero_thickness"}),
    "a point": (lambda: tri_mesh(V * 0, F), {"zero_thickness"}),
    "as large as the earth": (lambda: TriMesh(V * 1e9, F), {"too_far"}),
    "one vertex beyond reason": (
        lambda: TriMesh(np.vstack([[1e30, 0, 0], V[1:]]), F), {"too_far"}
    ),
    "folded through itself": (lambda: pushed_through(5, 26), {"self_overlap"}),
    "a tube across itself": (lambda: figure_eight(), {"self_overlap"}),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_bounds_no_solid_is_refused_by_name(name):
    make, kinds = REFUSED[name]
    with pytest.raises(MeshError) as caught:
        intake([make()])
    assert caught.value.kind in kinds
    assert caught.value.hint
    assert caught.value.at_mm is not None


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_sprinkled_nan_is_refused(value):
    vertices = V.copy()
    vertices[np.random.default_rng(7).random(len(V)) < 0.02] = value
    with pytest.raises(MeshError) as caught:
        intake([TriMesh(vertices, F)])
    assert caught.value.kind == "not_finite"


@pytest.mark.parametrize("seed", range(12))
def test_a_wrong_weld_is_told_or_changes_nothing_much(seed):
    """Vertices joined to others across the body, to neighbours, or to one far off."""
    rng = np.random.default_rng(seed)
    joined = F.copy()
    for _ in range(1 + seed % 3):
        one = int(rng.integers(len(V)))
        far = np.argsort(((V - V[one]) ** 2).sum(axis=1))
        other = int(far[(1, 2, 40, -1)[seed % 4]])
        joined[joined == one] = other
    mesh = tri_mesh(V, joined)
    try:
        solid = intake([mesh])
    except MeshError as error:
        assert error.kind and error.hint and error.at_mm is not None
        return
    told = {f.kind for f in solid.findings}
    # Joined vertices leave a closed surface; where it crosses nothing its exact volume is right.
    assert told or solid.volume_mm3 == pytest.approx(exact(mesh), rel=0.01)


def test_nested_shells_all_inside_out_are_told():
    solid = intake([nested(4, inward=True)])
    # The outermost is turned to a body and those in it with it: solids in a solid.
    assert "inverted_shell" in {f.kind for f in solid.findings}
    assert solid.volume_mm3 == pytest.approx(BALL.volume, rel=1e-9)


def many_boxes(count: int) -> tuple[TriMesh, float]:
    """Overlapping boxes, and the volume of their union by manifold3d on the clean construction."""
    rng = np.random.default_rng(8)
    boxes = [box(low, low + size) for low, size in
             zip(rng.uniform(0, 30, (count, 3)), rng.uniform(1, 6, (count, 3)), strict=True)]
    bodies = [manifold3d.Manifold.cube(tuple(np.ptp(b.bounds, axis=0))).translate(
        tuple(b.bounds[0])) for b in boxes]
    want = manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Add).volume()
    return as_mesh(together(*boxes)), want


def test_five_hundred_overlapping_shells():
    mesh, want = many_boxes(500)
    solid = intake([mesh])
    assert solid.shells == 500
    assert solid.volume_mm3 == pytest.approx(want, rel=1e-6)


def test_one_bad_shell_among_many_is_found():
    """A small one has fewer lines to be measured by; a fold of half of it still shows."""
    mesh, _ = many_boxes(40)
    ball = pushed_through(5, 26)
    whole = concatenate([mesh, TriMesh(ball.vertices * 0.1 + 60, ball.faces)])
    with pytest.raises(MeshError) as caught:
        intake([whole])
    assert caught.value.kind == "self_overlap"
    assert np.abs(np.array(caught.value.at_mm) - 60).max() < 2.2


def test_a_union_that_lost_a_body_is_refused(monkeypatch):
    monkeypatch.setattr(boolean, "union", lambda meshes, name="": meshes[0])
    two = as_mesh(together(box((0, 0, 0), (9, 9, 9)), box((5, 5, 5), (12, 12, 12))))
    with pytest.raises(MeshError) as caught:
        intake([two])
    assert caught.value.kind == "union_mismatch"
