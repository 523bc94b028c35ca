"""Objects that the extension makes: a collection for each figure, replaced at every run.

The scene points at the collection of its current figure; that of another figure in the list is
out of reach until that figure is the current one.

An object is the extension's own while it carries the mark that it was made with and the name it
was made under. A copy or a renamed object is the user's and is never removed. Every curve in the
collection is a vent, but for those that were made as gates; a rod of the extension's own that the
user reshaped is set aside, not removed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import bpy

from . import making
from .bridge import new_object, store_levels
from .curves import digest, new_curve

COLLECTION, AIR_COLLECTION = "Pourwright", "Air Pockets"
# Kinds of rods, and the collections for those of the extension's own that the user reshaped.
ASIDE_COLLECTIONS = {"vent": "Vents Set Aside", "gate": "Gates Set Aside"}
ROLE, MADE_AS, INDEX = "pourwright_role", "pourwright_made_as", "pourwright_index"
SHAPE = "pourwright_shape"  # a rod's digest when it was made
AIR_ROLES = ("pocket", "pocket_after", "rising")
BODY_ROLES = ("master", "base", "funnel", "socket")
MOULD_ROLES = ("box", "rubber_air", "cut", "hinge", "knife", "slit", "way_point")
FUSED_ROLES = ("master", "socket")  # what is printed, made of the other results
# Which switch of the overlay a role follows.
SWITCHES = {"vent": "rods", "gate": "rods"} | dict.fromkeys(MOULD_ROLES, "cut")
SWITCHES |= {"box": "box", "rubber_air": "rubber_air"}

# Colours told apart by every kind of colour vision (Okabe and Ito 2008), linear RGB.
COLORS = {
    "matters": ("Air That Matters", (0.791, 0.347, 0.0, 1.0)),
    "small": ("Air That Vanishes", (0.093, 0.456, 0.815, 1.0)),
    "drained": ("Air That Is Vented", (0.0, 0.342, 0.174, 1.0)),
    "base": ("Sprue Base", (0.23, 0.25, 0.28, 1.0)),
    "funnel": ("Funnel", (0.42, 0.38, 0.30, 1.0)),
    "vent": ("Vent", (0.0, 0.168, 0.445, 1.0)),
    "gate": ("Gate", (0.604, 0.191, 0.386, 1.0)),
    "cut": ("Cut", (0.665, 0.112, 0.0, 1.0)),
    "hinge": ("Hinge", (0.0, 0.168, 0.445, 1.0)),
    "slit": ("Slit", (0.871, 0.767, 0.054, 1.0)),
    "knife": ("Knife Enters", (0.665, 0.112, 0.0, 1.0)),
    "socket": ("Base With Socket", (0.23, 0.25, 0.28, 1.0)),
    "pour": ("Pour", (0.80, 0.27, 0.52, 1.0)),
}


@dataclass(frozen=True)
class Piece:
    """One object to make; `color` is a key of COLORS or empty for no material.

    levels_mm : of each face of a cavity, the level that closes its air in.
    """

    role: str
    index: int
    name: str
    vertices_mm: Any
    faces: Any
    color: str = ""
    levels_mm: Any = None


def is_result(obj: bpy.types.Object) -> bool:
    """Whether the extension made this object and nobody copied or renamed it."""
    return ROLE in obj and obj.get(MADE_AS) == obj.name


def mark(obj: bpy.types.Object, role: str, index: int) -> None:
    """Make the object, under the name it has now, the extension's own."""
    obj[ROLE], obj[INDEX], obj[MADE_AS] = role, index, obj.name


def collection(scene: bpy.types.Scene) -> bpy.types.Collection | None:
    """Return the results of the scene's current figure, or None before its first run."""
    settings, there = scene.pourwright, scene.collection.children_recursive
    if settings.results is not None and settings.results in there:
        return settings.results
    # With a list of figures, any other collection of results is another figure's; without one, a
    # file of an earlier version has but this one and does not point at it.
    return None if settings.batch.figures else marked(there, COLLECTION)


def home(scene: bpy.types.Scene) -> bpy.types.Collection:
    """Return the results of the scene's current figure; makes the collection if need be."""
    settings, top = scene.pourwright, collection(scene)
    if top is None:
        rows = settings.batch.figures
        name = title(rows[settings.batch.loaded].name) if rows else COLLECTION
        top = new_collection(name, scene.collection, COLLECTION)
    settings.results = top
    return top


def title(figure: str) -> str:
    """Return what the collection of one figure of several is called."""
    return f"{COLLECTION}: {figure}"


def find(scene: bpy.types.Scene, role: str, index: int = 0) -> bpy.types.Object | None:
    """Return the result of that role and number of the current figure, or None."""
    return find_in(collection(scene), role, index)


def find_in(
    top: bpy.types.Collection | None, role: str, index: int = 0
) -> bpy.types.Object | None:
    """Return the result of that role and number in one figure's collection, or None."""
    if top is None:
        return None
    for obj in top.all_objects:
        if obj.get(ROLE) == role and obj.get(INDEX) == index and is_result(obj):
            return obj
    return None


def vents(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the vents that are there now: the extension's own, then the user's, by name."""
    return _rods(scene, "vent")


def gates(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the gates that are there now: the extension's own, then copies, by name."""
    return _rods(scene, "gate")


def _rods(scene: bpy.types.Scene, role: str) -> list[bpy.types.Object]:
    top = collection(scene)
    if top is None:
        return []
    asides = (marked(top.children, name) for name in ASIDE_COLLECTIONS.values())
    left_out = {obj for aside in asides if aside is not None for obj in aside.all_objects}
    found = [o for o in top.all_objects if _rod_role(o) == role and o not in left_out]
    return sorted(found, key=_by_number)


def _rod_role(obj: bpy.types.Object) -> str:
    """Return which kind of rod an object in the collection is, or nothing."""
    role = obj.get(ROLE)
    if role in MOULD_ROLES:
        return ""
    if role in ASIDE_COLLECTIONS:
        return role
    return "vent" if obj.type == "CURVE" else ""


def _by_number(obj: bpy.types.Object) -> tuple[bool, list[tuple[str, int]]]:
    """Sort key that puts 2 before 10."""
    parts = re.findall(r"(\D*)(\d*)", obj.name)
    return not is_result(obj), [(text, int(digits or 0)) for text, digits in parts]


def rod_digests(objects: Iterable[bpy.types.Object]) -> str:
    """Return a text that changes when one of these rods is changed, added or removed."""
    return " ".join(sorted(digest(obj) for obj in objects))


def replace(
    scene: bpy.types.Scene, roles: Sequence[str], pieces: Iterable[Piece]
) -> list[bpy.types.Object]:
    """Remove earlier results of `roles` and put `pieces` in their place."""
    top = home(scene)
    air = marked(top.children, AIR_COLLECTION) or new_collection(AIR_COLLECTION, top)
    old = [o for o in top.all_objects if o.get(ROLE) in roles and is_result(o)]
    shown = shown_role(scene)
    remove_all(old)
    made = []
    for piece in pieces:
        made_before = making.take(piece.vertices_mm)
        smooth = piece.role not in making.NEVER_SEEN
        obj = new_object(
            piece.name, piece.vertices_mm, piece.faces, scene, made_before, smooth
        )
        is_air = piece.role in AIR_ROLES
        (air if is_air else top).objects.link(obj)
        mark(obj, piece.role, piece.index)
        paint(obj, piece.color)
        obj.show_in_front = is_air
        if piece.levels_mm is not None:
            # Only the overlay of the view reads it.
            store_levels(obj, piece.levels_mm)
            obj.hide_viewport = obj.hide_render = obj.hide_select = True
        if piece.role in FUSED_ROLES:
            # It lies exactly on the figure: drawn in front, the two do not flicker.
            obj.show_in_front = True
            obj.hide_render = True
        made.append(obj)
    if "master" in roles:
        show(scene, shown)
    return made


def replace_rods(
    scene: bpy.types.Scene, role: str, rods: Iterable[tuple[Sequence[Sequence[float]], float]]
) -> tuple[list[bpy.types.Object], list[str]]:
    """Put new vents or gates, as path and diameter in mm, in the place of the extension's own.

    Returns the new objects, and the names of those that the user had reshaped: they are set aside
    in a collection of their own and hidden. Rods that the user made stay where they are.
    """
    top = home(scene)
    own = [o for o in _rods(scene, role) if o.get(ROLE) == role and is_result(o)]
    reshaped = [o for o in own if o.get(SHAPE) not in (None, digest(o))]
    aside = [_set_aside(obj, top, scene) for obj in reshaped]
    remove_all([o for o in own if o not in reshaped] + _deleted_rods(role))
    role_shown = shown_role(scene)
    made = []
    for i, (path_mm, diameter_mm) in enumerate(rods):
        obj = add_rod(scene, role, f"{role.title()} {i + 1}", path_mm, diameter_mm)
        obj[INDEX], obj[MADE_AS] = i, obj.name
        made.append(obj)
    _update(scene)
    for obj in made:
        obj[SHAPE] = digest(obj)
        hide(obj, scene, hidden(obj, scene, role_shown))
    return made, aside


def add_rod(
    scene: bpy.types.Scene,
    role: str,
    name: str,
    path_mm: Sequence[Sequence[float]],
    diameter_mm: float,
) -> bpy.types.Object:
    """Put a vent or gate into the collection that counts as the user's own."""
    obj = new_curve(name, [path_mm], diameter_mm, scene)
    obj[ROLE] = role
    paint(obj, role)
    home(scene).objects.link(obj)
    return obj


def remove(obj: bpy.types.Object) -> None:
    """Remove one object with its data; what the user hung on it stays where it is."""
    remove_all([obj])


def remove_all(objects: list[bpy.types.Object]) -> None:
    """Remove objects with their data; what the user hung on them stays where it is."""
    doomed = set(objects)
    for obj in objects:
        for child in obj.children:
            if child not in doomed:
                place = child.matrix_world.copy()
                child.parent = None
                child.matrix_world = place
    data = {obj.data for obj in objects if obj.data is not None}
    bpy.data.batch_remove(objects)
    bpy.data.batch_remove([held for held in data if held.users == 0])


def marked(
    collections: Iterable[bpy.types.Collection], name: str
) -> bpy.types.Collection | None:
    """Return the collection that was made under the name `name`, whatever it is called now."""
    return next((c for c in collections if c.get(ROLE) == name and c.library is None), None)


def new_collection(
    name: str, parent: bpy.types.Collection, role: str = ""
) -> bpy.types.Collection:
    """Make a collection of the extension's own; its role is its name where none is given."""
    made = bpy.data.collections.new(name)
    made[ROLE] = role or name
    parent.children.link(made)
    return made


def material(key: str) -> bpy.types.Material:
    """Return the extension's material of that key, made once per file."""
    known = _known_material(key)
    if known is not None:
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


def forget_material(key: str) -> None:
    """Remove the extension's material of that key if nothing has it any more."""
    known = _known_material(key)
    if known is not None and known.users == 0:
        bpy.data.materials.remove(known)


def _known_material(key: str) -> bpy.types.Material | None:
    held = (m for m in bpy.data.materials if m.get(ROLE) == key and m.library is None)
    return next(held, None)


def paint(obj: bpy.types.Object, color: str) -> None:
    """Give the object the extension's material of that key; empty for none."""
    if color:
        obj.data.materials.append(material(color))
        obj.color = COLORS[color][1]


def show(scene: bpy.types.Scene, role: str) -> None:
    """Show the fused master or the base with its socket alone; empty for the parts and the air."""
    _update(scene)  # else objects that were linked just now are not known yet
    top = collection(scene)
    if top is None:
        return
    if role and find(scene, role) is None:  # there is no socket any more
        role = ""
    for obj in {*(o for o in top.all_objects if is_result(o)), *vents(scene), *gates(scene)}:
        hide(obj, scene, hidden(obj, scene, role))


def hidden(obj: bpy.types.Object, scene: bpy.types.Scene, role: str) -> bool:
    """Whether a result is not to be seen where the fused result of `role` is shown, "" for none."""
    own = _rod_role(obj) or obj.get(ROLE)
    if role or own in FUSED_ROLES:
        return own != role
    return own in SWITCHES and not getattr(scene.pourwright.overlay, SWITCHES[own])


def shown_role(scene: bpy.types.Scene) -> str:
    """Return which of the fused results the user looks at, empty for the parts."""
    for role in FUSED_ROLES:
        obj = find(scene, role)
        if obj is not None and not obj.hide_get():
            return role
    return ""


def _deleted_rods(role: str) -> list[bpy.types.Object]:
    """Rods that the user deleted and nothing holds any more; they would keep their names taken."""
    return [o for o in bpy.data.objects if o.get(ROLE) == role and o.users == 0]


def _update(scene: bpy.types.Scene) -> None:
    """Let Blender take note of new objects and where they stand."""
    for layer in scene.view_layers:
        layer.update()


def hide(obj: bpy.types.Object, scene: bpy.types.Scene, closed: bool) -> None:
    """Close or open the object's eye in all view layers that have the object."""
    for layer in scene.view_layers:
        if obj.name in layer.objects:
            obj.hide_set(closed, view_layer=layer)


def _set_aside(
    obj: bpy.types.Object, top: bpy.types.Collection, scene: bpy.types.Scene
) -> str:
    """Make a rod of the extension the user's, hidden and no longer counted; return its name."""
    name = ASIDE_COLLECTIONS[obj[ROLE]]
    aside = marked(top.children, name) or new_collection(name, top)
    for holder in obj.users_collection:
        if holder == top or holder in top.children_recursive:
            holder.objects.unlink(obj)
    aside.objects.link(obj)
    obj.name = f"{obj.name} Edited"
    del obj[MADE_AS]
    _update(scene)
    hide(obj, scene, True)
    return obj.name
