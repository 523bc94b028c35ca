"""The figure shown turned as it would be poured, in place of the figure itself.

What is shown are copies in a collection of their own. The figure, and results that belong to it as
it stands, are hidden in every view layer. Each layer keeps the list of what was hidden in it, so
undo, saving and renaming carry flags and list together, and ending a preview shows exactly that.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from math import cos, pi, sin

import bpy
from mathutils import Vector

from .. import results
from ..bridge import mm_per_unit, new_object
from ..figure.settings import chosen, state
from ..jobs import JobError
from .turned import Copy, as_poured, copies, extent, stand

COLLECTION = "Pose Preview"
PART, ARROW = "pose_part", "pose_arrow"
PLACE, FOOT, SIZE = "pourwright_place", "pourwright_foot", "pourwright_size"
ARROW_SHARE, ARROW_GAP_SHARE = 0.16, 0.03  # of the figure's diagonal
# The arrow's outline for a length of 1, its tip at the origin: radius and height.
ARROW_OUTLINE = ((0.17, 0.42), (0.07, 0.42), (0.07, 1.0))
ARROW_SIDES = 32


def show(context: bpy.types.Context, up: Sequence[float]) -> None:
    """Show the figure with `up` pointing up; opens the preview if need be; raises JobError."""
    scene, figure = context.scene, chosen(context.scene)
    shown = _shown(scene)
    changed = bool(figure) and scene.pourwright.pose.preview_of != _digest(figure)
    if not scene.pourwright.pose.previewing or not shown or changed:
        shown = _open(context, figure)
    home = _home(scene)
    top = stand(shown, as_poured(up), Vector(home[FOOT]))
    for obj in home.objects:
        if obj.get(results.ROLE) == ARROW and results.is_result(obj):
            above = home[SIZE] * (ARROW_GAP_SHARE + ARROW_SHARE / 2.0)
            obj.location = top + Vector((0.0, 0.0, above))


def end(scene: bpy.types.Scene) -> None:
    """Take the preview away and show what it had hidden; safe when none is open."""
    home = _home(scene)
    ours = [o for o in bpy.data.objects if o.get(results.ROLE) in (PART, ARROW) and o.users == 0]
    if home is not None:
        ours += [o for o in home.objects if results.is_result(o)]
    results.remove_all(ours)
    if home is not None and not home.all_objects and not home.children:
        bpy.data.collections.remove(home)
    results.forget_material("pour")
    for layer in scene.view_layers:
        _give_back(layer)
    pose = scene.pourwright.pose
    pose.previewing, pose.preview_of = False, ""


def _open(context: bpy.types.Context, figure: list[bpy.types.Object]) -> list[Copy]:
    """Make the copies and hide what they stand for."""
    scene = context.scene
    if not figure:
        raise JobError("The figure is gone; select its objects and press Use Selected")
    end(scene)
    made = copies(context, figure)
    for copy in made:
        copy.object.location = copy.place
    low, high = extent(made)
    # One that holds something of the user's is still there.
    home = _home(scene) or results.new_collection(COLLECTION, scene.collection)
    home[FOOT] = [(low.x + high.x) / 2.0, (low.y + high.y) / 2.0, low.z]
    home[SIZE] = (high - low).length
    for i, copy in enumerate(made):
        copy.object[PLACE] = list(copy.place)
        _keep(home, copy.object, PART, i)
    arrow = _arrow(scene, home[SIZE] * ARROW_SHARE)
    results.paint(arrow, "pour")
    _keep(home, arrow, ARROW, 0)
    _join_local_view(context, home)
    top = results.collection(scene)
    _hide(scene, {*figure, *(top.all_objects if top is not None else ())})
    pose = scene.pourwright.pose
    pose.previewing, pose.preview_of = True, _digest(figure)
    return made


def _keep(
    home: bpy.types.Collection, obj: bpy.types.Object, role: str, index: int
) -> None:
    """Put an object of the preview into its collection, out of reach of clicks and renders."""
    home.objects.link(obj)
    results.mark(obj, role, index)
    obj.hide_select = obj.hide_render = True


def _join_local_view(context: bpy.types.Context, home: bpy.types.Collection) -> None:
    """Show the preview in a 3D view that shows some objects only."""
    space = context.space_data
    if space is not None and space.type == "VIEW_3D" and space.local_view is not None:
        context.view_layer.update()
        for obj in home.objects:
            obj.local_view_set(space, True)


def _arrow(scene: bpy.types.Scene, length: float) -> bpy.types.Object:
    """Return an unlinked arrow that points down, `length` Blender units long."""
    size_mm = length * mm_per_unit(scene)
    ring = [2.0 * pi * i / ARROW_SIDES for i in range(ARROW_SIDES)]
    vertices = [(0.0, 0.0, 0.0)]
    faces = []
    for row, (radius, height) in enumerate(ARROW_OUTLINE):
        vertices += [(radius * cos(a), radius * sin(a), height) for a in ring]
        for i in range(ARROW_SIDES):
            a, b = (1 + row * ARROW_SIDES + (i + k) % ARROW_SIDES for k in (0, 1))
            if row == 0:
                faces.append((0, b, a))
            else:
                below = (a - ARROW_SIDES, b - ARROW_SIDES)
                faces += [(below[0], below[1], b), (below[0], b, a)]
    last = 1 + (len(ARROW_OUTLINE) - 1) * ARROW_SIDES
    vertices.append((0.0, 0.0, ARROW_OUTLINE[-1][1]))
    faces += [
        (last + i, last + (i + 1) % ARROW_SIDES, len(vertices) - 1) for i in range(ARROW_SIDES)
    ]
    scaled = [tuple(size_mm * c for c in vertex) for vertex in vertices]
    return new_object("Pour", scaled, faces, scene)


def _home(scene: bpy.types.Scene) -> bpy.types.Collection | None:
    return results.marked(scene.collection.children_recursive, COLLECTION)


def _shown(scene: bpy.types.Scene) -> list[Copy]:
    """Return the preview's copies that are still there."""
    home = _home(scene)
    if home is None:
        return []
    parts = (o for o in home.objects if o.get(results.ROLE) == PART and results.is_result(o))
    return [Copy(obj, Vector(obj[PLACE])) for obj in parts if PLACE in obj]


def _digest(figure: Iterable[bpy.types.Object]) -> str:
    return json.dumps(state(figure))


def _hide(scene: bpy.types.Scene, objects: set[bpy.types.Object]) -> None:
    for layer in scene.view_layers:
        layer.update()
        kept = layer.pourwright.hidden
        for obj in sorted(objects, key=lambda o: o.name):
            if not _in_layer(obj, layer) or obj.hide_get(view_layer=layer):
                continue
            row = kept.add()
            row.object, row.selected = obj, obj.select_get(view_layer=layer)
            obj.hide_set(True, view_layer=layer)


def _in_layer(obj: bpy.types.Object, layer: bpy.types.ViewLayer) -> bool:
    """Whether the layer has this very object; a linked one may share its name with a local one."""
    return layer.objects.get(obj.name) == obj or obj in layer.objects.values()


def _give_back(layer: bpy.types.ViewLayer) -> None:
    """Show what the preview had hidden in a layer, selected as it was unless others are now."""
    rows = layer.pourwright.hidden
    if not rows:
        return
    layer.update()
    free = not any(obj.select_get(view_layer=layer) for obj in layer.objects)
    for row in rows:
        obj = row.object
        if obj is not None and _in_layer(obj, layer):
            obj.hide_set(False, view_layer=layer)
            if free and row.selected:
                obj.select_set(True, view_layer=layer)
    rows.clear()
