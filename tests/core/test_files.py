from __future__ import annotations

import io
import json
import os
import zipfile
from pathlib import Path

import lib3mf
import numpy as np
import pytest
import trimesh

from pourwright.errors import GeometryError, OutputError
from pourwright.files.plan_files import PLAN_FILE_NAMES, plan_targets, write_plan
from pourwright.files.plan_json import PART_KINDS, air_to_dict, plan_to_dict, to_json
from pourwright.files.rods_csv import rods_csv
from pourwright.files.stl import write_stl
from pourwright.files.threemf import plate_transform, write_threemf
from pourwright.plan.job import Job
from pourwright.solid.mesh import TriMesh, tri_mesh
from tests.core.example_plan import box, example_check, example_plan, lumpy, pocket

UPS = [
    (0.0, 0.0, -1.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.6, 0.0, 0.8),
    (-0.48, 0.6, -0.64), (1e-9, 0.0, 1.0), (0.0, 1e-9, -1.0), (2 / 3, 2 / 3, 1 / 3),
]  # fmt: skip


def threemf_bytes(mesh: TriMesh, up=(0.0, 0.0, -1.0), title="title", description="words"):
    stream = io.BytesIO()
    write_threemf(stream, mesh, up, title=title, description=description)
    return stream.getvalue()


class ReadBack:
    """A 3MF package as an outside reader in strict mode understands it."""

    def __init__(self, data: bytes, tmp_path: Path):
        path = tmp_path / "read_back.3mf"
        path.write_bytes(data)
        model = lib3mf.Wrapper().CreateModel()
        reader = model.QueryReader("3mf")
        reader.SetStrictModeActive(True)
        reader.ReadFromFile(str(path))
        self.warnings = reader.GetWarningCount()
        self.is_millimetre = model.GetUnit() == lib3mf.ModelUnit.MilliMeter
        items = model.GetBuildItems()
        self.items = items.Count()
        items.MoveNext()
        item = items.GetCurrent()
        mesh = model.GetMeshObjectByID(item.GetObjectResourceID())
        self.is_valid = mesh.IsManifoldAndOriented()
        self.vertices = np.array([list(p.Coordinates) for p in mesh.GetVertices()])
        self.faces = np.array([list(t.Indices) for t in mesh.GetTriangleIndices()])
        self.matrix = np.array([list(row) for row in item.GetObjectTransform().Fields])
        group = model.GetMetaDataGroup()
        entries = [group.GetMetaData(i) for i in range(group.GetMetaDataCount())]
        self.metadata = {e.GetName(): e.GetValue() for e in entries}

    @property
    def on_plate(self) -> np.ndarray:
        return self.vertices @ self.matrix[:3] + self.matrix[3]


def test_threemf_is_read_strictly_and_without_warnings(tmp_path):
    mesh = lumpy()
    read = ReadBack(threemf_bytes(mesh), tmp_path)
    assert read.warnings == 0
    assert read.is_millimetre
    assert read.is_valid
    assert read.items == 1
    assert len(read.vertices) == len(mesh.vertices)
    assert np.array_equal(read.faces, mesh.faces)
    np.testing.assert_allclose(read.vertices, mesh.vertices, atol=1e-5)  # the reader's float32
    volume = trimesh.Trimesh(read.vertices, read.faces, process=False).volume
    assert volume == pytest.approx(mesh.volume_mm3, rel=1e-6)


@pytest.mark.parametrize("up", UPS)
def test_threemf_stands_on_the_plate_with_up_turned_down(tmp_path, up):
    mesh = lumpy()
    read = ReadBack(threemf_bytes(mesh, up), tmp_path)
    rotation = read.matrix[:3]
    np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-6)
    assert np.linalg.det(rotation) == pytest.approx(1.0, abs=1e-6)
    np.testing.assert_allclose(np.array(up) @ rotation, (0, 0, -1), atol=1e-6)
    np.testing.assert_allclose(read.on_plate.min(axis=0), 0.0, atol=2e-5)
    highest_in_pour = np.argmax(mesh.vertices @ np.array(up))
    assert read.on_plate[highest_in_pour, 2] == pytest.approx(0.0, abs=2e-5)


def test_threemf_of_a_master_standing_already_is_not_turned():
    mesh = box(centre=(1.0, 2.0, 3.0))
    matrix = plate_transform(mesh.vertices, (0.0, 0.0, -1.0))
    np.testing.assert_array_equal(matrix[:3], np.eye(3))
    np.testing.assert_allclose(matrix[3], (4.0, 3.0, 2.0), atol=1e-6)


def test_threemf_keeps_nine_digits():
    mesh = lumpy()
    with zipfile.ZipFile(io.BytesIO(threemf_bytes(mesh))) as package:
        assert package.testzip() is None
        model = trimesh.util.decode_text(package.read("3D/3dmodel.model"))
    numbers = [
        [float(part.split('"')[1]) for part in line.split()[1:]]
        for line in model.splitlines()
        if line.startswith("<vertex ")
    ]
    np.testing.assert_allclose(numbers, mesh.vertices, rtol=5e-9)


def test_threemf_does_not_fold_tiny_triangles():
    """A corner cut off by 1e-9 mm, 30 mm out, needs more than nine digits."""
    mesh = box(centre=(30.0, 30.0, 30.0))
    sliver = mesh.vertices.copy()
    a, b, _ = mesh.faces[0]
    vertices = np.vstack([sliver, sliver[a] + (sliver[b] - sliver[a]) * 1e-10])
    new = len(sliver)
    faces = []
    for face in mesh.faces.tolist():
        for k in range(3):
            if {face[k], face[(k + 1) % 3]} == {int(a), int(b)}:
                p, q, r = face[k], face[(k + 1) % 3], face[(k + 2) % 3]
                faces += [[p, new, r], [new, q, r]]
                break
        else:
            faces.append(face)
    split = tri_mesh(vertices, faces)
    with zipfile.ZipFile(io.BytesIO(threemf_bytes(split))) as package:
        lines = package.read("3D/3dmodel.model").decode().splitlines()
    rows = [line for line in lines if line.startswith("<vertex ")]
    assert len(rows) == len(vertices)
    assert len(set(rows)) == len(vertices)


def test_threemf_is_the_same_every_time():
    assert threemf_bytes(lumpy()) == threemf_bytes(lumpy())


def test_threemf_metadata(tmp_path):
    title = 'A <b> & "c" \x01 \udcff \u00fc \U0001f9b7'
    read = ReadBack(threemf_bytes(box(), title=title), tmp_path)
    assert read.warnings == 0
    assert read.metadata["Title"] == 'A <b> & "c" ? ? \u00fc \U0001f9b7'
    assert read.metadata["Application"].startswith("Pourwright ")
    assert read.metadata["Description"] == "words"


def test_threemf_with_extreme_numbers(tmp_path):
    """Exponents are printed in a way that readers take."""
    mesh = box(size=(1e-4, 1e-5, 1e7))
    read = ReadBack(threemf_bytes(mesh), tmp_path)
    assert read.warnings == 0
    np.testing.assert_allclose(read.vertices, mesh.vertices, rtol=1e-6)


def open_box() -> TriMesh:
    whole = box()
    return TriMesh(whole.vertices, whole.faces[1:])


def one_face_turned() -> TriMesh:
    whole = box()
    faces = whole.faces.copy()
    faces[3] = faces[3, ::-1]
    return TriMesh(whole.vertices, faces)


def two_faces_only() -> TriMesh:
    return TriMesh(np.eye(3), np.array([[0, 1, 2], [2, 1, 0]]))


def a_face_twice() -> TriMesh:
    whole = box()
    return TriMesh(whole.vertices, np.vstack([whole.faces, whole.faces[:1]]))


def two_boxes_on_one_edge() -> TriMesh:
    """Welded, so that four triangles share the edge."""
    first, second = box(), box(centre=(10.0, 10.0, 0.0))
    vertices, number = np.unique(
        np.vstack([first.vertices, second.vertices]), axis=0, return_inverse=True
    )
    faces = np.vstack([first.faces, second.faces + len(first.vertices)])
    return TriMesh(vertices, number.reshape(-1)[faces])


@pytest.mark.parametrize(
    "bad", [open_box, one_face_turned, two_faces_only, a_face_twice, two_boxes_on_one_edge]
)
def test_threemf_refuses_what_is_no_closed_surface(bad):
    with pytest.raises(OutputError, match="not a closed surface"):
        threemf_bytes(bad())


def stl_bytes(mesh: TriMesh) -> bytes:
    stream = io.BytesIO()
    write_stl(stream, mesh)
    return stream.getvalue()


def test_stl_layout():
    mesh = lumpy()
    data = stl_bytes(mesh)
    assert len(data) == 84 + 50 * len(mesh.faces)
    assert not data[:80].lstrip().lower().startswith(b"solid")
    assert int.from_bytes(data[80:84], "little") == len(mesh.faces)


def test_stl_is_read_back():
    mesh = lumpy()
    read = trimesh.load(io.BytesIO(stl_bytes(mesh)), file_type="stl")
    assert read.is_watertight
    assert read.volume == pytest.approx(mesh.volume_mm3, rel=1e-6)
    np.testing.assert_allclose(read.bounds, mesh.bounds_mm, atol=1e-5)
    np.testing.assert_allclose(np.linalg.norm(read.face_normals, axis=1), 1.0, atol=1e-6)


def test_stl_normals_point_outwards_even_of_tiny_triangles():
    mesh = box(size=(1e-30, 1e-30, 1e-30))
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    normals = np.frombuffer(stl_bytes(mesh)[84:], dtype=record)["normal"]
    outwards = mesh.vertices[mesh.faces].mean(axis=1)
    assert ((normals * outwards).sum(axis=1) > 0).all()
    np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1.0, atol=1e-6)


def test_stl_of_a_flat_triangle_has_a_zero_normal():
    flat = tri_mesh([[0, 0, 0], [1, 1, 1], [2, 2, 2]], [[0, 1, 2]])
    assert stl_bytes(flat)[84:96] == bytes(12)


def test_stl_refuses_what_float32_cannot_hold():
    with pytest.raises(OutputError, match="too large"):
        stl_bytes(TriMesh(1e39 * box().vertices, box().faces))


PLAN_KEYS = {
    "schema", "up", "process", "figure", "pockets", "vents", "pockets_after", "master", "resin",
    "rings", "warnings", "scale", "base", "gates", "fill", "funnel", "print", "socket", "mould",
    "silicone",
}  # fmt: skip
POCKET_KEYS = {
    "peak_mm", "peak_height_mm", "saddle_height_mm", "volume_mm3", "residual_diameter_mm",
    "matters", "component",
}  # fmt: skip


def test_plan_json_has_the_promised_keys():
    plan = example_plan()
    data = json.loads(to_json(plan_to_dict(plan)))
    assert set(data) >= PLAN_KEYS
    assert data["silicone"] is None and data["mould"] is None and data["socket"] is None
    assert data["schema"] == 1
    assert data["up"] == [0.0, 0.0, -1.0]
    process = data["process"]
    assert process["residual_factor"] == pytest.approx(1 / 3.722, abs=1e-4)
    assert process["visible_defect_mm"] == 0.3
    assert process["name"] == "pressure"
    assert process["trap_kpa_absolute"] == pytest.approx(101.325)
    assert process["cure_kpa_absolute"] == pytest.approx(377.115, abs=1e-3)
    figure = data["figure"]
    assert (figure["volume_mm3"], figure["shells"], figure["triangles"]) == (1000.0, 2, 24)
    assert figure["size_mm"] == [10.0, 10.0, 10.0]
    assert figure["findings"] == [
        {"kind": "inverted_shell", "message": "A shell was inside out and was turned",
         "at_mm": [1.0, 2.0, 3.0]},
        {"kind": "unit", "message": "No unit is stated", "at_mm": None},
    ]  # fmt: skip
    assert [set(p) for p in data["pockets"] + data["pockets_after"]] == [POCKET_KEYS] * 4
    assert data["pockets"][0]["saddle_height_mm"] == 3.5
    assert data["pockets"][1]["volume_mm3"] == 1.25e-7
    assert data["pockets"][2]["saddle_height_mm"] is None
    assert [p["matters"] for p in data["pockets"]] == [True, False, True]
    assert data["vents"] == [
        {"kind": "rod", "path_mm": [[1, 2, -5], [1, 8, -9], [1, 8, -30]], "diameter_mm": 1.5,
         "length_mm": 28.2111, "neck_mm": 1.0, "web_mm": 2.0, "ends_mm": [0, 0],
         "segments_mm": [7.211103, 21.0],
         "joints_deg": [56.3099], "foot_angle_deg": 33.6901, "end_angle_deg": 0.0,
         "serves": [0, 1]},
        {"kind": "bridge", "path_mm": [[4, 0.04, -5], [4, -0.04, -9]], "diameter_mm": 0.8,
         "length_mm": 4.0008, "neck_mm": 0.8, "web_mm": 1.25, "ends_mm": [0, 0],
         "segments_mm": [4.0008],
         "joints_deg": [], "foot_angle_deg": 12.4, "end_angle_deg": 61.5, "serves": [2]},
    ]  # fmt: skip
    assert data["rings"] == [
        {"vent": 1, "cut_at_mm": [6, 0, -7],
         "message": "It joins the figure at both ends; slit the rubber"}
    ]  # fmt: skip
    master = data["master"]
    assert master["watertight"] is True
    assert tuple(master["parts_mm3"]) == PART_KINDS
    balance = sum(master["parts_mm3"].values()) - master["overlap_mm3"] + master["filled_mm3"]
    assert balance == pytest.approx(master["volume_mm3"], rel=1e-9)
    resin = data["resin"]
    assert (resin["material"], resin["poured_ml"]) == ("polyurethane", 45.0)
    assert resin["to_mix_ml"] == pytest.approx(49.5)
    assert resin["part_a_g"] == pytest.approx(49.5 / 2 * 1.20)
    assert resin["part_b_g"] == pytest.approx(49.5 / 2 * 1.02)
    assert [(w["code"], w["open"]) for w in data["warnings"]] == [
        ("no_opening", True), ("pot_life", False)
    ]  # fmt: skip
    assert data["undecided"] is True
    assert data["job"]["base"]["kind"] == "round_plinth"
    assert data["job"]["vents"] == {
        "diameter_mm": 1.5, "least_diameter_mm": 1.0, "web_mm": 2.0, "overlap_mm": 0.5,
        "slope_deg": 20.0, "neck_mm": 1.0, "neck_length_mm": 1.5, "grid_mm": 0.5,
    }  # fmt: skip


def test_air_json_has_the_promised_keys():
    data = json.loads(to_json(air_to_dict(example_check())))
    assert {"schema", "up", "process", "figure", "pockets"} <= set(data)
    assert data["openings_mm"] == [[0.0, 0.0, -5.0]]
    assert set(data["pockets"][0]) == POCKET_KEYS
    assert data["process"] == plan_to_dict(example_plan())["process"]


def test_json_of_missing_parts_and_numpy_numbers():
    plan = example_plan()
    plan.master.parts_mm3.clear()
    plan.master.parts_mm3["figure"] = np.float64(12.0)
    data = json.loads(to_json(plan_to_dict(plan)))
    assert data["master"]["parts_mm3"] == dict.fromkeys(PART_KINDS, 0.0) | {"figure": 12.0}
    check = example_check((pocket(matters=np.bool_(True), component=np.int64(3)),))
    assert json.loads(to_json(air_to_dict(check)))["pockets"][0]["component"] == 3


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_json_is_strict(bad):
    with pytest.raises(GeometryError, match="not a finite number"):
        to_json(air_to_dict(example_check((pocket(volume_mm3=bad),))))


def test_json_of_a_name_that_is_no_unicode():
    check = example_check()
    object.__setattr__(check.figure.mesh, "name", os.fsdecode(b"f\xff.stl"))
    assert json.loads(to_json(air_to_dict(check)).decode("utf-8"))["figure"]["name"] == "f?.stl"


def test_json_is_the_same_every_time():
    assert to_json(plan_to_dict(example_plan())) == to_json(plan_to_dict(example_plan()))


def test_write_plan(tmp_path):
    folder = tmp_path / "new" / "out"
    plan = example_plan(up=(0.6, 0.0, -0.8), job=Job(up=(3.0, 0.0, -4.0)))
    extra = tmp_path / "copy.json"
    written = write_plan(plan, folder, False, {extra: b"{}"})
    assert written == [*plan_targets(folder), extra]
    assert sorted(p.name for p in folder.iterdir()) == sorted(PLAN_FILE_NAMES)
    assert sorted(PLAN_FILE_NAMES) == ["master.3mf", "master.stl", "plan.json", "rods.csv"]
    assert extra.read_bytes() == b"{}"
    read = ReadBack((folder / "master.3mf").read_bytes(), tmp_path)
    assert read.warnings == 0
    assert read.metadata["Title"] == "Casting master of figure.stl"
    solid = trimesh.load(folder / "master.stl")
    assert solid.volume == pytest.approx(plan.master.volume_mm3, rel=1e-6)
    data = json.loads((folder / "plan.json").read_text())
    assert data["up"] == [0.6, 0.0, -0.8]
    assert (folder / "rods.csv").read_bytes() == rods_csv(data)


def test_write_plan_refuses_and_replaces(tmp_path):
    plan = example_plan()
    write_plan(plan, tmp_path, False)
    before = {p.name: (p.read_bytes(), p.stat().st_ino) for p in tmp_path.iterdir()}
    with pytest.raises(OutputError, match=r"master\.3mf.*master\.stl.*rods\.csv.*plan\.json"):
        write_plan(plan, tmp_path, False)
    assert {p.name: (p.read_bytes(), p.stat().st_ino) for p in tmp_path.iterdir()} == before
    write_plan(plan, tmp_path, True)
    after = {p.name: (p.read_bytes(), p.stat().st_ino) for p in tmp_path.iterdir()}
    assert {n: data for n, (data, _) in after.items()} == {n: d for n, (d, _) in before.items()}
    assert all(after[name][1] != before[name][1] for name in before)


def test_write_plan_that_fails_leaves_nothing(tmp_path):
    folder = tmp_path / "out"
    with pytest.raises(OutputError, match="not a closed surface"):
        write_plan(example_plan(master_mesh=open_box()), folder, False)
    assert list(tmp_path.iterdir()) == []


def test_write_plan_takes_no_extra_file_of_its_own_name(tmp_path):
    with pytest.raises(OutputError, match="own files"):
        write_plan(example_plan(), tmp_path, True, {tmp_path / "master.stl": b""})
    assert list(tmp_path.iterdir()) == []
