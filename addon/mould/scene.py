"""The mould's box, cut and way points as objects of the scene."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import bpy
from mathutils import Vector

from .. import results, switches
from ..bridge import mm_per_unit, new_object
from ..curves import dashed, new_curve
from ..jobs import Outcome

COLLECTION = "Mould"
NAME, SIDE = "pourwright_way_point", "pourwright_side"
LINE_MM, WAY_POINT_MM = 0.8, 2.0
# Told apart without their colours: the hinge is dashed, the knife's way outside the master thin.
KNIFE_MM, DASH_MM, GAP_MM = 0.4, 3.0, 2.0

Json = dict[str, Any]


def put(scene: bpy.types.Scene, data: Json, outcome: Outcome) -> None:
    """Replace the mould that is in the scene."""
    clear(scene)
    top = results.home(scene)
    held = results.marked(top.children, COLLECTION) or results.new_collection(COLLECTION, top)
    for i, entry in enumerate(data["objects"]):
        if entry["role"] not in results.MOULD_ROLES:
            continue
        arrays = (outcome.arrays[f"{what}_{i}"] for what in ("vertices", "faces"))
        obj = new_object(entry["name"], *arrays, scene)
        _link(obj, held, entry["role"], entry["index"])
        if entry["role"] == "box":
            obj.display_type = "WIRE"
            obj.hide_render = True
        else:
            obj.show_in_front = True
            results.paint(obj, "matters")
    cut = data["mould"]["cut_line"]
    lines = [("cut", "Cut", cut["path_mm"]), ("hinge", "Hinge", cut["hinge_mm"]),
             ("knife", "Knife Enters", cut["outside_mm"])]  # fmt: skip
    for role, name, path in lines:
        _curve(scene, held, role, 0, name, path)
    for i, path in enumerate(cut["slits_mm"]):
        _curve(scene, held, "slit", i, f"Slit {i + 1}", [*path, path[0]])
    for i, way in enumerate(cut["way_points"]):
        _way_point(scene, held, i, way)
    switches.settle(scene, held.objects)


def clear(scene: bpy.types.Scene) -> None:
    """Remove the mould from the scene; what the user made or copied stays."""
    top = results.collection(scene)
    if top is None:
        return
    old = [o for o in top.all_objects
           if o.get(results.ROLE) in results.MOULD_ROLES and results.is_result(o)]  # fmt: skip
    results.remove_all(old)


def way_points(scene: bpy.types.Scene) -> list[Json]:
    """Return the way points where they stand now, mm, in their order round."""
    scale = mm_per_unit(scene)
    return [
        {
            "name": str(obj[NAME]),
            "at_mm": [c * scale for c in obj.matrix_world.translation],
            "side": int(obj[SIDE]),
        }
        for obj in sorted(way_point_objects(scene), key=_index)
    ]


def way_point_objects(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the way points that are in the scene."""
    top = results.collection(scene)
    return [o for o in (top.all_objects if top is not None else ())
            if o.get(results.ROLE) == "way_point" and results.is_result(o)]  # fmt: skip


def _index(obj: bpy.types.Object) -> int:
    return int(obj[results.INDEX])


def _link(
    obj: bpy.types.Object, held: bpy.types.Collection, role: str, index: int
) -> None:
    held.objects.link(obj)
    results.mark(obj, role, index)


def _curve(
    scene: bpy.types.Scene, held: bpy.types.Collection, role: str, index: int, name: str,
    path_mm: Sequence[Sequence[float]],
) -> None:
    if len(path_mm) < 2:
        return
    path = list(_apart(path_mm))
    dashes = dashed(path, DASH_MM, GAP_MM) if role == "hinge" else [path]
    obj = new_curve(name, dashes, KNIFE_MM if role == "knife" else LINE_MM, scene)
    _link(obj, held, role, index)
    results.paint(obj, role)
    obj.hide_render = True
    obj.show_in_front = role != "knife"


def _apart(path_mm: Sequence[Sequence[float]]) -> Iterable[Sequence[float]]:
    """The points without those that repeat the one before."""
    last = None
    for point in path_mm:
        if point != last:
            yield point
        last = point


def _way_point(
    scene: bpy.types.Scene, held: bpy.types.Collection, index: int, way: Json
) -> None:
    obj = bpy.data.objects.new(f"Way Point {index + 1}", None)
    scale = mm_per_unit(scene)
    obj.empty_display_type, obj.empty_display_size = "SPHERE", WAY_POINT_MM / scale
    obj.location = Vector(way["at_mm"]) / scale
    obj.show_in_front = True  # its name is written by the overlay, which any theme leaves readable
    obj[NAME], obj[SIDE] = way["name"], way["side"]
    _link(obj, held, "way_point", index)
