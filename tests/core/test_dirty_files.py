"""3MF packages that attack their reader, and mutated files: refused by name, never a crash."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh

from pourwright.errors import PourwrightError
from pourwright.solid import intake, read_models

BODY = trimesh.creation.icosphere(subdivisions=1, radius=10)
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
RELS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0"'
    ' Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)
VERTICES = "".join(
    f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in [(0, 0, 0), (9, 0, 0), (0, 9, 0), (0, 0, 9)]
)
TRIANGLES = "".join(
    f'<triangle v1="{a}" v2="{b}" v3="{c}"/>'
    for a, b, c in [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]
)


def model(title: str = "x", prolog: str = "") -> str:
    return (
        f'<?xml version="1.0"?>{prolog}<model unit="millimeter" xmlns="{CORE}">'
        f'<metadata name="Title">{title}</metadata><resources><object id="1" type="model"><mesh>'
        f"<vertices>{VERTICES}</vertices><triangles>{TRIANGLES}</triangles></mesh></object>"
        '</resources><build><item objectid="1"/></build></model>'
    )


def pack(path: Path, text: str | bytes, method: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", method) as target:
        target.writestr("_rels/.rels", RELS)
        target.writestr("3D/3dmodel.model", text)
    return path


def test_the_package_that_is_attacked_below_is_sound(tmp_path):
    meshes, _ = read_models([pack(tmp_path / "sound.3mf", model())])
    assert intake(meshes).volume_mm3 == pytest.approx(9**3 / 6)


MULTIPLYING = '<!DOCTYPE m [<!ENTITY a "lol"><!ENTITY b "&a;&a;&a;"><!ENTITY c "&b;&b;&b;">]>'
REACHING = '<!DOCTYPE m [<!ENTITY a SYSTEM "file:///etc/hostname">]>'


@pytest.mark.parametrize(
    "text",
    [
        model("&c;", MULTIPLYING),
        model("&a;", REACHING),
        model("x", f"<!--{' ' * 3_000_000}-->" + REACHING),
        model("&a;", REACHING).replace('"1.0"', '"1.0" encoding="UTF-16"').encode("utf-16"),
    ],
    ids=["multiplying", "reaching", "late", "utf-16"],
)
def test_document_types_are_refused(tmp_path, text):
    with pytest.raises(PourwrightError, match="document type"):
        read_models([pack(tmp_path / "types.3mf", text)])


def test_a_zip_bomb_is_refused_before_it_is_unpacked(tmp_path, monkeypatch):
    path = pack(tmp_path / "bomb.3mf", model(" " * 40_000_000))
    assert path.stat().st_size < 100_000

    def must_not_open(*given, **options):
        raise AssertionError("unpacked")

    monkeypatch.setattr(zipfile.ZipFile, "open", must_not_open)
    with pytest.raises(PourwrightError, match="would unpack"):
        read_models([path])


def test_packing_that_the_standard_does_not_allow(tmp_path):
    with pytest.raises(PourwrightError, match="packed"):
        read_models([pack(tmp_path / "lzma.3mf", model(), zipfile.ZIP_LZMA)])


def exported(kind: str) -> bytes:
    if kind == "3mf":
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w") as target:
            target.writestr("_rels/.rels", RELS)
            target.writestr("3D/3dmodel.model", model())
        return stream.getvalue()
    data = BODY.export(file_type="stl_ascii" if kind == "text.stl" else kind)
    return data.encode() if isinstance(data, str) else data


def mutated(data: bytes, rng: np.random.Generator) -> bytes:
    way = rng.integers(4)
    if way == 0:
        return data[: rng.integers(len(data))]
    if way == 1:
        a, b = np.sort(rng.integers(0, len(data), 2))
        at = int(rng.integers(len(data)))
        return data[:at] + data[a:b] + data[at:]
    changed = bytearray(data)
    extremes = (0, 0xFF, 0x7F, 0x80) if way == 2 else range(256)
    for at in rng.integers(0, len(data), rng.integers(1, 9)):
        changed[at] = int(rng.choice(extremes))
    return bytes(changed)


@pytest.mark.parametrize("kind", ["stl", "text.stl", "obj", "ply", "3mf", "glb"])
def test_mutated_files_are_read_or_refused(tmp_path, kind):
    """Whatever comes out, it is a solid with a finite volume or an error of ours."""
    rng = np.random.default_rng(11)
    data = exported(kind)
    path = tmp_path / f"figure.{kind}"
    refused = 0
    for _ in range(60):
        path.write_bytes(mutated(data, rng))
        try:
            solid = intake(read_models([path])[0])
        except PourwrightError as error:
            refused += 1
            assert "\n" not in error.one_line()
        else:
            assert np.isfinite(solid.volume_mm3)
            assert solid.volume_mm3 > 0
    assert refused > 5
