"""The plainest possible readers of the model formats: a judge, which shares no code with the core.

Each returns triangles (m, 3, 3) in mm, +Z up, or None for what it does not understand; then there
is no second opinion. Nothing is tolerated: a number too many, and the answer is None.
"""

from __future__ import annotations

import io
import json
import struct
import zipfile
from xml.etree import ElementTree

import numpy as np

MM = {"micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "meter": 1000.0, "inch": 25.4,
      "foot": 304.8}  # fmt: skip


def triangles(kind: str, data: bytes) -> np.ndarray | None:
    """Read a file of a kind ("stl", "obj", "ply", "3mf", "glb") if it is perfectly plain."""
    try:
        with np.errstate(all="ignore"):
            soup = _READERS[kind](data)
    except (ValueError, IndexError, KeyError, TypeError, AttributeError, OverflowError,
            struct.error, zipfile.BadZipFile, ElementTree.ParseError, RecursionError,
            NotImplementedError, OSError, EOFError):  # fmt: skip
        return None
    except Exception as error:
        if "zlib" in type(error).__module__ or type(error).__name__ == "error":
            return None
        raise
    return soup if soup is not None and len(soup) and np.isfinite(soup).all() else None


def _stl(data: bytes) -> np.ndarray | None:
    if len(data) >= 84 and len(data) == 84 + 50 * struct.unpack("<I", data[80:84])[0]:
        records = np.frombuffer(data[84:], dtype=[("f", "<f4", 12), ("a", "<u2")])
        return records["f"][:, 3:].reshape(-1, 3, 3).astype(np.float64)
    words = data.decode("ascii").split()
    if words[0] != "solid" or words.count("endsolid") != 1:
        return None
    start, rows = words.index("facet"), []
    while words[start] == "facet":
        loop = words[start : start + 21]
        if loop[1] != "normal" or loop[5:7] != ["outer", "loop"]:
            return None
        if [loop[i] for i in (7, 11, 15, 19, 20)] != ["vertex"] * 3 + ["endloop", "endfacet"]:
            return None
        rows.append([[float(x) for x in loop[i : i + 3]] for i in (8, 12, 16)])
        start += 21
    return np.array(rows) if words[start] == "endsolid" else None


def _obj(data: bytes) -> np.ndarray | None:
    points, faces = [], []
    for line in data.decode("ascii").splitlines():
        words = line.split("#")[0].split()
        if not words:
            continue
        if words[0] == "v" and len(words) == 4:
            points.append([float(w) for w in words[1:]])
        elif words[0] == "f" and len(words) == 4:
            row = [int(w.split("/")[0]) for w in words[1:]]
            faces.append([i - 1 if i > 0 else len(points) + i for i in row])
        elif words[0] not in ("vn", "vt", "o", "g", "s", "usemtl", "mtllib"):
            return None
    chosen = np.array(faces)
    return np.array(points)[chosen] if chosen.min() >= 0 else None


_PLY_TYPES = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4",
    "float": "f4", "double": "f8", "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2",
    "int32": "i4", "uint32": "u4", "float32": "f4", "float64": "f8",
}  # fmt: skip


def _ply(data: bytes) -> np.ndarray | None:
    head, body = data.split(b"end_header\n", 1)
    lines = [line.split() for line in head.decode("ascii").splitlines()]
    if lines[0] != ["ply"] or lines[1][0] != "format" or lines[1][2] != "1.0":
        return None
    elements: list[tuple[str, int, list[list[str]]]] = []
    for words in lines[2:]:
        if words[0] == "element":
            elements.append((words[1], int(words[2]), []))
        elif words[0] == "property":
            elements[-1][2].append(words[1:])
        elif words[0] != "comment":
            return None
    (one, n, vertex), (two, m, face) = elements
    if one != "vertex" or two != "face" or n < 0 or m < 0 or len(face) != 1:
        return None
    if face[0][0] != "list" or any(len(p) != 2 for p in vertex):
        return None
    names = [p[1] for p in vertex]
    where = [names.index(axis) for axis in "xyz"]
    if lines[1][1] == "ascii":
        rows = [line.split() for line in body.decode("ascii").splitlines() if line.strip()]
        if len(rows) != n + m or any(len(r) != len(names) for r in rows[:n]):
            return None
        points = np.array([[float(r[i]) for i in where] for r in rows[:n]])
        faces = np.array([[int(w) for w in r] for r in rows[n:]])
        if faces.shape[1] != 4 or (faces[:, 0] != 3).any():
            return None
        chosen = faces[:, 1:]
    else:
        order = {"binary_little_endian": "<", "binary_big_endian": ">"}[lines[1][1]]
        row = np.dtype([(str(i), order + _PLY_TYPES[p[0]]) for i, p in enumerate(vertex)])
        side = np.dtype(
            [("n", order + _PLY_TYPES[face[0][1]]), ("v", order + _PLY_TYPES[face[0][2]], 3)]
        )
        if len(body) != n * row.itemsize + m * side.itemsize:
            return None
        table = np.frombuffer(body[: n * row.itemsize], row)
        faces = np.frombuffer(body[n * row.itemsize :], side)
        if (faces["n"] != 3).any():
            return None
        points = np.stack([table[str(i)].astype(np.float64) for i in where], axis=1)
        chosen = faces["v"].astype(np.int64)
    return points[chosen] if chosen.min() >= 0 else None


def _matrix(text: str | None) -> np.ndarray:
    full = np.eye(4)
    if text is not None:
        full[:, :3] = np.array([float(w) for w in text.split()]).reshape(4, 3)
    return full


def _threemf(data: bytes) -> np.ndarray | None:
    package = zipfile.ZipFile(io.BytesIO(data))
    parts = [n for n in package.namelist() if n.lower().endswith(".model")]
    if len(parts) != 1 or parts[0] != "3D/3dmodel.model":
        return None
    root = ElementTree.fromstring(package.read(parts[0]))
    space = root.tag.split("}")[0] + "}"
    objects = {o.attrib["id"]: o for o in root.iter(space + "object")}
    if len(objects) != len(list(root.iter(space + "object"))):
        return None

    def made(number: str, deep: int) -> list[np.ndarray]:
        thing = objects[number]
        soups = []
        for mesh in thing.findall(space + "mesh"):
            v = [[float(p.attrib[a]) for a in "xyz"] for p in mesh.iter(space + "vertex")]
            f = [[int(t.attrib[a]) for a in ("v1", "v2", "v3")] for t in
                 mesh.iter(space + "triangle")]
            if min(map(min, f)) < 0:
                raise ValueError("a negative number")
            soups.append(np.array(v)[np.array(f)])
        for part in thing.iter(space + "component"):
            if deep > 20:
                raise ValueError("components without end")
            turn = _matrix(part.attrib.get("transform"))
            soups += [_moved(s, turn) for s in made(part.attrib["objectid"], deep + 1)]
        return soups

    found = []
    for item in root.iter(space + "item"):
        turn = _matrix(item.attrib.get("transform"))
        found += [_moved(s, turn) for s in made(item.attrib["objectid"], 0)]
    return np.concatenate(found) * MM[root.attrib.get("unit", "millimeter")]


def _moved(soup: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Row vectors times a (4, 4) matrix; a mirror turns the triangles over, so turn them back."""
    moved = soup @ matrix[:3, :3] + matrix[3, :3]
    return moved[:, ::-1] if np.linalg.det(matrix[:3, :3]) < 0 else moved


_GLB_TYPES = {5120: "i1", 5121: "u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}


def _glb(data: bytes) -> np.ndarray | None:
    magic, version, length = struct.unpack("<4sII", data[:12])
    if magic != b"glTF" or version != 2 or length != len(data):
        return None
    size, kind = struct.unpack("<I4s", data[12:20])
    if kind != b"JSON":
        return None
    tree = json.loads(data[20 : 20 + size])
    size2, kind2 = struct.unpack("<I4s", data[20 + size : 28 + size])
    blob = data[28 + size :]
    if kind2 != b"BIN\0" or size2 != len(blob) or tree["asset"]["version"] != "2.0":
        return None
    if tree.get("extensionsRequired") or len(tree["buffers"]) != 1:
        return None

    def numbers(index: int, width: int) -> np.ndarray:
        accessor = tree["accessors"][index]
        view = tree["bufferViews"][accessor["bufferView"]]
        if "byteStride" in view or "sparse" in accessor or accessor.get("normalized"):
            raise ValueError("not plain")
        if {1: "SCALAR", 3: "VEC3"}[width] != accessor["type"] or view.get("buffer") != 0:
            raise ValueError("not plain")
        code = np.dtype(_GLB_TYPES[accessor["componentType"]])
        at, count = accessor.get("byteOffset", 0), accessor["count"]
        if at < 0 or count < 1 or at + count * width * code.itemsize > view["byteLength"]:
            raise ValueError("beyond its view")
        begin = view.get("byteOffset", 0)
        if begin < 0 or begin + view["byteLength"] > len(blob):
            raise ValueError("beyond the file")
        return np.frombuffer(blob, code, count * width, begin + at).reshape(-1, width)

    def meshes(index: int, above: np.ndarray, deep: int) -> list[np.ndarray]:
        node = tree["nodes"][index]
        if deep > 20 or index < 0 or {"rotation", "scale", "translation"} & set(node):
            raise ValueError("not plain")
        if node.get("mesh", 0) < 0:
            raise ValueError("no such mesh")
        turn = np.array(node.get("matrix", np.eye(4).ravel()), float).reshape(4, 4) @ above
        soups = []
        if "mesh" in node:
            for part in tree["meshes"][node["mesh"]]["primitives"]:
                if part.get("mode", 4) != 4 or part.get("extensions"):
                    raise ValueError("not plain")
                points = numbers(part["attributes"]["POSITION"], 3).astype(np.float64)
                row = numbers(part["indices"], 1).astype(np.int64).reshape(-1, 3)
                soups.append(_moved(points[row], turn))
        for child in node.get("children", []):
            soups += meshes(child, turn, deep + 1)
        return soups

    scene = tree["scenes"][tree.get("scene", 0)]
    found = np.concatenate([s for n in scene["nodes"] for s in meshes(n, np.eye(4), 0)])
    return np.stack([found[..., 0], -found[..., 2], found[..., 1]], axis=-1) * 1000.0


_READERS = {"stl": _stl, "obj": _obj, "ply": _ply, "3mf": _threemf, "glb": _glb}
