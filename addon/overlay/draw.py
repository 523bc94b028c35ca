"""The handlers that draw over every 3D view, and what makes them forget."""

from __future__ import annotations

from typing import Any

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d

from ..mould.scene import way_point_objects
from ..rising import cavities
from ..rising import draw as rising
from ..stored import stored_plan
from . import bubbles, hatch, legend, numbers, pockets, protected

_handles: list[Any] = []


def register() -> None:
    """Draw in every 3D view from now on; nothing is made before it is first drawn."""
    bpy.app.handlers.load_post.append(_forget)
    bpy.app.handlers.undo_post.append(_forget)
    bpy.app.handlers.redo_post.append(_forget)
    bpy.app.handlers.depsgraph_update_post.append(_on_change)
    if bpy.app.background:
        return
    add = bpy.types.SpaceView3D.draw_handler_add
    _handles.append(add(_draw_marks, (), "WINDOW", "POST_VIEW"))
    _handles.append(add(_draw_texts, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Draw no more."""
    handlers = bpy.app.handlers
    for kind in (handlers.load_post, handlers.undo_post, handlers.redo_post):
        kind.remove(_forget)
    handlers.depsgraph_update_post.remove(_on_change)
    for handle in _handles:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    _handles.clear()
    _forget()
    for module in (bubbles, hatch, legend):
        module.forget()


@bpy.app.handlers.persistent
def _forget(*_: Any) -> None:
    """What was read may be another file's, or of before an undo."""
    for module in (cavities, pockets, protected):
        module.forget()


@bpy.app.handlers.persistent
def _on_change(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    protected.on_change(scene, depsgraph)


def _wanted(context: bpy.types.Context) -> bool:
    """Whether this view shows overlays, and the figure as it stands and no turned copy."""
    return context.space_data.overlay.show_overlays and not (
        context.scene.pourwright.pose.previewing
    )


def _draw_marks() -> None:
    context = bpy.context
    if not _wanted(context):
        return
    scene, shown = context.scene, context.scene.pourwright.overlay
    ui = context.preferences.system.ui_scale
    if shown.protected:
        surfaces = protected.surfaces_of(scene)
        hatch.draw(context.region_data, surfaces, context.view_layer, ui)
    held = pockets.pockets_of(scene) if shown.bubbles else None
    if held is not None:
        bubbles.draw(context.region, context.region_data, held, shown.bubble_scale, ui)


def _draw_texts() -> None:
    context = bpy.context
    if not _wanted(context):
        return
    scene, shown = context.scene, context.scene.pourwright.overlay
    ui, region = context.preferences.system.ui_scale, context.region
    held = pockets.pockets_of(scene)
    if held is not None and scene.pourwright.rising.labels:
        matrix, active = context.region_data.perspective_matrix, scene.pourwright.air.active_pocket
        found = numbers.labels(held, matrix, region.width, region.height, active, ui)
        legend.write(((str(number), x, y) for number, x, y in found), legend.TEXT_PX * ui)
    plan = stored_plan(scene) if shown.cut else None
    if plan is not None and plan["mould"] is not None:
        _way_points(context, ui)
    if shown.legend and _tells(context):
        rows = legend.rows(
            scene, held, rising.shown(context), bool(protected.surfaces_of(scene))
        )
        legend.draw(rows, legend.corner(context, ui), ui)


def _way_points(context: bpy.types.Context, ui: float) -> None:
    gap, texts = numbers.OFFSET_PX * ui, []
    for obj in way_point_objects(context.scene):
        place = obj.matrix_world.translation
        at = location_3d_to_region_2d(context.region, context.region_data, place)
        if at is not None and obj.visible_get():
            texts.append((obj.name, at.x + gap, at.y - gap))
    legend.write(texts, legend.TEXT_PX * ui)


def _tells(context: bpy.types.Context) -> bool:
    """Whether the legend goes into this view: of the four of a quad view, into the last."""
    views = context.space_data.region_quadviews
    return not views or context.region_data == views[-1]
