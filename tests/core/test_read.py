"""Model files: every format gives the same solid, units are stated, garbage is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from shapes import box, together

from pourwright.errors import InputError, MeshError, PourwrightError
from pourwright.solid import intake, read_models

FIGURE = together(
    trimesh.creation.icosphere(subdivisions=2, radius=8),
    box((4, -3, -3), (20, 3, 3)),
)


def save(body: trimesh.Trimesh, path: Path) -> None:
    """Export through memory: trimesh's 3MF writer leaves the files it opens open."""
    data = body.export(file_type=path.suffix[1:])
    path.write_bytes(data.encode() if isinstance(data, str) else data)


@pytest.fixture(scope="module")
def volume():
    from shapes import as_mesh

    return intake([as_mesh(FIGURE)]).volume_mm3


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply", "3mf", "glb"])
def test_every_format_gives_the_same_solid(tmp_path, volume, suffix):
    path = tmp_path / f"figure.{suffix}"
    save(FIGURE, path)
    meshes, findings = read_models([path], "mm")
    assert intake(meshes).volume_mm3 == pytest.approx(volume, rel=1e-5)
    assert [f.kind for f in findings] == ["unit_given"]


def test_text_stl(tmp_path, volume):
    path = tmp_path / "figure.stl"
    path.write_text(trimesh.exchange.stl.export_stl_ascii(FIGURE))
    assert intake(read_models([path], "mm")[0]).volume_mm3 == pytest.approx(volume, rel=1e-5)


@pytest.mark.parametrize(
    ("gone", "found"),
    [("facet ", "11 facets begin, 12 end"), ("endfacet", "13 facets begin, 11 end"),
     ("vertex ", "35 corners")],
)  # fmt: skip
def test_text_stl_with_a_word_missing(tmp_path, gone, found):
    text = trimesh.exchange.stl.export_stl_ascii(box((0, 0, 0), (1, 2, 3)))
    at = text.index(gone, 40)
    path = tmp_path / "box.stl"
    path.write_text(text[:at] + "facet " * (gone == "endfacet") + text[at + len(gone) :])
    with pytest.raises(InputError, match=found):
        read_models([path])


def test_text_stl_may_have_any_name(tmp_path):
    text = trimesh.exchange.stl.export_stl_ascii(box((0, 0, 0), (1, 2, 3)))
    path = tmp_path / "box.stl"
    _, _, rest = text.partition("\n")
    path.write_text("solid heron, every vertex\n" + rest)
    assert intake(read_models([path], "mm")[0]).volume_mm3 == pytest.approx(6)


def test_several_files_are_one_figure(tmp_path):
    for i in range(2):
        save(box((5 * i, 0, 0), (5 * i + 10, 10, 10)), tmp_path / f"{i}.stl")
    meshes, _ = read_models([tmp_path / "0.stl", tmp_path / "1.stl"])
    assert intake(meshes).volume_mm3 == pytest.approx(1500)


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply"])
def test_a_file_without_a_unit_is_taken_in_mm_and_says_so(tmp_path, suffix):
    path = tmp_path / f"figure.{suffix}"
    save(FIGURE, path)
    (finding,) = read_models([path])[1]
    assert finding.kind == "unit_assumed"
    assert path.name in finding.message


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("micron", 1e-3), ("mm", 1), ("cm", 10), ("m", 1000), ("in", 25.4), ("ft", 304.8)],
)
def test_unit_asked_for(tmp_path, unit, factor):
    path = tmp_path / "box.stl"
    save(box((0, 0, 0), (1, 2, 3)), path)
    meshes, _ = read_models([path], unit)
    assert intake(meshes).volume_mm3 == pytest.approx(6 * factor**3, rel=1e-6)


def test_inch_for_millimetre_is_16387_times_the_volume():
    cubic_inch_mm3 = 25.4**3
    assert cubic_inch_mm3 == pytest.approx(16387.064)


def materials_cube(folder: Path, missing: int = 0) -> Path:
    """A cube of three materials with a ball beside it that has one."""
    cube = box([0, 0, 0], [10, 10, 10])
    ball = trimesh.creation.icosphere(subdivisions=2, radius=3.0)
    points = [*cube.vertices, *(ball.vertices + [30.0, 0, 0])]
    lines = [f"v {x} {y} {z}" for x, y, z in points]
    faces = cube.faces[: len(cube.faces) - missing] + 1
    for k in range(3):
        lines += [f"usemtl m{k}", *(f"f {a} {b} {c}" for a, b, c in faces[k::3])]
    lines += ["usemtl other", *(f"f {a} {b} {c}" for a, b, c in ball.faces + 9)]
    (folder / "figure.mtl").write_text("".join(f"newmtl m{k}\nKd 1 0 0\n" for k in range(3)))
    path = folder / "figure.obj"
    path.write_text("\n".join(["mtllib figure.mtl", *lines, ""]))
    return path


def test_a_surface_of_several_materials_is_one(tmp_path):
    meshes, _ = read_models([materials_cube(tmp_path)])
    assert [(m.name, len(m.faces)) for m in meshes] == [
        ("figure.obj", 12), ("figure.obj:geometry", 320)
    ]  # fmt: skip
    solid = intake(meshes)
    ball = trimesh.creation.icosphere(subdivisions=2, radius=3.0).volume
    assert solid.volume_mm3 == pytest.approx(1000 + ball)
    assert solid.shells == 2


def test_a_hole_in_a_surface_of_several_materials_is_named(tmp_path):
    with pytest.raises(MeshError, match=r"figure\.obj' is open: 1 hole with 3 open edges"):
        intake(read_models([materials_cube(tmp_path, missing=1)])[0])


def test_gltf_is_metres_with_y_up(tmp_path):
    """glTF 2.0, section 3.4: metres, +Y up; on the bench +Z is up."""
    path = tmp_path / "tall.glb"
    save(box((0, 0, 0), (0.01, 0.03, 0.02)), path)  # 30 mm along Y
    meshes, findings = read_models([path])
    np.testing.assert_allclose(np.ptp(meshes[0].bounds_mm, axis=0), [10, 20, 30], rtol=1e-5)
    assert findings[0].kind == "unit_stated"
    assert intake(meshes).volume_mm3 == pytest.approx(6000, rel=1e-5)


@pytest.mark.parametrize(
    ("word", "factor"), [("millimeter", 1), ("inch", 25.4), ("meter", 1000), ("micron", 1e-3)]
)
def test_3mf_says_its_unit(tmp_path, word, factor):
    """3MF Core 1.3: the model's unit attribute."""
    import zipfile

    path, other = tmp_path / "a.3mf", tmp_path / "b.3mf"
    save(box((0, 0, 0), (1, 2, 3)), path)
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(other, "w") as target:
        for item in source.namelist():
            data = source.read(item)
            if item.endswith(".model"):
                assert b'unit="millimeter"' in data
                data = data.replace(b'unit="millimeter"', f'unit="{word}"'.encode())
            target.writestr(item, data)
    meshes, findings = read_models([other])
    assert findings[0].kind == "unit_stated"
    assert intake(meshes).volume_mm3 == pytest.approx(6 * factor**3, rel=1e-6)


def binary_stl(count: int, *, cut: int = 0, header: bytes = b"\0" * 80) -> bytes:
    body = np.zeros(count * 50, np.uint8).tobytes()
    data = header + count.to_bytes(4, "little") + body
    return data[: len(data) - cut]


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("empty.stl", b""),
        ("short.stl", binary_stl(20, cut=333)),
        ("no_triangles.stl", binary_stl(0)),
        ("header_only.stl", b"\0" * 80),
        ("text.stl", b"once upon a time there was a heron\n" * 50),
        ("cut.stl", b"solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n"),
        ("text.obj", b"once upon a time\n" * 9),
        ("flat_land.obj", b"v 1\nv 2\nv 3\nf 1 2 3\n"),
        ("text.ply", b"once upon a time\n" * 9),
        ("text.3mf", b"once upon a time\n" * 9),
        ("zip.3mf", b"PK\x03\x04 but not for long"),
        ("text.glb", b"once upon a time\n" * 9),
        ("model.xyz", b"1 2 3"),
        ("picture.png", b"\x89PNG"),
    ],
)
def test_garbage_is_refused_by_name(tmp_path, name, data):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(PourwrightError) as caught:
        read_models([path])
    assert isinstance(caught.value, InputError | MeshError)
    assert name in str(caught.value)
    assert "\n" not in caught.value.one_line()


def test_missing_file_and_folder(tmp_path):
    for path in (tmp_path / "nothing.stl", tmp_path):
        with pytest.raises(InputError):
            read_models([path])


def test_unknown_unit(tmp_path):
    with pytest.raises(InputError, match="furlong"):
        read_models([tmp_path / "x.stl"], "furlong")


def test_not_a_number_in_a_file(tmp_path):
    path = tmp_path / "nan.stl"
    bad = FIGURE.copy()
    bad.vertices[0] = np.nan
    path.write_bytes(trimesh.exchange.stl.export_stl(bad))
    with pytest.raises(MeshError) as caught:
        read_models([path])
    assert caught.value.kind == "not_finite"
