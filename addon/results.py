"""Objects that the extension makes: one collection, replaced at every run.

An object is the extension's own while it carries the mark that it was made with and the name it
was made under. A copy or a renamed object is the user's and is never removed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import bpy

from .bridge import new_object

COLLECTION, AIR_COLLECTION = "Pourwright", "Air Pockets"
ROLE, MADE_AS, INDEX = "pourwright_role", "pourwright_made_as", "pourwright_index"
AIR_ROLES = ("pocket", "pocket_after")
PART_ROLES = ("master", "base", "funnel", "vent")

# Colours told apart by every kind of colour vision (Okabe and Ito 2008), linear RGB.
COLORS = {
    "matters": ("Air That Matters", (0.791, 0.347, 0.0, 1.0)),
    "small": ("Air That Vanishes", (0.093, 0.456, 0.815, 1.0)),
    "drained": ("Air That Is Vented", (0.0, 0.342, 0.174, 1.0)),
    "base": ("Sprue Base", (0.23, 0.25, 0.28, 1.0)),
    "funnel": ("Funnel", (0.42, 0.38, 0.30, 1.0)),
    "vent": ("Vent", (0.0, 0.168, 0.445, 1.0)),
}


@dataclass(frozen=True)
class Piece:
    """One object to make; `color` is a key of COLORS or empty for no material."""

    role: str
    index: int
    name: str
    vertices_mm: Any
    faces: Any
    color: str = ""


def is_result(obj: bpy.types.Object) -> bool:
    """Whether the extension made this object and nobody copied or renamed it."""
    return ROLE in obj and obj.get(MADE_AS) == obj.name


def collection(scene: bpy.types.Scene) -> bpy.types.Collection | None:
    """Return the scene's results, or None before the first run."""
    return _marked(scene.collection.children_recursive, COLLECTION)


def find(scene: bpy.types.Scene, role: str, index: int = 0) -> bpy.types.Object | None:
    """Return the result of that role and number, or None."""
    top = collection(scene)
    if top is None:
        return None
    for obj in top.all_objects:
        if obj.get(ROLE) == role and obj.get(INDEX) == index and is_result(obj):
            return obj
    return None


def replace(
    scene: bpy.types.Scene, roles: Sequence[str], pieces: Iterable[Piece]
) -> list[bpy.types.Object]:
    """Remove earlier results of `roles` and put `pieces` in their place."""
    top = collection(scene) or _new_collection(COLLECTION, scene.collection)
    air = _marked(top.children, AIR_COLLECTION) or _new_collection(AIR_COLLECTION, top)
    old = [o for o in top.all_objects if o.get(ROLE) in roles and is_result(o)]
    master_shown = any(o.get(ROLE) == "master" and not o.hide_get() for o in old)
    _remove(old)
    made = []
    for piece in pieces:
        obj = new_object(piece.name, piece.vertices_mm, piece.faces, scene)
        is_air = piece.role in AIR_ROLES
        (air if is_air else top).objects.link(obj)
        obj[ROLE], obj[INDEX], obj[MADE_AS] = piece.role, piece.index, obj.name
        if piece.color:
            obj.data.materials.append(material(piece.color))
            obj.color = COLORS[piece.color][1]
        obj.show_in_front = is_air
        if piece.role == "master":
            # It lies exactly on the figure: drawn in front, the two do not flicker.
            obj.show_in_front = True
            obj.hide_render = True
        made.append(obj)
    if "master" in roles:
        show_master(scene, master_shown)
    return made


def material(key: str) -> bpy.types.Material:
    """Return the extension's material of that key, made once per file."""
    for known in bpy.data.materials:
        if known.get(ROLE) == key and known.library is None:
            return known
    name, color = COLORS[key]
    made = bpy.data.materials.new(name)
    made[ROLE] = key
    made.diffuse_color = color
    made.roughness = 0.5
    if made.node_tree is not None:  # where materials have nodes from the start
        for node in made.node_tree.nodes:
            if node.type == "BSDF_PRINCIPLED":
                node.inputs["Base Color"].default_value = color
    return made


def show_master(scene: bpy.types.Scene, master: bool) -> None:
    """Show either the fused master alone or its parts and the air."""
    for layer in scene.view_layers:
        layer.update()  # else objects that were linked just now are not known yet
    top = collection(scene)
    for obj in top.all_objects if top is not None else ():
        if is_result(obj):
            _hide(obj, scene, (obj[ROLE] == "master") != master)


def _hide(obj: bpy.types.Object, scene: bpy.types.Scene, hidden: bool) -> None:
    """Close or open the object's eye in all view layers that have the object."""
    for layer in scene.view_layers:
        if obj.name in layer.objects:
            obj.hide_set(hidden, view_layer=layer)


def _marked(
    collections: Iterable[bpy.types.Collection], mark: str
) -> bpy.types.Collection | None:
    return next((c for c in collections if c.get(ROLE) == mark and c.library is None), None)


def _new_collection(name: str, parent: bpy.types.Collection) -> bpy.types.Collection:
    made = bpy.data.collections.new(name)
    made[ROLE] = name
    parent.children.link(made)
    return made


def _remove(objects: list[bpy.types.Object]) -> None:
    """Remove objects with their meshes; what the user hung on them stays where it is."""
    doomed = set(objects)
    for obj in objects:
        for child in obj.children:
            if child not in doomed:
                place = child.matrix_world.copy()
                child.parent = None
                child.matrix_world = place
    meshes = {obj.data for obj in objects}
    bpy.data.batch_remove(objects)
    bpy.data.batch_remove([mesh for mesh in meshes if mesh.users == 0])
