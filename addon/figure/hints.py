"""What the panel says: what is missing, what will be done, what was done, and what comes next."""

from __future__ import annotations

import math

import bpy

from .. import task
from ..air.settings import SAME_DIRECTION, UPSIDE_DOWN
from ..bridge import SURFACE_TYPES, enabled, in_scene
from ..results import is_result
from ..stored import Json, stored_plan
from ..translations import say
from .settings import chosen, instances, usable


def has_figure(operator: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Whether there is a figure to work on; sets the operator's poll message if not."""
    lacking = missing(context)
    if lacking:
        operator.poll_message_set(lacking)
    return not lacking


def missing(context: bpy.types.Context) -> str:
    """Return what to do before there is a figure to work on; empty when there is one."""
    parts = context.scene.pourwright.figure.parts
    if any(not in_scene(part.object, context.scene) for part in parts):
        return say("An object of the figure is gone: remove its row in Figure, or select the "
                   "figure and press Use Selected")  # fmt: skip
    objects = chosen(context.scene) or usable(context)
    return _unfit(context, objects) if objects else _nothing(context)


def empty(context: bpy.types.Context) -> bool:
    """Whether the scene has nothing that could be cast."""
    return not any(obj.type in SURFACE_TYPES and not is_result(obj)
                   for obj in context.scene.objects)  # fmt: skip


def _unfit(context: bpy.types.Context, objects: list[bpy.types.Object]) -> str:
    """Return what is wrong with an object, as far as it shows without computing modifiers."""
    for obj in objects:
        if not enabled(obj, context.view_layer):
            return say("'{name}' is disabled in the viewport: enable it in the Outliner",
                       name=obj.name)  # fmt: skip
        if obj.type == "MESH" and not obj.data.polygons and not obj.modifiers:
            if obj.data.edges:
                return say("'{name}' has edges but no faces: fill it, or add a Skin modifier",
                           name=obj.name)  # fmt: skip
            return say("'{name}' is a mesh without faces: select the figure's own objects",
                       name=obj.name)  # fmt: skip
    return ""


def _nothing(context: bpy.types.Context) -> str:
    selected, active = context.selected_objects, context.view_layer.objects.active
    if empty(context):
        return say("No figure here: import or model one, or try Add > Mesh > Example Snail")
    if not selected and active is not None and not active.visible_get():
        return say("'{name}' is hidden: show it in the Outliner and select it", name=active.name)
    if not selected:
        return say("Select the figure's objects in the view")
    name, kind = selected[0].name, selected[0].type
    if kind in SURFACE_TYPES:
        return say("'{name}' is a result: select the figure's own objects", name=name)
    if instances(context):
        return instances(context)
    kinds = bpy.types.Object.bl_rna.properties["type"].enum_items
    return say("'{name}' has no surface ({kind}): select the figure's meshes",
               name=name, kind=say(kinds[kind].name))  # fmt: skip


def ready(context: bpy.types.Context) -> str:
    """Return what Make Master will do to which objects."""
    listed = chosen(context.scene)
    objects = listed or usable(context)
    what = f"'{objects[0].name}'" if len(objects) == 1 else say("{n} objects", n=len(objects))
    return say("Make Master finds the air that {what} would trap, and adds base, funnel and vents",
               what=what)  # fmt: skip


def other(context: bpy.types.Context) -> str:
    """Return how to get at what is selected and is no part of the figure; empty if nothing is."""
    listed = chosen(context.scene)
    if listed and not set(usable(context)) <= set(listed):
        return say("For what is selected, press Use Selected first")
    return ""


def told(scene: bpy.types.Scene) -> list[tuple[str, str]]:
    """Return why the last plan is as it is and what to do next, each with its icon."""
    plan = stored_plan(scene)
    if plan is None:
        return []
    changed = task.stale(scene)
    if changed:
        return [(changed, "ERROR")]
    return [(_why(plan), "QUESTION"), _next(plan)]


def _why(plan: Json) -> str:
    matter = sum(pocket["matters"] for pocket in plan["pockets"])
    if not matter:
        return say("No air pocket would leave a visible bubble, so no vent was needed")
    values = {"matter": matter, "all": len(plan["pockets"])}
    if math.dist(plan["up"], UPSIDE_DOWN) < SAME_DIRECTION:
        return say("Poured upside down, {matter} of {all} air pockets would leave a visible "
                   "bubble without vents", **values)  # fmt: skip
    return say("{matter} of {all} air pockets would leave a visible bubble without vents",
               **values)  # fmt: skip


def _next(plan: Json) -> tuple[str, str]:
    if any(pocket["matters"] for pocket in plan["pockets_after"]):
        return say("Next: look in Vents why air is left"), "ERROR"
    undecided = sum(warning["open"] for warning in plan["warnings"])
    if undecided:
        return say("Next: decide what is marked in Vents ({n})", n=undecided), "ERROR"
    return say("Next: look it over, then Export writes what you print"), "FORWARD"
