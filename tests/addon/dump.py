"""Everything that a .blend file would hold, as text that can be compared."""

from __future__ import annotations

import array
import zlib

import bpy

# What drawing and evaluating set by themselves, what says how often something is used, and what
# Blender 4.2 crashes on when it is read in a file without brushes.
NOT_SAVED = frozenset({
    "rna_type", "users", "is_evaluated", "is_updated", "is_updated_data", "is_missing",
    "session_uid", "tag", "id_data", "original", "bl_rna", "depsgraph", "is_dirty", "preview",
    "sequencer_colorspace_settings", "linear_colorspace_settings", "wireframe_color_type",
    "uv_sculpt", "particle_edit",
    "is_embedded_data", "is_library_indirect", "is_runtime_data", "bl_system_properties_get",
})  # fmt: skip
# Kinds of data that no operation of the extension may leave behind or change.
KINDS = ("scenes", "objects", "meshes", "curves", "metaballs", "materials", "collections",
         "node_groups", "images", "texts", "worlds", "libraries", "actions")  # fmt: skip
DEEPEST = 6


def settings_of(group: bpy.types.bpy_struct) -> dict[str, object]:
    """Return all values under a group of properties; data-blocks by name."""
    return dict(_walk(group, "", 0))


def everything() -> dict[str, object]:
    """Return all values of all data-blocks."""
    found: dict[str, object] = {}
    for kind in KINDS:
        blocks = getattr(bpy.data, kind)
        found[kind] = sorted(block.name_full for block in blocks)
        for block in blocks:
            found |= dict(_walk(block, f"{kind}/{block.name_full}", 0))
            if isinstance(block, bpy.types.Mesh):
                found[f"{kind}/{block.name_full} geometry"] = _geometry(block)
    for scene in bpy.data.scenes:
        for layer in scene.view_layers:
            key = f"{scene.name}/{layer.name}"
            found[f"{key} eyes"] = sorted(
                (o.name, o.hide_get(view_layer=layer), o.select_get(view_layer=layer))
                for o in layer.objects
            )
            active = layer.objects.active
            found[f"{key} active"] = active.name if active else None
    return found


def changes(before: dict[str, object], after: dict[str, object]) -> list[str]:
    """Return what differs between two of these, for messages."""
    keys = sorted(before.keys() | after.keys())
    nothing = object()
    return [
        f"{key}: {before.get(key, 'absent')!r} -> {after.get(key, 'absent')!r}"
        for key in keys
        if before.get(key, nothing) != after.get(key, nothing)
    ]


def _walk(group, path, depth):
    if depth > DEEPEST:
        return
    if isinstance(group, bpy.types.ID):
        for key in sorted(set(group.keys()) - set(group.bl_rna.properties.keys())):
            value = group[key]
            yield f"{path}[{key}]", repr(value.to_dict() if hasattr(value, "to_dict") else value)
    for prop in group.bl_rna.properties:
        name = prop.identifier
        if name in NOT_SAVED:
            continue
        here = f"{path}.{name}"
        try:
            value = getattr(group, name)
        except (AttributeError, RuntimeError, ValueError):
            continue
        if prop.type == "POINTER":
            if value is None or isinstance(value, bpy.types.ID):
                yield here, getattr(value, "name_full", None)
            elif prop.is_readonly:
                yield from _walk(value, here, depth + 1)
        elif prop.type == "COLLECTION":
            if isinstance(group, bpy.types.Mesh) or depth + 1 > DEEPEST:
                continue
            for i, row in enumerate(value):
                if isinstance(row, bpy.types.ID):
                    yield f"{here}[{i}]", row.name_full
                elif row is not None and not isinstance(row, bpy.types.bpy_prop_array):
                    yield from _walk(row, f"{here}[{i}]", depth + 1)
            yield f"{here} count", len(value)
        else:
            array_like = getattr(prop, "is_array", False)
            yield here, repr(tuple(value) if array_like and prop.type != "ENUM" else value)


def _geometry(mesh: bpy.types.Mesh) -> tuple[int, ...]:
    digest = [len(mesh.vertices), len(mesh.edges), len(mesh.loops), len(mesh.polygons)]
    for attribute in mesh.attributes:
        field, code, size = _FIELDS.get(attribute.data_type, (None, "f", 0))
        if field is not None:
            values = array.array(code, [0] * (size * len(attribute.data)))
            attribute.data.foreach_get(field, values)
            digest.append(zlib.crc32(values.tobytes(), zlib.crc32(attribute.name.encode())))
    return tuple(digest)


_FIELDS = {
    "FLOAT": ("value", "f", 1), "INT": ("value", "i", 1), "FLOAT_VECTOR": ("vector", "f", 3),
    "BOOLEAN": ("value", "b", 1), "INT32_2D": ("value", "i", 2), "FLOAT2": ("vector", "f", 2),
}  # fmt: skip
