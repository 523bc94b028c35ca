"""What a GLB file must be before its numbers are read: plain triangles that all count.

The reader behind passes over what it does not know, and a figure without its other half is worse
than none. Sections are those of the glTF 2.0 specification.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pourwright.checks import check_number
from pourwright.errors import InputError

_HINT = "export the model again as plain triangles, without compression"
_TRIANGLES = 4  # section 3.7.2.1, mode; also the default
# These change looks alone.
_HARMLESS = ("KHR_materials_", "KHR_texture_", "KHR_lights_", "EXT_texture_", "KHR_xmp")
# Matrices of nodes turn and scale; more than that is no transform of a figure.
_MOST = 1e9


def check_glb(path: Path, data: bytes) -> None:
    """Raise InputError for a GLB that holds more than plain triangles or whose data are not there.

    Strips and fans, sparse or compressed numbers, meshes without data in the file, and transforms
    that are none are refused by name.
    """
    try:
        for problem in _problems(_tree(data), len(data)):
            raise InputError(f"{path}: {problem}", hint=_HINT)
    except InputError as error:
        if str(path) in error.what:
            raise
        raise InputError(f"{path}: {error.what}", hint=_HINT) from None
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError,
            struct.error) as error:  # fmt: skip
        raise InputError(
            f"{path} cannot be read as GLB: {type(error).__name__} {error}", hint=_HINT
        ) from error


def _tree(data: bytes) -> dict[str, Any]:
    """The JSON of the first chunk (section 4.4)."""
    magic, version, length = struct.unpack("<4sII", data[:12])
    size, kind = struct.unpack("<I4s", data[12:20])
    if magic != b"glTF" or version != 2 or kind != b"JSON":
        raise ValueError("it is no glTF 2.0")
    if length != len(data) or 20 + size > length:
        raise ValueError(f"it is {len(data)} bytes long, where it promises {length}")
    tree = json.loads(data[20 : 20 + size].decode("utf-8"))
    if not isinstance(tree, dict):
        raise ValueError("its JSON is no table")
    return tree


def _problems(tree: dict[str, Any], length: int) -> Iterator[str]:
    for name in tree.get("extensionsRequired", []):
        if not str(name).startswith(_HARMLESS):
            yield f"it needs the extension {name}, which cannot be read"
    accessors = tree.get("accessors", [])
    for number, accessor in enumerate(accessors):
        if not 0 <= accessor["count"] <= length:  # each takes a byte at least
            yield f"accessor {number} holds {accessor['count']} things in {length} bytes"
    for number, mesh in enumerate(tree.get("meshes", [])):
        for part in mesh["primitives"]:
            mode = part.get("mode", _TRIANGLES)
            if mode != _TRIANGLES:
                yield f"mesh {number} is drawn in mode {mode}, not as single triangles"
            for use, key in (("points", part["attributes"]["POSITION"]),
                             ("corners", part.get("indices"))):  # fmt: skip
                if key is not None:
                    accessor = _numbered(accessors, key, "accessor")
                    yield from _data_problems(tree, accessor, f"the {use} of mesh {number}")
    yield from _nodes_problems(tree)


def _numbered(things: list[Any], number: object, what: str) -> Any:
    """The thing of that number; Python would count a negative one from the end."""
    if not isinstance(number, int) or isinstance(number, bool) or not 0 <= number < len(things):
        raise ValueError(f"it has no {what} {number!r}")
    return things[number]


def _nodes_problems(tree: dict[str, Any]) -> Iterator[str]:
    nodes = tree.get("nodes", [])
    scenes = tree.get("scenes", [])
    shown = _numbered(scenes, tree.get("scene", 0), "scene").get("nodes", []) if scenes else []
    # Section 3.5.2: nodes are strict trees; a second place would be lost.
    places = [child for node in nodes for child in node.get("children", [])]
    places += shown
    for place in places:
        _numbered(nodes, place, "node")
    for node in nodes:
        if "mesh" in node:
            _numbered(tree.get("meshes", []), node["mesh"], "mesh")
    for place in {p for p in places if places.count(p) > 1} if len(places) < 10_000 else ():
        yield f"node {place} stands in two places"
    for number, node in enumerate(nodes):
        for key, size in (("matrix", 16), ("translation", 3), ("rotation", 4), ("scale", 3)):
            if key in node:
                if len(node[key]) != size:
                    yield f"node {number}: its {key} has {len(node[key])} numbers, not {size}"
                for value in node[key]:
                    check_number(f"a number of node {number}'s {key}", value, -_MOST, _MOST)
        if "matrix" in node and [*node["matrix"][3::4]] != [0, 0, 0, 1]:
            yield f"node {number}: its matrix is no turn, stretch and shift"


def _data_problems(tree: dict[str, Any], accessor: dict[str, Any], what: str) -> Iterator[str]:
    if "sparse" in accessor or accessor.get("normalized"):
        yield f"{what} are packed in a way that cannot be read"
    if "bufferView" not in accessor:
        yield f"{what} are not in the file"
        return
    view = _numbered(tree["bufferViews"], accessor["bufferView"], "bufferView")
    _numbered(tree["buffers"], view.get("buffer"), "buffer")
    for name, value in (("count", accessor["count"]), ("byteOffset", accessor.get("byteOffset", 0)),
                        ("byteOffset", view.get("byteOffset", 0)),
                        ("byteLength", view["byteLength"])):  # fmt: skip
        if not isinstance(value, int) or isinstance(value, bool) or value < 0:
            yield f"{what}: their {name} is {value!r}"
