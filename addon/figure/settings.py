"""Settings of the figure: which objects, and how big a unit is."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import bpy

from ..bridge import SURFACE_TYPES, in_scene
from ..results import ASIDE_COLLECTIONS, ROLE, is_result
from ..translations import say
from .shape import shape

RODS = tuple(ASIDE_COLLECTIONS)


class PourwrightFigurePart(bpy.types.PropertyGroup):
    """One object of the figure."""

    object: bpy.props.PointerProperty(
        name="Object",
        description="An object that belongs to the figure",
        type=bpy.types.Object,
        poll=lambda self, obj: obj.type in SURFACE_TYPES,
    )


class PourwrightFinding(bpy.types.PropertyGroup):
    """Something that was noticed in the figure."""

    text: bpy.props.StringProperty(name="Finding", description="What was noticed in the figure")
    has_place: bpy.props.BoolProperty(name="Has a Place", description="Whether it is at one place")
    place_mm: bpy.props.FloatVectorProperty(
        name="Place", description="Where it is, in millimetres", size=3
    )


def _groups(self: PourwrightFigure, context: bpy.types.Context, text: str) -> list[str]:
    """Return the names of the figure's vertex groups that hold what was typed."""
    names = {group.name for obj in chosen(context.scene) for group in obj.vertex_groups}
    return sorted(name for name in names if text.lower() in name.lower())


class PourwrightFigure(bpy.types.PropertyGroup):
    """The figure and its scale."""

    parts: bpy.props.CollectionProperty(
        name="Figure", description="Objects that together are the figure", type=PourwrightFigurePart
    )
    active_part: bpy.props.IntProperty(name="Object", description="Row of the figure's list")
    unit: bpy.props.EnumProperty(
        name="Unit",
        description="How long one Blender unit is in the printed and cast figure",
        items=[
            ("SCENE", "Scene Units", "Use the scene's Unit Scale, in metres per Blender unit"),
            ("MM", "1 Unit = 1 mm", "One Blender unit is one millimetre, whatever the scene says"),
            ("CM", "1 Unit = 1 cm", "One Blender unit is one centimetre, whatever the scene says"),
            ("M", "1 Unit = 1 m", "One Blender unit is one metre, whatever the scene says"),
        ],
        default="SCENE",
    )
    protect: bpy.props.StringProperty(
        name="Protected Surface",
        description="Vertex group, on any objects of the figure, whose surface vents keep off",
        default="Protect",
        maxlen=63,
        search=_groups,
    )
    # Results of the last run.
    checked: bpy.props.BoolProperty(name="Checked", description="Whether the figure was checked")
    volume_mm3: bpy.props.FloatProperty(name="Volume", description="Volume in cubic millimetres")
    shells: bpy.props.IntProperty(name="Shells", description="Closed surfaces that were united")
    findings: bpy.props.CollectionProperty(
        name="Findings", description="What was noticed in the figure", type=PourwrightFinding
    )


def chosen(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the figure's objects that are still in the scene."""
    parts = scene.pourwright.figure.parts
    return [part.object for part in parts if in_scene(part.object, scene)]


def state(objects: Iterable[bpy.types.Object]) -> list[list[Any]]:
    """Return what changes when one of the figure's objects is moved or gets another shape."""
    return [
        [obj.name, shape(obj), [round(c, 6) for row in obj.matrix_world for c in row]]
        for obj in objects
    ]


def set_chosen(scene: bpy.types.Scene, objects: list[bpy.types.Object]) -> None:
    """Make `objects` the figure; what was found in another figure is dropped."""
    figure = scene.pourwright.figure
    figure.parts.clear()
    figure.active_part = 0
    figure.checked = False
    figure.findings.clear()
    for obj in objects:
        figure.parts.add().object = obj


def usable(context: bpy.types.Context) -> list[bpy.types.Object]:
    """Return the selected objects that can be a figure."""
    return surfaces(context.selected_objects)


def surfaces(objects: Iterable[bpy.types.Object]) -> list[bpy.types.Object]:
    """Return the objects that can be part of a figure: no results, no rods."""
    return [
        obj
        for obj in objects
        if obj.type in SURFACE_TYPES and not is_result(obj) and obj.get(ROLE) not in RODS
    ]


def instances(context: bpy.types.Context) -> str:
    """Return why a selected instance of a collection is no figure; empty if there is none."""
    for obj in context.selected_objects:
        if obj.type == "EMPTY" and obj.instance_type == "COLLECTION":
            return say("'{name}' shows instances: use Object > Apply > Make Instances Real",
                       name=obj.name)  # fmt: skip
    return ""


classes = (PourwrightFigurePart, PourwrightFinding, PourwrightFigure)
