"""Results that are objects follow the switches of the overlay.

They close the eyes of rods and of the mould, as objects that are disabled would not be computed
and read at a wrong place; and the eye of the collection that holds the shapes of air.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import bpy

from . import results


def follow(scene: bpy.types.Scene) -> None:
    """Bring rods, mould and the shapes of air into line with the switches."""
    role, top = results.shown_role(scene), results.collection(scene)
    mould = [o for o in (top.all_objects if top is not None else ())
             if o.get(results.ROLE) in results.MOULD_ROLES and results.is_result(o)]  # fmt: skip
    for obj in (*results.vents(scene), *results.gates(scene), *mould):
        results.hide(obj, scene, results.hidden(obj, scene, role))
    show_shapes(scene)


def settle(scene: bpy.types.Scene, made: Iterable[bpy.types.Object]) -> None:
    """Close the eyes of new results whose switch is off."""
    off = [obj for obj in made if results.hidden(obj, scene, "")]
    if off:
        for layer in scene.view_layers:
            layer.update()  # else objects that were linked just now are not known yet
    for obj in off:
        results.hide(obj, scene, True)


def show_shapes(scene: bpy.types.Scene) -> None:
    """Shapes of air are drawn in front: while resin is shown their collection is hidden."""
    hidden = scene.pourwright.rising.show or not scene.pourwright.overlay.shapes
    for layer in scene.view_layers:
        for held in _layers(layer.layer_collection):
            if held.collection.get(results.ROLE) == results.AIR_COLLECTION:
                held.hide_viewport = hidden


def _layers(top: bpy.types.LayerCollection) -> Iterator[bpy.types.LayerCollection]:
    yield top
    for held in top.children:
        yield from _layers(held)
