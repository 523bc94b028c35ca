"""A number that changes when an object gets another shape, cheap enough for every redraw.

It looks at what the shape is made from, not at the shape: computing modifiers in a panel could
take seconds. Vertex groups are left out, for Blender gives no array of their weights.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from typing import Any

import bpy

# Settings of modifiers that say how they are shown in the interface.
SHOWN_ONLY = frozenset({"name", "show_expanded", "use_pin_to_last", "show_in_editmode"})


def shape(obj: bpy.types.Object) -> int:
    """Return a digest of the object's own data, its modifiers and its shape keys."""
    read = _DATA.get(obj.type)
    digest = 0 if read is None or obj.data is None else read(obj.data)
    for modifier in obj.modifiers:
        digest = _crc(repr(_settings(modifier)), digest)
    return digest


def _mesh(mesh: bpy.types.Mesh) -> int:
    import numpy as np

    places = np.empty(3 * len(mesh.vertices), dtype=np.float32)
    if mesh.is_editmode:  # then Blender lends the vertices as they were before, and no attributes
        mesh.vertices.foreach_get("co", places)
    else:
        mesh.attributes["position"].data.foreach_get("vector", places)
    digest = zlib.crc32(places, len(mesh.loops))
    digest = _crc(repr(len(mesh.polygons)), digest)
    if mesh.shape_keys is not None:
        keys = [(k.name, k.mute, round(k.value, 6)) for k in mesh.shape_keys.key_blocks]
        digest = _crc(repr(keys), digest)
    return digest


def _curve(curve: bpy.types.Curve) -> int:
    """Of a curve, a surface or a text."""
    digest = _crc(repr(_settings(curve)), 0)
    for spline in curve.splines:
        digest = _crc(repr(_settings(spline)), digest)
        for points in (spline.points, spline.bezier_points):
            digest = _crc(repr([_settings(point) for point in points]), digest)
    return digest


def _meta(meta: bpy.types.MetaBall) -> int:
    balls = [_settings(ball) for ball in meta.elements]
    return _crc(repr((_settings(meta), balls)), 0)


_DATA: dict[str, Callable[[Any], int]] = {
    "MESH": _mesh, "CURVE": _curve, "SURFACE": _curve, "FONT": _curve, "META": _meta,
}  # fmt: skip


def _settings(group: Any) -> list[Any]:
    """Return the plain values of a group of settings, and where objects that it points at are."""
    values: list[Any] = []
    for prop in group.bl_rna.properties:
        name = prop.identifier
        if name in SHOWN_ONLY or name.startswith(("select", "hide", "is_")):
            continue
        if prop.type == "POINTER":
            held = getattr(group, name)
            if isinstance(held, bpy.types.Object):
                place = [round(c, 6) for row in held.matrix_world for c in row]
                values.append((held.name, place))
            elif isinstance(held, bpy.types.ID):
                values.append(held.name)
        elif prop.type != "COLLECTION":
            value = getattr(group, name)
            values.append(tuple(value) if getattr(prop, "is_array", False) else value)
    if isinstance(group, bpy.types.NodesModifier):
        values += [(key, repr(group[key])) for key in sorted(group.keys())]
    return values


def _crc(text: str, start: int) -> int:
    return zlib.crc32(text.encode(), start)
