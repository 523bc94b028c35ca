"""Copies of the figure, turned: as it is poured, or with its base side down."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import atan2, pi

import bpy
from mathutils import Quaternion, Vector

from ..bridge import check_surface, evaluated_object, placed_points

DOWN = Vector((0.0, 0.0, -1.0))
# Turned over sideways, so that a figure that looks at the viewer still does.
OVER = Quaternion((0.0, 1.0, 0.0), pi)
# Below this the shortest turn has no axis of its own.
LEAST_AXIS = 1e-6
# What lies this near to the top, as a share of the height, is the top.
TOP_SHARE = 0.005


@dataclass(frozen=True)
class Copy:
    """A copy of a figure's object; `place` is where the origin is while the figure stands."""

    object: bpy.types.Object
    place: Vector


def base_down(up: Sequence[float]) -> Quaternion:
    """Return the shortest turn after which the pour direction points down, as on the board."""
    start = Vector(up).normalized()
    axis = start.cross(DOWN)
    if axis.length < LEAST_AXIS:
        return Quaternion() if start.dot(DOWN) > 0.0 else OVER.copy()
    return Quaternion(axis, atan2(axis.length, start.dot(DOWN)))


def as_poured(up: Sequence[float]) -> Quaternion:
    """Return the turn after which the pour direction points up: the board's side, turned over.

    Neighbouring directions give neighbouring turns, but for those that point nearly up already.
    """
    return OVER @ base_down(up)


def copies(context: bpy.types.Context, objects: Iterable[bpy.types.Object]) -> list[Copy]:
    """Return unlinked mesh copies of objects as the viewport shows them; raises JobError.

    Modifiers, parents, scale and shear end up in the mesh, so that a copy can be turned about its
    origin; materials and vertex groups stay.
    """
    depsgraph = context.evaluated_depsgraph_get()
    made: list[Copy] = []
    try:
        for obj in objects:
            made.append(_copy(obj, evaluated_object(obj, depsgraph), depsgraph))
            check_surface(obj, made[-1].object.data)
    except Exception:
        discard(made)
        raise
    return made


def name_after(copy: Copy, obj: bpy.types.Object) -> None:
    """Name a copy, and its mesh, after its object, or as near to that as names are free."""
    copy.object.data.name = copy.object.name = f"{obj.name} Turned"


def discard(made: Iterable[Copy]) -> None:
    """Remove copies that will not be used."""
    for copy in made:
        bpy.data.meshes.remove(copy.object.data)  # takes the object along


def _copy(
    obj: bpy.types.Object, evaluated: bpy.types.Object, depsgraph: bpy.types.Depsgraph
) -> Copy:
    mesh = bpy.data.meshes.new_from_object(
        evaluated, preserve_all_data_layers=True, depsgraph=depsgraph
    )
    for i, slot in enumerate(evaluated.material_slots):
        if slot.link == "OBJECT" and i < len(mesh.materials):
            mesh.materials[i] = slot.material.original if slot.material else None
    matrix = evaluated.matrix_world
    mesh.transform(matrix.to_3x3().to_4x4())
    if matrix.is_negative:
        mesh.flip_normals()
    made = Copy(bpy.data.objects.new(obj.name, mesh), matrix.translation.copy())
    made.object.color = obj.color
    name_after(made, obj)
    return made


def extent(made: Sequence[Copy]) -> tuple[Vector, Vector]:
    """Return the lowest and the highest corner of the copies as they are now, Blender units."""
    points = placed_points(copy.object for copy in made)
    return Vector(points.min(axis=0)), Vector(points.max(axis=0))


def stand(made: Sequence[Copy], turn: Quaternion, foot: Vector) -> Vector:
    """Turn copies and put the middle of their underside at `foot`; return their highest point."""
    for copy in made:
        copy.object.rotation_euler = turn.to_euler()
        copy.object.location = turn @ copy.place
    points = placed_points(copy.object for copy in made)
    low, high = points.min(axis=0), points.max(axis=0)
    shift = foot - Vector(((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0, low[2]))
    for copy in made:
        copy.object.location += shift
    top = points[points[:, 2] >= high[2] - TOP_SHARE * (high[2] - low[2])]
    # The middle of a flat top, or of a ring the point of it that is nearest to the middle.
    nearest = ((top - top.mean(axis=0)) ** 2).sum(axis=1).argmin()
    return Vector(top[nearest]) + shift
