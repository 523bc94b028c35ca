"""Protect weights: from meshes and files to a field that can be asked anywhere."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from shapes import as_mesh, box

from pourwright.errors import InputError, MeshError
from pourwright.solid import TriMesh, intake, read_models, tri_mesh
from pourwright.solid.frames import rotated
from pourwright.solid.mesh import concatenate
from pourwright.solid.protect import Protection, merged, painted
from pourwright.solid.read_protect import check_reaches, read_protection

BALL = trimesh.creation.icosphere(subdivisions=3, radius=5)
BRICK = box((0, 0, 0), (20, 10, 10))
QUARTER = np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])


def weights_by_height(body: trimesh.Trimesh) -> np.ndarray:
    """0 at the lowest vertex, 1 at the highest."""
    z = body.vertices[:, 2]
    return (z - z.min()) / np.ptp(z)


def ply(
    body: trimesh.Trimesh, kind: str, values, *, text=False, before: str = "", name="protect"
) -> bytes:
    """A PLY written here, line by line, with one more property (and texture coordinates)."""
    seam = before.split()
    head = ["ply", f"format {'ascii' if text else 'binary_little_endian'} 1.0"]
    head += [f"element vertex {len(body.vertices)}"]
    head += [f"property float {axis}" for axis in ["x", "y", "z", *seam]]
    head += [f"property {kind} {name}", f"element face {len(body.faces)}"]
    head += ["property list uchar int vertex_indices", "end_header", ""]
    data = "\n".join(head).encode()
    more = np.random.default_rng(3).random((len(body.vertices), len(seam)))
    rows = np.hstack([body.vertices, more])
    if text:
        lines = [" ".join(f"{c:.9g}" for c in [*r, v]) for r, v in zip(rows, values, strict=True)]
        lines += [f"3 {a} {b} {c}" for a, b, c in body.faces]
        return data + ("\n".join(lines) + "\n").encode()
    number = {"float": "<f4", "double": "<f8", "uchar": "u1", "int": "<i4"}[kind]
    vertex = np.zeros(len(rows), [("at", "<f4", rows.shape[1]), ("more", number)])
    vertex["at"], vertex["more"] = rows, values
    face = np.zeros(len(body.faces), [("n", "u1"), ("i", "<i4", 3)])
    face["n"], face["i"] = 3, body.faces
    return data + vertex.tobytes() + face.tobytes()


class TestOnMeshes:
    def test_weights_are_kept(self):
        given = weights_by_height(BALL)
        mesh = tri_mesh(BALL.vertices, BALL.faces, "ball", given.astype(np.float32))
        np.testing.assert_allclose(mesh.protect, given, atol=1e-7)
        assert mesh.protect.dtype == np.float64
        for changed in (mesh.moved(np.array([1.0, 2, 3])), rotated(mesh, QUARTER)):
            assert changed.protect is mesh.protect
            assert (changed.name, changed.faces is mesh.faces) == ("ball", True)
            assert not np.array_equal(changed.vertices, mesh.vertices)

    def test_meshes_have_none_unless_given(self):
        assert as_mesh(BALL).protect is None
        assert concatenate([as_mesh(BALL), as_mesh(BRICK)]).protect is None

    def test_side_by_side_the_others_are_free(self):
        painted_ball = tri_mesh(BALL.vertices, BALL.faces, "ball", np.ones(len(BALL.vertices)))
        both = concatenate([as_mesh(BRICK), painted_ball])
        np.testing.assert_array_equal(both.protect, [0.0] * 8 + [1.0] * len(BALL.vertices))

    def test_rounding_is_cut_off(self):
        mesh = tri_mesh(BRICK.vertices, BRICK.faces, "b", [-1e-9, 1 + 1e-7, 0, 0, 0, 0, 0, 0.5])
        assert mesh.protect.tolist() == [0, 1, 0, 0, 0, 0, 0, 0.5]

    @pytest.mark.parametrize(
        ("weights", "named"),
        [
            ([0.5] * 7, r"8 vertices, but protect weights of shape \(7,\)"),
            ([[0.5]] * 8, "shape"),
            (0.5, "shape"),
            ([0] * 7 + [1.01], "weight 1.01 of vertex 7 "),
            ([0, -0.01] + [1] * 6, "weight -0.01 of vertex 1 "),
            ([0, 0, float("nan")] + [1] * 5, "weight nan of vertex 2 "),
            ([float("inf")] * 8, "weight inf of vertex 0 "),
            (["a"] * 8, "no numbers"),
        ],
    )
    def test_bad_weights_are_refused_by_name(self, weights, named):
        with pytest.raises(MeshError, match=named) as caught:
            tri_mesh(BRICK.vertices, BRICK.faces, "hat", weights)
        assert caught.value.kind == "protect"
        assert "'hat'" in str(caught.value)


class TestPly:
    @pytest.mark.parametrize("text", [False, True])
    @pytest.mark.parametrize("kind", ["float", "double"])
    @pytest.mark.parametrize("before", ["", "nx ny nz", "s t"])
    def test_numbers(self, tmp_path, text, kind, before):
        weights = weights_by_height(BALL)
        path = tmp_path / "ball.ply"
        path.write_bytes(ply(BALL, kind, weights, text=text, before=before))
        (mesh,), _ = read_models([path], "in")
        np.testing.assert_allclose(mesh.vertices, BALL.vertices * 25.4, atol=1e-4)
        np.testing.assert_allclose(mesh.protect, weights, atol=1e-6)

    def test_seams_of_a_texture(self, tmp_path):
        """Corners with texture coordinates of their own part no vertex from its weight."""
        lines = ply(BRICK, "float", weights_by_height(BRICK), text=True).decode().splitlines()
        at = lines.index("end_header")
        corners = np.random.default_rng(5).random((len(BRICK.faces), 6))
        for i, row in enumerate(corners, start=at + 1 + len(BRICK.vertices)):
            lines[i] += " 6 " + " ".join(f"{c:.4f}" for c in row)
        lines.insert(at, "property list uchar float texcoord")
        path = tmp_path / "brick.ply"
        path.write_text("\n".join(lines) + "\n")
        (mesh,), _ = read_models([path], "mm")
        np.testing.assert_array_equal(mesh.vertices, BRICK.vertices)
        np.testing.assert_array_equal(mesh.protect, weights_by_height(BRICK))

    @pytest.mark.parametrize("text", [False, True])
    def test_bytes_count_to_255(self, tmp_path, text):
        path = tmp_path / "brick.ply"
        path.write_bytes(ply(BRICK, "uchar", [0, 255, 51, 1, 0, 0, 0, 0], text=text))
        (mesh,), _ = read_models([path], "mm")
        np.testing.assert_allclose(mesh.protect, [0, 1, 0.2, 1 / 255, 0, 0, 0, 0])

    def test_other_integers_are_0_or_1(self, tmp_path):
        path = tmp_path / "brick.ply"
        path.write_bytes(ply(BRICK, "int", [0, 1, 0, 0, 1, 0, 0, 0]))
        assert read_models([path])[0][0].protect.tolist() == [0, 1, 0, 0, 1, 0, 0, 0]

    @pytest.mark.parametrize("suffix", ["ply", "stl", "obj", "glb", "3mf"])
    def test_files_without_weights(self, tmp_path, suffix):
        path = tmp_path / f"ball.{suffix}"
        data = BALL.export(file_type=suffix)
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        assert read_models([path])[0][0].protect is None

    def test_other_properties_are_no_weights(self, tmp_path):
        path = tmp_path / "ball.ply"
        path.write_bytes(ply(BALL, "float", weights_by_height(BALL), name="quality"))
        assert read_models([path])[0][0].protect is None

    @pytest.mark.parametrize("bad", [1.5, -1.0, float("nan")])
    def test_weights_out_of_range(self, tmp_path, bad):
        path = tmp_path / "brick.ply"
        path.write_bytes(ply(BRICK, "float", [bad] * 8))
        with pytest.raises(MeshError, match=r"brick\.ply.*protect weight"):
            read_models([path])

    def test_a_list_is_refused(self, tmp_path):
        lines = ply(BRICK, "list uchar float", [1] * 8, text=True).decode().splitlines()
        first = lines.index("end_header") + 1
        for i in range(first, first + 8):
            lines[i] += " 0.5"  # now a list of one
        path = tmp_path / "brick.ply"
        path.write_text("\n".join(lines))
        with pytest.raises(MeshError, match=r"brick\.ply: the property 'protect' is a list"):
            read_models([path])

    def test_lines_that_are_too_short(self, tmp_path):
        lines = ply(BRICK, "float", [1] * 8, text=True).decode().splitlines()
        first = lines.index("end_header") + 1
        lines[first : first + 8] = [" ".join(s.split()[:3]) for s in lines[first : first + 8]]
        path = tmp_path / "brick.ply"
        path.write_text("\n".join(lines))
        with pytest.raises(MeshError, match=r"brick\.ply: the property 'protect' cannot be read"):
            read_models([path])


class TestPainted:
    def test_nothing_painted(self):
        free = tri_mesh(BALL.vertices, BALL.faces, "free", np.zeros(len(BALL.vertices)))
        assert painted([as_mesh(BALL), free]) is None
        assert painted([]) is None

    def test_free_vertices_beside_painted_ones_stay_free(self):
        weights = weights_by_height(BALL)
        found = painted([tri_mesh(BALL.vertices, BALL.faces, "ball", weights)])
        np.testing.assert_allclose(found.at(BALL.vertices), weights, atol=1e-12)

    def test_large_triangles_are_protected_in_their_middle(self):
        """A brick has corners only; its faces are further from them than a point speaks."""
        top = (BRICK.vertices[:, 2] > 5).astype(float)
        found = painted([tri_mesh(BRICK.vertices, BRICK.faces, "brick", top)])
        x, y = np.random.default_rng(1).uniform((0, 0), (20, 10), (500, 2)).T
        assert (found.at(np.c_[x, y, np.full(500, 10.0)]) > 0.99).all()
        assert (found.at(np.c_[x, y, np.zeros(500)]) == 0).all()
        side = np.c_[x, np.zeros(500), y]  # painted above, free below, and a way between
        np.testing.assert_allclose(found.at(side), side[:, 2] / 10, atol=0.11)
        assert (found.at(np.c_[x, y, np.full(500, 5.0)][(x > 2) & (x < 18) & (abs(y - 5) < 3)])
                == 0).all()  # fmt: skip

    def test_a_needle_does_not_ask_for_thousands_of_points(self):
        needle = tri_mesh([[0, 0, 0], [500, 0, 0], [250, 0.01, 0]], [[0, 1, 2]], "n", [1, 1, 1])
        found = painted([needle])
        assert len(found.weights) < 510
        x = np.linspace(0, 500, 999)
        assert (found.at(np.c_[x, 0 * x, 0 * x]) == 1).all()

    def test_huge_surfaces_are_sampled_less(self):
        sheet = tri_mesh([[0, 0, 0], [2000, 0, 0], [0, 2000, 0]], [[0, 1, 2]], "s", [1, 1, 1])
        assert 300_000 < len(painted([sheet]).weights) < 600_000

    def test_vertices_of_no_triangle_say_nothing(self):
        vertices = np.vstack([BRICK.vertices, [[np.nan] * 3, [50, 50, 50]]])
        found = painted([tri_mesh(vertices, BRICK.faces, "brick", np.ones(10))])
        assert np.isfinite(found.points_mm).all()
        assert found.points_mm.max() == pytest.approx(20)
        assert found.weights.max() == 1

    def test_intake_hands_it_on(self):
        weights = weights_by_height(BALL)
        ball = tri_mesh(BALL.vertices, BALL.faces, "ball", weights)
        solid = intake([ball, as_mesh(box((4, -1, -1), (9, 1, 1)))])
        np.testing.assert_allclose(solid.protection.at(BALL.vertices), weights, atol=1e-12)
        assert solid.protection.at(np.array([[8.9, 0, 0]])) == 0
        assert intake([as_mesh(BALL)]).protection is None

    def test_intake_refuses_bad_weights(self):
        with pytest.raises(MeshError, match="protect weight"):
            intake([TriMesh(BALL.vertices, BALL.faces, "b", np.full(len(BALL.vertices), 9.0))])


POINTS = st.lists(
    st.tuples(*[st.floats(-4, 4)] * 3, st.floats(0, 1)), min_size=1, max_size=8
).map(np.array)


class TestMerged:
    @given(POINTS, POINTS)
    def test_both_speak_at_their_points(self, a, b):
        one, other = Protection(a[:, :3], a[:, 3]), Protection(b[:, :3], b[:, 3])
        both = merged(one, other)
        np.testing.assert_array_equal(both.points_mm, np.vstack([a, b])[:, :3])
        np.testing.assert_array_equal(
            both.weights[: len(a)], np.maximum(a[:, 3], other.at(one.points_mm))
        )
        np.testing.assert_array_equal(
            both.weights[len(a) :], np.maximum(b[:, 3], one.at(other.points_mm))
        )

    def test_a_point_between_free_vertices_reaches_as_far_as_alone(self):
        x = np.linspace(0, 10, 41)
        free = Protection(np.c_[x, 0 * x, 0 * x], np.where(x > 9, 0.5, 0.0))
        both = merged(free, Protection(np.array([[5.1, 0, 0]]), np.array([1.0])))
        asked = np.array([[3.8, 0, 0], [5.0, 0, 0], [6.3, 0, 0], [2, 0, 0], [9.5, 0, 0]])
        assert both.at(asked).tolist() == [1, 1, 1, 0, 0.5]

    def test_one_alone_is_itself(self):
        only = Protection(np.zeros((1, 3)), np.ones(1))
        assert merged(None, only) is only
        assert merged(only, None) is only
        assert merged(None, None) is None


class TestFile:
    @pytest.mark.parametrize(
        "text",
        [
            "1,2,3,0.5\n4,5,6\n7,8,9,0\n",
            "# face\n\n1 2 3 0.5  # nose\n\t4  5\t6\n7 8 9 0",
            "\ufeffx,y,z,weight\r\n1, 2, 3, .5\r\n4, 5, 6, 1e0\r\n7, 8, 9, 0\r\n",
            '"X","Y","Z"\n1,2,3,0.5\n4,5,6\n7,8,9,0\n',
        ],
    )
    @pytest.mark.parametrize(("unit", "scale"), [(None, 1), ("mm", 1), ("cm", 10), ("in", 25.4)])
    def test_lines_of_points(self, tmp_path, text, unit, scale):
        path = tmp_path / "face.csv"
        path.write_bytes(text.encode())
        found = read_protection(path, unit)
        np.testing.assert_allclose(
            found.points_mm, np.array([[1, 2, 3], [4, 5, 6], [7, 8, 9]]) * scale
        )
        assert found.weights.tolist() == [0.5, 1, 0]

    @pytest.mark.parametrize(
        ("text", "named"),
        [
            ("", "has no points"),
            ("# nothing\n\n", "has no points"),
            ("x,y,z\n", "has no points"),
            ("1,2\n", "line 1: '1,2'; give x,y,z,weight"),
            ("1,2,3,0.5,6\n", "line 1"),
            ("1,2,3\n1,,2,3\n", "line 2"),
            ("1,2,3\nx,y,z\n", "line 2: 'x,y,z'"),
            ("1;2;3\n", "line 1"),
            ("1,2,3\n\n1,2,nan\n", "line 3"),
            ("inf,2,3\n", "line 1"),
            ("1e300,2,3\n", "line 1"),
            ("1,2,3,1.5\n", "line 1: the weight is 1.5"),
            ("1,2,3,-0.1\n", "the weight is -0.1"),
            ("1,2,3,50%\n", "line 1"),
            ("1,2,3,0\n4,5,6,0\n", "protects nothing"),
            ("word " * 1000, "line 1"),
        ],
    )
    def test_bad_lines_are_named(self, tmp_path, text, named):
        path = tmp_path / "face.txt"
        path.write_text(text)
        with pytest.raises(InputError) as caught:
            read_protection(path)
        assert named in str(caught.value)
        assert str(path) in str(caught.value)
        assert len(str(caught.value)) < len(str(path)) + 200

    def test_a_painted_ply(self, tmp_path):
        path = tmp_path / "figure.ply"
        path.write_bytes(ply(BALL, "float", weights_by_height(BALL)))
        found = read_protection(path, "mm")
        np.testing.assert_allclose(found.at(BALL.vertices), weights_by_height(BALL), atol=1e-6)

    @pytest.mark.parametrize("suffix", ["stl", "ply", "obj"])
    def test_a_piece_cut_off(self, tmp_path, suffix):
        """Open, flat and coarse, as a piece of a figure may be."""
        top = trimesh.Trimesh([[0, 0, 10], [20, 0, 10], [20, 10, 10]], [[0, 1, 2]], process=False)
        data = top.export(file_type=suffix)
        path = tmp_path / f"top.{suffix}"
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        found = read_protection(path, "cm")
        assert found.at(np.array([[200.0, 50, 100], [150, 30, 100], [20, 90, 100]])).tolist() == [
            1, 1, 0
        ]  # fmt: skip

    def test_a_ply_that_protects_nothing(self, tmp_path):
        path = tmp_path / "figure.ply"
        path.write_bytes(ply(BALL, "uchar", [0] * len(BALL.vertices)))
        with pytest.raises(InputError, match="protects nothing"):
            read_protection(path)

    @pytest.mark.parametrize("name", ["none.csv", "none.ply", "", "n" * 300, "nul\0.csv"])
    def test_no_such_file(self, tmp_path, name):
        with pytest.raises(InputError):
            read_protection(tmp_path / name)

    def test_no_text(self, tmp_path):
        path = tmp_path / "picture.png"
        path.write_bytes(b"\x89PNG\r\n\x1a\n")
        with pytest.raises(InputError, match="neither a model nor a text"):
            read_protection(path)

    @pytest.mark.parametrize("name", ["face.txt", "face.stl"])
    def test_unknown_unit(self, tmp_path, name):
        path = tmp_path / name
        path.write_text("1,2,3\n")
        with pytest.raises(InputError, match="furlong"):
            read_protection(path, "furlong")

    def test_wrong_unit_is_noticed(self):
        brick, path = as_mesh(BRICK), Path("face.csv")
        near = Protection(np.array([[10.0, 5, 11.4], [900, 0, 0]]), np.array([1.0, 1.0]))
        check_reaches(near, brick, path)
        for far in (near.points_mm + [0, 0, 0.2], near.points_mm * 0 + [21.6, 5, 5]):
            with pytest.raises(InputError, match=r"face\.csv protects nothing of the figure"):
                check_reaches(dataclasses.replace(near, points_mm=far), brick, path)
        unweighted = dataclasses.replace(near, weights=np.array([0.0, 1.0]))
        with pytest.raises(InputError, match="880 mm away"):
            check_reaches(unweighted, brick, path)
