"""Selecting results and turning the view to a place."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence

import bpy
from mathutils import Vector

from .bridge import mm_per_unit
from .results import find

# Distance of the view from a place, as a multiple of the size of what is there, and at least.
VIEW_SIZES, LEAST_VIEW_MM = 3.0, 24.0
# A view is turned if it looks from more than 60 degrees off the best side of a pocket, which is
# looked at from a little above its top, as it is in the pour.
SAME_SIDE, RAISED = 0.5, 0.4

_quiet = False


@contextlib.contextmanager
def selection_kept() -> Iterator[None]:
    """Let rows of lists be set without selecting what they stand for."""
    global _quiet
    _quiet = True
    try:
        yield
    finally:
        _quiet = False


def quiet() -> bool:
    """Whether a row of a list is being set without a click."""
    return _quiet


def select_result(context: bpy.types.Context, role: str, index: int) -> bpy.types.Object | None:
    """Select only the result of that role and number, if it is there and can be seen."""
    obj = None if _quiet else find(context.scene, role, index)
    return None if obj is None else select_object(context, obj)


def select_object(
    context: bpy.types.Context, obj: bpy.types.Object
) -> bpy.types.Object | None:
    """Select only this object, if it can be seen."""
    space = _space(context)
    local = space is not None and space.local_view is not None
    # In local view an object that was brought into it just now does not count as visible yet.
    seen = not obj.hide_get() if local else obj.visible_get()
    if _quiet or context.mode != "OBJECT" or not seen:
        return None
    for other in context.selected_objects:
        other.select_set(False)
    obj.select_set(True)
    context.view_layer.objects.active = obj
    return obj


def join_local_views(
    scene: bpy.types.Scene,
    figure: Sequence[bpy.types.Object],
    objects: Sequence[bpy.types.Object],
) -> None:
    """Show objects in those 3D views that show some objects only, the figure among them."""
    for window in bpy.context.window_manager.windows:
        if window.scene != scene:
            continue
        spaces = (a.spaces.active for a in window.screen.areas if a.type == "VIEW_3D")
        for space in spaces:
            if space.local_view is None:
                continue
            window.view_layer.update()
            # Only computed objects know what local views they are in.
            known = [obj.evaluated_get(window.view_layer.depsgraph) for obj in figure]
            if not any(obj.local_view_get(space) for obj in known):
                continue
            there = set(window.view_layer.objects)
            for obj in there.intersection(objects):
                obj.local_view_set(space, True)


def frame_result(
    context: bpy.types.Context, role: str, index: int, place_mm: Sequence[float],
    up: Sequence[float],
) -> None:
    """Turn the view to a result, or to its place if it has no object, and to the side it is on.

    up : what points up in the pour.
    """
    obj, space = find(context.scene, role, index), _space(context)
    scale = mm_per_unit(context.scene)
    place, size = Vector(place_mm) / scale, 0.0
    if obj is not None:
        place, size = obj.matrix_world.translation, max(obj.dimensions)
        if space is not None and space.local_view is not None:
            obj.local_view_set(space, True)
    _turn(context, place, size, _outside(context, place, Vector(up)))


def look_at(context: bpy.types.Context, place_mm: Sequence[float]) -> Vector:
    """Turn the view to a place in mm and return it in Blender units."""
    scale = mm_per_unit(context.scene)
    place = Vector(place_mm) / scale
    _turn(context, place)
    return place


def _space(context: bpy.types.Context) -> bpy.types.SpaceView3D | None:
    """The 3D view that the user is in, from the sidebar too."""
    space = context.space_data
    return space if space is not None and space.type == "VIEW_3D" else None


def _outside(context: bpy.types.Context, place: Vector, up: Vector) -> Vector:
    """Return from where a pocket is seen best: from its side of the figure, and its top in the
    pour, which is where its surface faces.
    """
    obj = find(context.scene, "rising")
    middle = obj.matrix_world.translation if obj is not None else Vector()
    away = place - middle
    away -= away.project(up)
    if away.length < 1e-6 * max(place.length, 1.0):
        return up.normalized()
    return (away.normalized() + RAISED * up.normalized()).normalized()


def _turn(
    context: bpy.types.Context, place: Vector, size: float = 0.0, seen_from: Vector | None = None
) -> None:
    """Move all views of the 3D view to a place; turn those that look at it from behind."""
    space = _space(context)
    if space is None:
        return
    least = LEAST_VIEW_MM / mm_per_unit(context.scene)
    for region in {space.region_3d, *space.region_quadviews}:
        if region.view_perspective == "CAMERA":
            region.view_perspective = "PERSP"
        region.view_location = place
        region.view_distance = max(VIEW_SIZES * size, least)
        fixed = region.lock_rotation or seen_from is None
        if not fixed and _eye(region).dot(seen_from) < SAME_SIDE:
            region.view_rotation = seen_from.to_track_quat("Z", "Y")


def _eye(region: bpy.types.RegionView3D) -> Vector:
    """The direction from what is looked at to the eye."""
    return region.view_rotation @ Vector((0.0, 0.0, 1.0))
