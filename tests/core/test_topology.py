"""Pairing faces round crowded edges, parting contacts, winding, welding."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from reference import parts_above, tree_parts_above
from shapes import box, together, turned_in

from pourwright.air import find_pockets, prepare, top_plane_vertices
from pourwright.solid import TriMesh, boolean, intake, topology, tri_mesh, weld
from pourwright.solid.contacts import GAP_MM, open_contacts
from pourwright.solid.mesh import concatenate


def welded(*bodies: trimesh.Trimesh) -> tuple[np.ndarray, np.ndarray]:
    mesh = together(*bodies)
    return weld.weld_exact(np.array(mesh.vertices, dtype=float), np.array(mesh.faces))


def shells(*bodies: trimesh.Trimesh) -> int:
    vertices, faces = welded(*bodies)
    twin = topology.twins(vertices, faces)
    assert (twin != topology.NONE).all()
    return topology.face_components(twin)[0]


CUBE = box((0, 0, 0), (1, 1, 1))


@pytest.mark.parametrize(
    "shift", [(1, 1, 0), (1, 1, 1), (1, 0, 0), (0, 0, 1)], ids=["edge", "corner", "face", "on top"]
)
def test_cubes_that_touch_stay_two(shift):
    """Even where they share a whole face: coincident walls part two bodies."""
    assert shells(CUBE, box(shift, np.add(shift, 1))) == 2


def test_hollows_that_touch_along_an_edge_share_one_wall():
    """Seen from the inside of the solid the two hollows' walls bound common wedges."""
    block = box((-5, -5, -5), (7, 7, 7))
    apart = shells(block, turned_in(CUBE), turned_in(box((3, 3, 0), (4, 4, 1))))
    touching = shells(block, turned_in(CUBE), turned_in(box((1, 1, 0), (2, 2, 1))))
    assert apart == 3
    assert touching == 2


def test_four_cubes_round_one_edge():
    around = [box((x, y, 0), (x + 1, y + 1, 1)) for x, y in ((0, 0), (-1, -1))]
    assert shells(*around) == 2
    assert shells(*around, box((0, -1, 0), (1, 0, 1)), box((-1, 0, 0), (0, 1, 1))) == 4


@pytest.mark.parametrize("shift", [(1, 1, 0), (1, 1, 1)])
def test_unweld_gives_each_fan_its_own_vertex(shift):
    vertices, faces = welded(CUBE, box(shift, np.add(shift, 1)))
    parted, new_faces, old = topology.unweld(vertices, faces, topology.twins(vertices, faces))
    assert len(parted) == 16
    np.testing.assert_array_equal(parted, vertices[old])
    np.testing.assert_array_equal(parted[new_faces], vertices[faces])


def test_unweld_leaves_a_plain_mesh_alone():
    vertices, faces = welded(CUBE)
    assert topology.unweld(vertices, faces, topology.twins(vertices, faces))[0] is vertices


def test_open_edges_have_no_twin():
    vertices, faces = welded(CUBE)
    assert (topology.twins(vertices, faces[1:]) == topology.NONE).sum() == 3


def test_winding_is_made_to_agree_or_given_up():
    vertices, faces = welded(trimesh.creation.icosphere(subdivisions=2))
    mixed = faces.copy()
    mixed[5:30] = mixed[5:30, ::-1]
    turned, which = topology.consistent_winding(mixed, len(vertices))
    np.testing.assert_array_equal(turned, faces)
    np.testing.assert_array_equal(np.flatnonzero(which), np.arange(5, 30))
    assert topology.consistent_winding(faces[1:], len(vertices)) is None


def test_slivers_lie_in_the_face_across_their_longest_edge():
    """A vertex on a straight edge: the triangle that closes the gap has no area, and the normals
    at its corners must be those of the same box without it."""
    plain = np.array([[0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0],
                      [0, 0, 2], [2, 0, 2], [2, 2, 2], [0, 2, 2]], dtype=float)
    faces = [[0, 3, 2], [0, 2, 1], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4],
             [1, 2, 6], [1, 6, 5], [3, 7, 6], [3, 6, 2], [0, 4, 7], [0, 7, 3]]
    # Vertex 8 in the middle of edge 4-5: the front face is split there, the top one is not.
    vertices = np.vstack([plain, [1, 0, 2]])
    split = [f for f in faces if f != [0, 5, 4]]
    split += [[0, 8, 4], [0, 5, 8], [4, 8, 5]]
    surface = prepare(TriMesh(vertices, np.array(split)))
    middle = int(np.argmin(((surface.vertices + surface.centre_mm - vertices[8]) ** 2).sum(1)))
    np.testing.assert_allclose(surface.normals[middle], np.pi * np.array([0, -1, 1]), atol=1e-12)


def test_weld_joins_equal_positions_only_and_drops_unused_ones():
    points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [-0.0, 0, 0], [9, 9, 9], [1e-12, 0, 0]])
    vertices, faces = weld.weld_exact(points, np.array([[0, 1, 2], [3, 2, 1], [5, 1, 2]]))
    assert len(vertices) == 4
    assert faces[0, 0] == faces[1, 0] != faces[2, 0]


def test_repeats_are_dropped_and_the_other_side_is_not():
    faces = np.array([[0, 1, 2], [1, 2, 0], [2, 1, 0], [0, 1, 3]])
    assert len(weld.drop_repeated(faces)) == 3


def _wedge(start_deg: float, end_deg: float) -> TriMesh:
    turns = np.radians([start_deg, end_deg])
    rim = 9.0 * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    points = [[0.0, 0.0, z] for z in (0, 7)]
    points += [[x, y, z] for x, y in rim for z in (0, 7)]
    hull = trimesh.convex.convex_hull(np.array(points))
    return tri_mesh(hull.vertices, hull.faces)


@pytest.mark.parametrize(
    "turns_deg",
    [
        # As a union of float32 models leaves them: 0.001 degrees overlap.
        [(-89.4477, 0.0), (-179.42, -89.4463)],
        # All round the edge is inside: the blades where two overlap are no bodies.
        [(0.0, 91.0), (90.0, 181.0), (180.0, 271.0), (270.0, 361.0)],
    ],
    ids=["by a hair", "all round"],
)
def test_wedges_that_overlap_on_one_edge_stay_apart(turns_deg):
    opened, places = open_contacts(concatenate([_wedge(*turn) for turn in turns_deg]))
    assert len(places) == 2
    surface = prepare(opened)
    faces = np.ascontiguousarray(surface.faces)
    count, _ = topology.face_components(topology.twins(surface.vertices, faces))
    assert count == len(turns_deg)


def test_contacts_of_loose_triangles_are_opened_too():
    """Such a mesh has no pairs of its own that could be kept."""
    both = concatenate([_wedge(0, 30), _wedge(40, 70)])
    corners = both.vertices[both.faces].reshape(-1, 3)
    loose = TriMesh(corners, np.arange(len(corners)).reshape(-1, 3))
    opened, places = open_contacts(loose)
    assert sorted(places) == [(0, 0, 0), (0, 0, 7)]
    assert len(boolean.pieces(opened)) == 2


def _standing(lean_mm: float, tops_mm: tuple[float, float]) -> list[TriMesh]:
    """A slab, a block on it, and a wedge on it that touches the block's wall y = 0 by an edge."""
    low, high = tops_mm
    block = [[-3, 0, -3], [3, 0, -3], [-3, 0, low], [3, 0, high], [-3, 4, -3], [3, 4, -3]]
    wedge = [[0, 0, -3], [lean_mm, 0, 2]]
    wedge += [[x + lean_mm * (z > 0), -2, z] for x in (-1, 2) for z in (-3, 2)]
    corners = {
        "slab": [[x, y, z] for x in (-5, 5) for y in (-5, 5) for z in (-6, -3)],
        "block": [*block, [-3, 4, 0], [3, 4, 0]],
        "wedge": wedge,
    }
    hulls = {k: trimesh.convex.convex_hull(np.array(v, dtype=float)) for k, v in corners.items()}
    return [tri_mesh(hull.vertices, hull.faces, name) for name, hull in hulls.items()]


@pytest.mark.parametrize("lean_mm", [0.0, -1.0, 0.5])
@pytest.mark.parametrize("tops_mm", [(0.6, 0.3), (-0.3, -0.6), (-0.3, 0.6)])
def test_bodies_that_touch_in_a_line_hold_air_of_their_own(lean_mm, tops_mm):
    """The block lies in y >= 0 and the wedge in y <= 0: above the slab nothing joins the two.

    The union makes one vertex of the place where the wedge's edge leaves the block's wall, and
    two of the place where both meet the slab.
    """
    bodies = _standing(lean_mm, tops_mm)
    solid = intake(bodies)
    up = np.array([0.0, 0.0, 1.0])
    surface = prepare(solid.mesh)
    report = find_pockets(surface, up, top_plane_vertices(surface, up, 1e-6))
    want = [(b.volume_mm3, float(b.vertices[:, 2].max())) for b in bodies[1:]]
    shrunk = 3 * GAP_MM
    (pocket,) = report.pockets
    assert pocket.volume_mm3 == pytest.approx(want[0][0], rel=shrunk)
    assert pocket.peak_height_mm == pytest.approx(want[0][1], abs=shrunk)
    assert pocket.saddle_height_mm == pytest.approx(-3.0, abs=shrunk)
    for level in (-2.9, -1.0):
        got = sorted(tree_parts_above(report, level))
        cut = sorted(parts_above(boolean.to_manifold(solid.mesh), up, level))
        np.testing.assert_allclose(got, cut, rtol=1e-9)
        assert len(got) == 2
