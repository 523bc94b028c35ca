"""Files against their standards, read by nothing but zipfile, XML and struct.

3MF: 3MF Consortium, 3D Manufacturing Format Core Specification 1.2.3 and 1.3, published copies;
numbers in brackets are its chapters. Open Packaging Conventions: ECMA-376 part 2. Binary STL has no
standard of its own: the layout as published with its first format description, 1988 (from memory).
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh

import pourwright
from pourwright.errors import InputError
from pourwright.files.stl import write_stl
from pourwright.files.threemf import write_threemf
from pourwright.shop.pressure import parse_pressure
from pourwright.solid import TriMesh, read_models, tri_mesh

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
PACKAGE = "{http://schemas.openxmlformats.org/package/2006/relationships}"


def figure() -> TriMesh:
    """A ring that stands far from the origin, partly at negative coordinates."""
    ring = trimesh.creation.torus(8.0, 2.0, major_sections=24, minor_sections=12)
    return tri_mesh(ring.vertices + [-30.0, 12.5, 3.0], ring.faces, "Ring, 1.5 <mm> & more")


@pytest.fixture(scope="module")
def package() -> zipfile.ZipFile:
    stream = io.BytesIO()
    write_threemf(stream, figure(), (0.6, 0.0, -0.8), title="Ring & <rod>", description="ö")
    return zipfile.ZipFile(stream)


@pytest.fixture(scope="module")
def model(package) -> ElementTree.Element:
    return ElementTree.fromstring(package.read("3D/3dmodel.model"))


def test_threemf_is_a_plain_zip(package):
    """ECMA-376-2: parts are stored or deflated, nothing is encrypted, content types are named."""
    for entry in package.infolist():
        assert entry.compress_type in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
        assert not entry.flag_bits & 1
    types = ElementTree.fromstring(package.read("[Content_Types].xml"))
    assert {(t.get("Extension"), t.get("ContentType")) for t in types} == {
        ("rels", "application/vnd.openxmlformats-package.relationships+xml"),
        ("model", "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"),
    }


def test_threemf_start_part(package):
    """[2.1] The root relationship of this type names the 3D model part, which is there."""
    links = ElementTree.fromstring(package.read("_rels/.rels")).findall(f"{PACKAGE}Relationship")
    starts = [
        link.get("Target") for link in links
        if link.get("Type") == "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
    ]  # fmt: skip
    assert starts == ["/3D/3dmodel.model"]


def test_threemf_xml(package, model):
    """[2.3, 3.4] UTF-8, no DTD, one model with resources and build, millimetres, en-US decimals."""
    raw = package.read("3D/3dmodel.model")
    assert raw.startswith(b'<?xml version="1.0" encoding="UTF-8"?>')
    assert b"<!DOCTYPE" not in raw and b"<!ENTITY" not in raw
    assert model.tag == f"{CORE}model"
    assert model.get("unit") == "millimeter"
    parts = [child.tag.removeprefix(CORE) for child in model]
    assert [p for p in parts if p != "metadata"] == ["resources", "build"]
    number = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?")  # [Appendix B, ST_Number]
    for vertex in model.iter(f"{CORE}vertex"):
        assert all(number.fullmatch(vertex.get(axis)) for axis in "xyz")


def test_threemf_mesh(model):
    """[4.1] Every edge has two triangles, opposite ways; three different vertices; outward.

    At least four triangles, and the positive octant once the build item is placed.
    """
    points = np.array(
        [[float(v.get(axis)) for axis in "xyz"] for v in model.iter(f"{CORE}vertex")]
    )
    faces = np.array(
        [[int(t.get(key)) for key in ("v1", "v2", "v3")] for t in model.iter(f"{CORE}triangle")]
    )
    assert len(faces) >= 4
    assert all(len(set(face)) == 3 for face in faces.tolist())
    edges = Counter((f[i], f[(i + 1) % 3]) for f in faces.tolist() for i in range(3))
    assert set(edges.values()) == {1}
    assert all((b, a) in edges for a, b in edges)
    corners = points[faces]
    six = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum()
    assert six > 0
    (item,) = model.iter(f"{CORE}item")
    matrix = np.array([float(x) for x in item.get("transform").split()]).reshape(4, 3)
    placed = points @ matrix[:3] + matrix[3]  # [3.3] row vectors
    assert placed.min() >= 0.0


def test_binary_stl():
    """84 + 50 n bytes, little-endian, corners counter-clockwise seen from outside."""
    mesh = figure()
    stream = io.BytesIO()
    write_stl(stream, mesh)
    data = stream.getvalue()
    assert len(data) == 84 + 50 * len(mesh.faces)
    assert struct.unpack_from("<I", data, 80) == (len(mesh.faces),)
    middle = mesh.bounds_mm.mean(axis=0)
    volume = 0.0
    for i in range(len(mesh.faces)):
        values = struct.unpack_from("<12fH", data, 84 + 50 * i)
        normal, a, b, c = np.array(values[:12]).reshape(4, 3)
        assert normal @ np.cross(b - a, c - a) > 0
        volume += (a - middle) @ np.cross(b - middle, c - middle) / 6
    assert volume == pytest.approx(mesh.volume_mm3, rel=1e-5)


def test_an_inch_taken_for_a_millimetre(tmp_path):
    """25.4 mm to the inch exactly, so volumes are off by 25.4 cubed = 16 387; derived.

    STL has no unit: it is read in mm, and that is said.
    """
    path = tmp_path / "ring.stl"
    with path.open("wb") as stream:
        write_stl(stream, figure())
    (inch,), _ = read_models([path], unit="in")
    (millimetre,), findings = read_models([path])
    assert inch.volume_mm3 / millimetre.volume_mm3 == pytest.approx(16387.064)
    assert [f.kind for f in findings] == ["unit_assumed"]


def test_every_pressure_says_what_it_counts_from():
    """An unlabelled pressure is refused: 3 bar gauge is 4 bar absolute; derived."""
    with pytest.raises(InputError, match="gauge or absolute"):
        parse_pressure("3 bar")
    gauge, absolute = (parse_pressure(f"3 bar {w}").absolute_pa() for w in ("gauge", "absolute"))
    assert gauge - absolute == pytest.approx(101_325)


def test_no_conformity_is_claimed():
    """ISO 8062-3 covers cast metals only (published copy): nothing printed may name it."""
    room = Path(pourwright.__file__).parent
    for path in (*room.rglob("*.py"), *room.rglob("*.toml"), *room.rglob("*.j2")):
        assert "8062" not in path.read_text(encoding="utf-8"), path
