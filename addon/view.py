"""Selecting results and turning the view to a place."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence

import bpy
from mathutils import Vector

from .bridge import mm_per_unit
from .results import find

# Distance of the view from a place, as a multiple of the size of what is there.
VIEW_SIZES = 6.0
PLACE_SIZE_MM = 4.0

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
    if _quiet or context.mode != "OBJECT" or not obj.visible_get():
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
    context: bpy.types.Context, role: str, index: int, place_mm: Sequence[float]
) -> None:
    """Turn the view to a result, or to its place if it has no object."""
    obj = find(context.scene, role, index)
    if obj is None:
        look_at(context, place_mm)
    else:
        _turn(context, obj.matrix_world.translation, max(obj.dimensions))


def look_at(context: bpy.types.Context, place_mm: Sequence[float]) -> Vector:
    """Turn the view to a place in mm and return it in Blender units."""
    scale = mm_per_unit(context.scene)
    place = Vector(place_mm) / scale
    _turn(context, place, PLACE_SIZE_MM / scale)
    return place


def _turn(context: bpy.types.Context, place: Vector, size: float) -> None:
    region = context.region_data
    if region is not None:
        least = PLACE_SIZE_MM / mm_per_unit(context.scene)
        region.view_location = place
        region.view_distance = VIEW_SIZES * max(size, least)
