"""Vents as curve objects: made from a path and a diameter in mm, and read back as they are.

A vent that the extension makes is a POLY curve whose points are the path and whose bevel depth is
the radius, so that both can be changed with Blender's own tools. Whatever the user makes of it is
read in world space: moved, turned, scaled, with more points, as a Bezier or NURBS curve.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import bpy
from mathutils import Vector, geometry

from .bridge import mm_per_unit
from .jobs import JobError

BEVEL_RESOLUTION = 4
SAMPLES = 12  # of a Bezier or NURBS curve, per segment
SAME_PLACE_SHARE = 1e-6  # points nearer than this share of the length are one

Path = tuple[tuple[float, float, float], ...]
Points = Sequence[Sequence[float]]


@dataclass(frozen=True)
class Rod:
    """A vent as the core takes it: path from its low end upwards in the pour, mm."""

    name: str
    path_mm: Path
    diameter_mm: float

    def entry(self) -> dict[str, Any]:
        """Return what the worker is told of it."""
        return {"name": self.name, "path_mm": self.path_mm, "diameter_mm": self.diameter_mm}


def new_curve(
    name: str, paths_mm: Sequence[Points], diameter_mm: float, scene: bpy.types.Scene
) -> bpy.types.Object:
    """Make an unlinked curve object of one or more paths; its origin is the first point."""
    scale = mm_per_unit(scene)
    origin = Vector(paths_mm[0][0]) / scale
    data = bpy.data.curves.new(name, "CURVE")
    data.dimensions = "3D"
    data.bevel_depth = diameter_mm / 2.0 / scale
    data.bevel_resolution = BEVEL_RESOLUTION
    data.use_fill_caps = True
    for path_mm in paths_mm:
        spline = data.splines.new("POLY")
        spline.points.add(len(path_mm) - 1)
        for point, place in zip(spline.points, path_mm, strict=True):
            point.co = (*(Vector(place) / scale - origin), 1.0)
    obj = bpy.data.objects.new(name, data)
    obj.location = origin
    return obj


def dashed(path_mm: Points, dash_mm: float, gap_mm: float) -> list[Points]:
    """Return the dashes of a path, which begins with one."""
    dashes: list[list[Vector]] = []
    along, period = 0.0, dash_mm + gap_mm
    for low, high in itertools.pairwise(Vector(p) for p in path_mm):
        length = (high - low).length
        # Where this straight piece meets ends of dashes and of gaps.
        first, last = int(along // period), int((along + length) // period)
        for number in range(first, last + 1):
            begin = max(number * period - along, 0.0)
            end = min(number * period + dash_mm - along, length)
            if end <= begin:
                continue
            a, b = (low.lerp(high, part / length) for part in (begin, end))
            if begin == 0.0 and dashes and (dashes[-1][-1] - a).length < SAME_PLACE_SHARE * period:
                dashes[-1].append(b)
            else:
                dashes.append([a, b])
        along += length
    return [[tuple(p) for p in dash] for dash in dashes]


def read_rod(obj: bpy.types.Object, up: Sequence[float], scene: bpy.types.Scene) -> Rod:
    """Return the vent that a curve object is now; raises JobError, naming object and remedy."""
    spline = _spline(obj)
    scale = mm_per_unit(scene)
    matrix = obj.matrix_world
    path = _distinct([matrix @ point for point in _polyline(obj.name, spline)])
    if len(path) < 2:
        raise JobError(f"'{obj.name}' has no length; give it two points at different places")
    along = Vector(up)
    if path[0].dot(along) > path[-1].dot(along):
        path.reverse()
    heights = [point.dot(along) for point in path]
    if any(b <= a for a, b in itertools.pairwise(heights)):
        raise JobError(
            f"'{obj.name}' does not rise all the way in the pour; "
            "move its points so that each is above the one before, seen as poured",
            path[0] * scale,
        )
    diameter = _diameter(obj, spline)
    if diameter <= 0.0:
        raise JobError(
            f"'{obj.name}' has no thickness; set the curve's Bevel Depth, "
            "the radius of its points and its scale above zero",
            path[0] * scale,
        )
    return Rod(obj.name, tuple(tuple(p * scale) for p in path), diameter * scale)


def digest(obj: bpy.types.Object) -> str:
    """Return a text that changes when the vent does; cheap, for it is asked at every redraw."""
    data, place = obj.data, [round(c, 6) for row in obj.matrix_world for c in row]
    found = hashlib.sha256(repr((obj.type, place, len(obj.modifiers))).encode())
    if obj.type == "CURVE":
        found.update(repr((data.bevel_depth, data.bevel_mode)).encode())
        for spline in data.splines:
            bezier = spline.type == "BEZIER"
            points = spline.bezier_points if bezier else spline.points
            found.update(repr((spline.type, spline.use_cyclic_u, spline.order_u)).encode())
            names = ("co", "handle_left", "handle_right") if bezier else ("co",)
            for point in points:
                values = [c for n in names for c in getattr(point, n)]
                found.update(repr((values, point.radius)).encode())
    return found.hexdigest()


def _spline(obj: bpy.types.Object) -> bpy.types.Spline:
    """Return the one open spline of a vent."""
    if obj.type != "CURVE":
        raise JobError(
            f"'{obj.name}' is no curve any more, so it has no path; "
            "delete it or take it out of the Pourwright collection"
        )
    if any(m.show_viewport for m in obj.modifiers):
        raise JobError(f"'{obj.name}' has modifiers; apply or remove them")
    splines = obj.data.splines
    if len(splines) == 0:
        raise JobError(f"'{obj.name}' has no points; draw it from end to end, or delete it")
    if len(splines) > 1:
        raise JobError(
            f"'{obj.name}' has {len(splines)} splines; "
            "a vent has one: separate the others, or delete them"
        )
    if splines[0].use_cyclic_u:
        raise JobError(f"'{obj.name}' is a closed loop; open it: a vent has two ends")
    if obj.data.bevel_mode == "OBJECT":
        raise JobError(f"'{obj.name}' takes its shape from another object; set Bevel to Round")
    return splines[0]


def _polyline(name: str, spline: bpy.types.Spline) -> list[Vector]:
    """Return the spline's path as local points."""
    if spline.type == "POLY":
        return [p.co.xyz for p in spline.points]
    if spline.type == "BEZIER":
        knots = spline.bezier_points
        path = [knots[0].co.copy()]
        for a, b in itertools.pairwise(knots):
            if a.handle_right_type == b.handle_left_type == "VECTOR":
                path.append(b.co.copy())
            else:
                path += geometry.interpolate_bezier(
                    a.co, a.handle_right, b.handle_left, b.co, SAMPLES + 1
                )[1:]
        return path
    return _nurbs(name, spline)


def _nurbs(name: str, spline: bpy.types.Spline) -> list[Vector]:
    """Sample a NURBS spline by de Boor's algorithm on homogeneous points."""
    points = [Vector((*(p.co.xyz * p.co.w), p.co.w)) for p in spline.points]
    count, order = len(points), spline.order_u
    if spline.use_bezier_u or count < order:
        raise JobError(f"'{name}' cannot be followed; set its Spline Type to Poly")
    degree, inner = order - 1, count - order
    if spline.use_endpoint_u:
        knots = [0] * order + list(range(1, inner + 1)) + [inner + 1] * order
    else:
        knots = list(range(count + order))
    path = []
    for span in range(degree, count):
        low, high = knots[span], knots[span + 1]
        near = points[span - degree : span + 1]
        steps = range(SAMPLES + (span == count - 1))
        path += [_de_boor(near, knots, span, low + (high - low) * i / SAMPLES) for i in steps]
    return [Vector(p[:3]) / p[3] for p in path]


def _de_boor(points: list[Vector], knots: list[int], span: int, t: float) -> Vector:
    found, degree = list(points), len(points) - 1
    for level in range(1, degree + 1):
        for i in range(degree, level - 1, -1):
            low = knots[span - degree + i]
            share = (t - low) / (knots[span + 1 + i - level] - low)
            found[i] = found[i - 1].lerp(found[i], share)
    return found[degree]


def _distinct(path: list[Vector]) -> list[Vector]:
    """Drop points that lie on the one before."""
    length = sum((b - a).length for a, b in itertools.pairwise(path))
    kept = path[:1]
    for point in path[1:]:
        if (point - kept[-1]).length > SAME_PLACE_SHARE * length:
            kept.append(point)
    return kept


def _diameter(obj: bpy.types.Object, spline: bpy.types.Spline) -> float:
    """Return the world diameter, in Blender units, of a round rod of the same cross-section.

    Stretching a vent along itself does not thicken it, so only the scale across it counts: the
    volume's scale over the length's is that of the cross-section.
    """
    points = spline.bezier_points if spline.type == "BEZIER" else spline.points
    radius = obj.data.bevel_depth * sum(p.radius for p in points) / len(points)
    matrix = obj.matrix_world.to_3x3()
    chord = points[-1].co.xyz - points[0].co.xyz
    if chord.length == 0.0:
        return 2.0 * radius * abs(matrix.determinant()) ** (1.0 / 3.0)
    stretch = (matrix @ chord).length / chord.length
    if stretch == 0.0:
        return 0.0
    return 2.0 * radius * sqrt(abs(matrix.determinant()) / stretch)
