"""Many meshes in, one solid out: unions, voids, inverted shells, and named refusals."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import as_mesh, box, figure_eight, together, turned_in

from pourwright.errors import MeshError
from pourwright.solid import boolean, intake, tri_mesh
from pourwright.solid.topology import is_watertight

BLOCK = box((0, 0, 0), (10, 10, 10))
HOLLOW = box((3, 3, 3), (7, 7, 7))
BALL = trimesh.creation.icosphere(subdivisions=3, radius=5)


def kinds(solid) -> list[str]:
    return [f.kind for f in solid.findings]


def test_two_overlapping_boxes_count_the_shared_space_once():
    other = box((5, 0, 0), (15, 10, 10))
    apart = intake([as_mesh(BLOCK), as_mesh(other)])
    as_one = intake([as_mesh(together(BLOCK, other))])
    for solid in (apart, as_one):
        assert solid.volume_mm3 == pytest.approx(1500, rel=1e-12)
        assert (solid.shells, solid.parts) == (2, 1)
        assert is_watertight(solid.mesh)


def test_a_void_survives():
    solid = intake([as_mesh(together(BLOCK, turned_in(HOLLOW)))])
    assert solid.volume_mm3 == pytest.approx(1000 - 64, rel=1e-12)
    assert kinds(solid) == []


def test_a_void_survives_where_a_second_body_touches_its_block():
    arm = box((9, 4, 4), (15, 6, 6))
    block = together(BLOCK, turned_in(HOLLOW))
    for meshes in ([block, arm], [together(block, arm)]):
        solid = intake([as_mesh(m) for m in meshes])
        assert solid.volume_mm3 == pytest.approx(1000 - 64 + 5 * 4, rel=1e-12)


def test_a_second_body_may_reach_into_the_void():
    arm = box((5, 4, 4), (15, 6, 6))
    solid = intake([as_mesh(together(BLOCK, turned_in(HOLLOW))), as_mesh(arm)])
    assert solid.volume_mm3 == pytest.approx(1000 - 64 + 2 * 4 + 5 * 4, rel=1e-12)


def test_nested_voids():
    """Block, void in it, block in the void, void in that."""
    shells = [
        box((-s, -s, -s), (s, s, s)) if i % 2 == 0 else turned_in(box((-s, -s, -s), (s, s, s)))
        for i, s in enumerate((8, 6, 4, 2))
    ]
    solid = intake([as_mesh(together(*shells))])
    assert solid.volume_mm3 == pytest.approx(16**3 - 12**3 + 8**3 - 4**3, rel=1e-12)
    assert solid.parts == 2


def test_an_inverted_sphere_is_turned_and_reported():
    solid = intake([as_mesh(turned_in(BALL))])
    assert solid.volume_mm3 == pytest.approx(BALL.volume, rel=1e-12)
    assert kinds(solid) == ["inverted_shell"]
    assert solid.findings[0].at_mm == pytest.approx((0, 0, 0), abs=1e-9)


def test_a_file_inverted_as_a_whole_keeps_its_void():
    solid = intake([as_mesh(turned_in(together(BLOCK, turned_in(HOLLOW))))])
    assert solid.volume_mm3 == pytest.approx(936, rel=1e-12)
    assert "inverted_shell" in kinds(solid)


def test_one_inverted_part_among_others():
    solid = intake([as_mesh(BLOCK), as_mesh(turned_in(box((20, 0, 0), (22, 2, 2))))])
    assert solid.volume_mm3 == pytest.approx(1008, rel=1e-12)
    assert kinds(solid) == ["inverted_shell", "separate_parts"]


def test_faces_that_disagree_are_turned():
    faces = np.array(BALL.faces)
    faces[100:140] = faces[100:140, ::-1]
    solid = intake([tri_mesh(BALL.vertices, faces)])
    assert solid.volume_mm3 == pytest.approx(BALL.volume, rel=1e-12)
    assert kinds(solid) == ["mixed_winding"]


def test_the_same_shell_twice_counts_once():
    solid = intake([as_mesh(together(BALL, BALL))])
    assert solid.volume_mm3 == pytest.approx(BALL.volume, rel=1e-12)
    assert kinds(solid) == ["repeated_faces"]


@pytest.mark.parametrize("shift", [(10, 10, 0), (10, 10, 10), (10, 0, 0)])
def test_bodies_that_touch(shift):
    """Sharing an edge, a corner, a face: all welded together in one mesh."""
    other = BLOCK.copy()
    other.apply_translation(shift)
    mesh = together(BLOCK, other)
    mesh.merge_vertices()
    solid = intake([as_mesh(mesh)])
    welded = trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces)
    assert welded.is_watertight
    if shift == (10, 0, 0):
        assert solid.volume_mm3 == pytest.approx(2000, rel=1e-12)
        assert solid.parts == 1
    else:
        assert 0 < 2000 - solid.volume_mm3 < 0.2  # drawn apart into the bodies, not out of them
        assert solid.parts == 2
        assert "touching" in kinds(solid)
        assert min(np.linalg.norm(np.array(f.at_mm) - (10, 10, c)) for f in solid.findings
                   if f.kind == "touching" for c in (0, 10)) < 1e-9


def test_a_triangle_soup_is_welded():
    soup = BALL.triangles.reshape(-1, 3)
    solid = intake([tri_mesh(soup, np.arange(len(soup)).reshape(-1, 3))])
    assert solid.volume_mm3 == pytest.approx(BALL.volume, rel=1e-12)
    assert solid.shells == 1


def test_a_soup_with_rounding_gaps_is_welded_and_reported():
    rng = np.random.default_rng(3)
    soup = BALL.triangles.reshape(-1, 3) + rng.uniform(-1e-6, 1e-6, (len(BALL.faces) * 3, 3))
    solid = intake([tri_mesh(soup, np.arange(len(soup)).reshape(-1, 3))])
    assert solid.volume_mm3 == pytest.approx(BALL.volume, rel=1e-5)
    assert kinds(solid) == ["near_vertices"]


def test_far_from_the_origin_nothing_is_lost():
    far = np.array([1e5, -2e5, 3e5])
    other = box((5, 5, 5), (15, 15, 15))
    solid = intake([as_mesh(BLOCK).moved(far), as_mesh(other).moved(far)])
    assert solid.volume_mm3 == pytest.approx(2000 - 125, rel=1e-9)


def test_a_shell_without_volume_is_left_out():
    sheet = tri_mesh(
        np.vstack([BLOCK.vertices, [[20, 0, 0], [21, 0, 0], [20, 1, 0]]]),
        np.vstack([BLOCK.faces, [[8, 9, 10], [8, 10, 9]]]),
    )
    solid = intake([sheet])
    assert solid.volume_mm3 == pytest.approx(1000, rel=1e-12)
    assert kinds(solid) == ["zero_thickness"]


def test_a_needle_that_holds_a_part_of_the_figure_is_not_left_out():
    """However thin it is for its length: 0.02 mm3 a kilometre long, next to a block of 1 mm3."""
    needle = box((5, 0, 0), (5 + 1e6, 1e-4, 2e-4))
    solid = intake([as_mesh(together(box((0, 0, 0), (1, 1, 1)), needle))])
    assert solid.volume_mm3 == pytest.approx(1.02, rel=1e-6)
    assert "zero_thickness" not in kinds(solid)


def both_sides(body: trimesh.Trimesh) -> np.ndarray:
    return np.vstack([body.faces, body.faces[:, ::-1]])


def test_a_body_of_two_sided_faces_is_refused():
    """As game models have them; paired round their edges they would bound what is not there."""
    with pytest.raises(MeshError, match="back to back") as caught:
        intake([tri_mesh(BALL.vertices, both_sides(BALL))])
    assert caught.value.kind == "zero_thickness"


def test_two_sided_sheets_on_a_body_add_nothing():
    """A fin that hangs on the block by an edge of it, and a wall right through another body."""
    fin = [[0, 0, 10], [10, 0, 10], [0, 0, 20]]
    at = [int(np.argmin(np.linalg.norm(BLOCK.vertices - p, axis=1))) for p in fin[:2]]
    sheet = [*at, len(BLOCK.vertices)]
    solid = intake([
        tri_mesh(np.vstack([BLOCK.vertices, fin[2:]]), [*BLOCK.faces, sheet, sheet[::-1]])
    ])
    assert solid.volume_mm3 == pytest.approx(1000, rel=1e-12)
    assert kinds(solid) == ["zero_thickness"]
    assert solid.parts == 1


@pytest.mark.parametrize(("scale", "told"), [(1e-3, True), (1, False), (1e3, True)])
def test_an_unlikely_size_is_noted(scale, told):
    solid = intake([tri_mesh(BLOCK.vertices * scale, BLOCK.faces)])
    assert ("unit_suspected" in kinds(solid)) == told


class TestRefusals:
    """Each refusal names its kind, the place and what to do."""

    def refused(self, *meshes) -> MeshError:
        with pytest.raises(MeshError) as caught:
            intake(list(meshes))
        assert caught.value.hint
        return caught.value

    def test_no_mesh(self):
        assert self.refused().kind == "empty"

    def test_open_mesh(self):
        error = self.refused(tri_mesh(BALL.vertices, BALL.faces[8:]))
        assert error.kind == "open_boundary"
        assert "hole" in str(error)
        rim = BALL.vertices[BALL.faces[:8]].reshape(-1, 3)
        assert (np.array(error.at_mm) > rim.min(axis=0) - 1).all()
        assert (np.array(error.at_mm) < rim.max(axis=0) + 1).all()

    def test_holes_are_counted(self):
        middle = BALL.triangles_center[:, 2]
        faces = np.delete(np.array(BALL.faces), [np.argmax(middle), np.argmin(middle)], axis=0)
        assert "2 holes with 6 open edges" in str(self.refused(tri_mesh(BALL.vertices, faces)))

    def test_folded_single_shell(self):
        error = self.refused(figure_eight())
        assert error.kind == "self_overlap"
        assert np.linalg.norm(error.at_mm) < 6  # the crossing is at the origin

    def test_figure_eight_inside_out(self):
        mesh = figure_eight()
        assert self.refused(tri_mesh(mesh.vertices, mesh.faces[:, ::-1])).kind == "self_overlap"

    def test_one_lobe_inside_out(self):
        """A prism over a bow tie: one lobe is wound the right way, the smaller one is not."""
        outline = np.array([[0, 0], [10, 0], [4, 6], [7, 6]], dtype=float)
        vertices = np.vstack([np.c_[outline, np.zeros(4)], np.c_[outline, np.full(4, 5.0)]])
        sides = [f for i in range(4) for j in [(i + 1) % 4]
                 for f in ([i, j, j + 4], [i, j + 4, i + 4])]
        faces = [[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], *sides]
        error = self.refused(tri_mesh(vertices, faces))
        assert error.kind == "self_overlap"
        assert error.at_mm[1] > 3  # the lobe at the top

    def test_a_union_that_is_not_what_the_lines_say(self, monkeypatch):
        """The cross-check does not trust the union: here it loses a body."""
        monkeypatch.setattr(boolean, "union", lambda meshes, name: meshes[0])
        error = self.refused(as_mesh(BLOCK), as_mesh(box((20, 0, 0), (22, 2, 20))))
        assert error.kind == "union_mismatch"

    def test_flat_mesh(self):
        flat = tri_mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2], [0, 2, 1]])
        assert self.refused(flat).kind == "zero_thickness"

    def test_an_inner_wall_that_belongs_to_no_side(self):
        """A box cut by a wall from edge to edge: three faces meet along two of its edges."""
        corners = np.array(BLOCK.vertices)
        wall_points = [(0, 0, 0), (10, 0, 0), (10, 10, 10), (0, 10, 10)]
        a, b, c, d = (int(np.argmin(((corners - p) ** 2).sum(1))) for p in wall_points)
        faces = np.vstack([BLOCK.faces, [[a, b, c], [a, c, d]]])
        assert self.refused(tri_mesh(corners, faces)).kind in (
            "open_boundary", "non_manifold_edge"
        )

    def test_one_wild_vertex_does_not_make_all_else_near(self):
        """The welding tolerance must not grow with it until holes are drawn shut."""
        vertices = np.array(BALL.triangles.reshape(-1, 3))
        vertices[0] = 9e7
        soup = tri_mesh(vertices, np.arange(len(vertices)).reshape(-1, 3))
        assert self.refused(soup).kind == "open_boundary"

    def test_one_sided_strip(self):
        """A closed surface with one side only: Boy-like triangulation of the projective plane."""
        faces = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5), (0, 5, 1),
                 (1, 2, 4), (2, 3, 5), (3, 4, 1), (4, 5, 2), (5, 1, 3)]
        points = np.random.default_rng(2).normal(size=(6, 3))
        assert self.refused(tri_mesh(points, faces)).kind == "one_sided"

    @pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
    def test_not_finite(self, value):
        vertices = np.array(BLOCK.vertices)
        vertices[3, 1] = value
        with pytest.raises(MeshError) as caught:
            tri_mesh(vertices, BLOCK.faces)
        assert caught.value.kind == "not_finite"

    @pytest.mark.parametrize(
        ("vertices", "faces"),
        [([[0, 0]], [[0, 0, 0]]), ([[0, 0, 0]], [[0, 0, 5]]), ([[0, 0, 0]], [[-1, 0, 0]]),
         (np.empty((0, 3)), np.empty((0, 3))), ("abc", [[0, 1, 2]])],
    )
    def test_no_mesh_at_all(self, vertices, faces):
        with pytest.raises(MeshError):
            tri_mesh(vertices, faces)


corner = st.tuples(*(st.floats(-5, 5),) * 3)
size = st.tuples(*(st.floats(0.5, 6),) * 3)


@settings(max_examples=60, deadline=None)
@given(corner, size, corner, size)
def test_union_by_inclusion_and_exclusion(low_a, size_a, low_b, size_b):
    """|A u B| = |A| + |B| - |A n B|, the intersection of two boxes by hand."""
    high_a, high_b = np.add(low_a, size_a), np.add(low_b, size_b)
    shared = np.clip(np.minimum(high_a, high_b) - np.maximum(low_a, low_b), 0, None).prod()
    solid = intake([as_mesh(box(low_a, high_a)), as_mesh(box(low_b, high_b))])
    expected = np.prod(size_a) + np.prod(size_b) - shared
    # Boxes that happen to touch along an edge are drawn apart by a hair.
    rel = 1e-3 if "touching" in kinds(solid) else 1e-9
    assert solid.volume_mm3 == pytest.approx(expected, rel=rel)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 1000), st.floats(0.1, 50))
def test_rigid_motion_keeps_volume_and_scale_cubes_it(seed, scale):
    rng = np.random.default_rng(seed)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    mesh = together(BALL, box((2, 2, 2), (9, 9, 9)))
    plain = intake([as_mesh(mesh)]).volume_mm3
    moved = tri_mesh(mesh.vertices @ turn.T * scale + rng.normal(size=3), mesh.faces)
    assert intake([moved]).volume_mm3 == pytest.approx(plain * scale**3, rel=1e-7)


def test_without_the_union_two_shells_would_count_double():
    """The reason for all this: a sum of signed volumes is silently wrong."""
    mesh = as_mesh(together(BLOCK, box((5, 0, 0), (15, 10, 10))))
    assert mesh.volume_mm3 == pytest.approx(2000)
    assert boolean.to_manifold(mesh).volume() == pytest.approx(2000)
    assert intake([mesh]).volume_mm3 == pytest.approx(1500)
