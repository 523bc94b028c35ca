"""What the cases about vents have in common."""

import bpy
import numpy as np
from stage import choose, gate, part, settings

UP = (0.0, 0.0, -1.0)
UNITS = ((0.001, "SCENE", 1.0), (1.0, "SCENE", 1000.0), (0.01, "SCENE", 10.0), (1.0, "CM", 10.0))


def gallows_master(scale_length: float = 0.001, mm: float = 1.0) -> bpy.types.Object:
    """Make the master of the gallows; return its only vent."""
    bpy.context.scene.unit_settings.scale_length = scale_length
    choose(gate(mm))
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    (vent,) = vents()
    assert stale() == ""
    return vent


def vents() -> list[bpy.types.Object]:
    return part("results").vents(bpy.context.scene)


def stale() -> str:
    bpy.context.view_layer.update()
    return part("task").stale(bpy.context.scene)


def read_vent(obj: bpy.types.Object):
    bpy.context.view_layer.update()
    return part("curves").read_rod(obj, UP, bpy.context.scene)


def ring_rows() -> list:
    return [row for row in settings().vents.warnings if row.code.startswith("ring")]


def add_curve(name: str, kind: str, points, **changes) -> bpy.types.Object:
    """Add a curve of one spline, 2 mm thick, to the results."""
    data = bpy.data.curves.new(name, "CURVE")
    data.dimensions, data.bevel_depth = "3D", 1.0
    spline = data.splines.new(kind)
    held = spline.bezier_points if kind == "BEZIER" else spline.points
    held.add(len(points) - 1)
    for point, place in zip(held, points, strict=True):
        point.co = place if kind == "BEZIER" else (*place, 1.0)
        if kind == "BEZIER":
            point.handle_left_type = point.handle_right_type = "AUTO"
    for key, value in changes.items():
        setattr(spline, key, value)
    obj = bpy.data.objects.new(name, data)
    part("results").collection(bpy.context.scene).objects.link(obj)
    return obj


def near(one, other, within: float = 1e-4) -> bool:
    return bool(np.allclose(np.array(one), np.array(other), atol=within))
