"""3MF read by the letter, and what GLB, PLY and OBJ must not hold: refused with what and where."""

from __future__ import annotations

import json
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh

from pourwright.errors import InputError, MeshError
from pourwright.solid import intake, read_models
from tests.fuzz.seeds import seeds

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
POINTS = np.array([(0, 0, 0), (9, 0, 0), (0, 6, 0), (0, 0, 3)])
FACES = [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]
VOLUME = 27.0
VERTICES = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in POINTS)
TRIANGLES = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in FACES)
MESH = f"<mesh><vertices>{VERTICES}</vertices><triangles>{TRIANGLES}</triangles></mesh>"


def model(resources: str, build: str, more: str = "") -> str:
    return (
        f'<?xml version="1.0"?><model unit="millimeter" xmlns="{CORE}" xmlns:p="{PRODUCTION}" '
        f"{more}><resources>{resources}</resources><build>{build}</build></model>"
    )


def thing(number: int, content: str = MESH, more: str = "") -> str:
    return f'<object id="{number}" {more}>{content}</object>'


def uses(*numbers: int, transform: str = "1 0 0 0 1 0 0 0 1 0 0 0") -> str:
    inner = "".join(f'<component objectid="{n}" transform="{transform}"/>' for n in numbers)
    return f"<components>{inner}</components>"


def pack(path: Path, parts: dict[str, str]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in parts.items():
            package.writestr(name, text)
    return path


def read(tmp_path: Path, text: str, **others: str):
    path = pack(tmp_path / "a.3mf", {"3D/3dmodel.model": text, **others})
    return read_models([path])


def test_component_and_item_are_applied_in_this_order(tmp_path):
    """The component's transform first, then the item's (3MF Core 1.3, sections 3.4.1 and 4.2)."""
    text = model(
        thing(1) + thing(2, uses(1, transform="2 0 0 0 1 0 0 0 1 1 0 0")),
        '<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 0 0 5"/>',
    )
    ((mesh,), _) = read(tmp_path, text)
    # (x, y, z) -> (2 x + 1, y, z) -> (-y, 2 x + 1, z + 5)
    want = np.stack([-POINTS[:, 1], 2 * POINTS[:, 0] + 1, POINTS[:, 2] + 5], axis=1)
    assert mesh.vertices == pytest.approx(want)
    assert mesh.volume_mm3 == pytest.approx(2 * VOLUME)


def test_a_mirror_keeps_the_outside_out(tmp_path):
    text = model(thing(1), '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>')
    meshes, _ = read(tmp_path, text)
    assert meshes[0].volume_mm3 == pytest.approx(VOLUME)
    assert "inverted_shell" not in {f.kind for f in intake(meshes).findings}


def test_supports_are_left_out_and_told(tmp_path):
    text = model(
        thing(1, more='name="bird"') + thing(2, more='type="support"'),
        '<item objectid="1"/><item objectid="2"/>',
    )
    meshes, findings = read(tmp_path, text)
    assert len(meshes) == 1
    assert "supports_left_out" in {f.kind for f in findings}


def test_an_object_in_a_part_of_its_own(tmp_path):
    text = model(
        thing(3, '<components><component objectid="1" p:path="/3D/other.model"/></components>'),
        '<item objectid="3"/>', 'requiredextensions="p"',
    )  # fmt: skip
    meshes, _ = read(tmp_path, text, **{"3D/other.model": model(thing(1), "")})
    assert meshes[0].volume_mm3 == pytest.approx(VOLUME)


def test_the_model_is_where_the_package_says(tmp_path):
    rels = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Target="/Parts/bird.model" Id="a" '
        'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
    )
    parts = {"_rels/.rels": rels, "Parts/bird.model": model(thing(1), '<item objectid="1"/>')}
    meshes, _ = read_models([pack(tmp_path / "a.3mf", parts)])
    assert meshes[0].volume_mm3 == pytest.approx(VOLUME)


HALVED = "".join(
    thing(n, uses(n - 1, n - 1) if n > 1 else MESH) for n in range(1, 40)
)  # fmt: skip
BAD = {
    "an object that is not there": (thing(1), '<item objectid="1"/><item objectid="5"/>', "5"),
    "nothing built": (thing(1), "", "builds nothing"),
    "a part of itself": (thing(1) + thing(2, uses(2, 1)), '<item objectid="2"/>', "of itself"),
    "doubled without end": (HALVED, '<item objectid="39"/>', "without end"),
    "two of one number": (thing(1) + thing(1), '<item objectid="1"/>', "two objects 1"),
    "two meshes": (thing(1, MESH + MESH), '<item objectid="1"/>', "two meshes"),
    "a flat transform": (
        thing(1), '<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>', "leaves no body"
    ),
    "half a transform": (thing(1), '<item objectid="1" transform="1 0 0"/>', "twelve numbers"),
    "a number that is none": (
        thing(1, MESH.replace('v1="1"', 'v1="1.5"')), '<item objectid="1"/>', "line 1"
    ),
    "a corner without number": (
        thing(1, MESH.replace(' v3="3"', "")), '<item objectid="1"/>', "lacks 'v3'"
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_what_is_not_whole_is_refused(tmp_path, name):
    resources, build, words = BAD[name]
    with pytest.raises(InputError, match=words):
        read(tmp_path, model(resources, build))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('unit="millimeter"', 'unit="furlong"', "furlong"),
        ('id="1"', 'name="x"', "lacks 'id'"),
        (CORE, "http://example.org/other", "holds no model"),
        ('xmlns:p="', 'requiredextensions="b" xmlns:b="urn:beams" xmlns:p="', "urn:beams"),
        ("</model>", "", "line 1"),
    ],
)
def test_a_model_that_breaks_the_standard(tmp_path, old, new, words):
    text = model(thing(1), '<item objectid="1"/>')
    assert old in text
    with pytest.raises(InputError, match=words):
        read(tmp_path, text.replace(old, new))


def test_a_point_that_is_not_there(tmp_path):
    text = model(thing(1, MESH.replace('v3="3"', 'v3="4"')), '<item objectid="1"/>')
    with pytest.raises(MeshError, match="names vertex 4"):
        read(tmp_path, text)


def glb_with(change) -> bytes:
    """The two boxes as GLB, with its JSON changed."""
    data = seeds("glb")[3]
    size = struct.unpack("<I", data[12:16])[0]
    tree, rest = json.loads(data[20 : 20 + size]), data[20 + size :]
    change(tree)
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    return (
        struct.pack("<4sII", b"glTF", 2, 20 + len(text) + len(rest))
        + struct.pack("<I4s", len(text), b"JSON") + text + rest
    )  # fmt: skip


GLB = {
    "compressed": (
        lambda t: t.update(extensionsRequired=["KHR_draco_mesh_compression"]), "KHR_draco"
    ),
    "lines": (lambda t: t["meshes"][1]["primitives"][0].update(mode=6), "mesh 1 .* mode 6"),
    "sparse": (lambda t: t["accessors"][1].update(sparse={"count": 1}), "cannot be read"),
    "shortened": (lambda t: t["accessors"][1].update(normalized=True), "cannot be read"),
    "elsewhere": (lambda t: t["accessors"][1].pop("bufferView"), "not in the file"),
    "a thousand million": (lambda t: t["accessors"][1].update(count=10**9), "1000000000 things"),
    "wild matrix": (lambda t: t["nodes"][0].update(matrix=[1e200] * 16), "matrix"),
    "perspective": (
        lambda t: t["nodes"][0].update(matrix=[*np.eye(4).ravel()[:15], 2.0]), "no turn"
    ),
    "in two places": (lambda t: t["scenes"][0].update(nodes=[0, 0, 1]), "two places"),
    "a list for a table": (lambda t: t["meshes"].append(3), "cannot be read"),
}  # fmt: skip


@pytest.mark.parametrize("name", GLB)
def test_a_glb_that_is_more_than_triangles_is_refused(tmp_path, name):
    change, words = GLB[name]
    path = tmp_path / "a.glb"
    path.write_bytes(glb_with(lambda tree: None))
    assert len(read_models([path])[0]) == 2
    path.write_bytes(glb_with(change))
    with pytest.raises(InputError, match=words):
        read_models([path])


PLY = seeds("ply")[0]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (PLY.replace(b"element face 80", b"element face 79"), "122 lines .* 121"),
        (PLY + b"3 0 1 2\n", "123 lines .* 122"),
        (PLY.replace(b"property float x", b"property int x"), "x is of type int"),
        (PLY.replace(b"end_header", b"end"), "no end"),
    ],
)
def test_a_text_ply_that_is_not_what_it_says(tmp_path, data, words):
    path = tmp_path / "a.ply"
    path.write_bytes(PLY)
    read_models([path])
    path.write_bytes(data)
    with pytest.raises(InputError, match=words):
        read_models([path])


def test_an_obj_whose_face_names_a_point_beyond_all_lines(tmp_path):
    path = tmp_path / "a.obj"
    ball = trimesh.creation.icosphere(subdivisions=1).export(file_type="obj")
    path.write_text(ball)
    read_models([path])
    path.write_text(ball + "\nf 1 2 2147483647\n")
    with pytest.raises(InputError, match="2147483647"):
        read_models([path])
