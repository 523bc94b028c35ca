"""Blender's own primitives and figures as meshes, made by its windowless module.

python tests/corpus/blender_shapes.py FOLDER    (needs bpy; writes one NPZ a shape)
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import bpy
import numpy as np


def _monkey(level: int) -> None:
    bpy.ops.mesh.primitive_monkey_add()
    if level:
        _modifier("SUBSURF").levels = level


def _modifier(kind: str):
    return bpy.context.object.modifiers.new("m", kind)


def _set(thing, **values) -> None:
    for key, value in values.items():
        setattr(thing, key, value)


def _text(bevel: float) -> None:
    bpy.ops.object.text_add()
    _set(bpy.context.object.data, body="Pour 7&8", extrude=0.1, bevel_depth=bevel)


def _metaballs() -> None:
    bpy.ops.object.metaball_add(type="BALL")
    data = bpy.context.object.data
    data.resolution = 0.1
    for place in ((1.2, 0, 0), (0, 1.1, 0.7), (-0.9, -0.6, 0.9)):
        data.elements.new(type="BALL").co = place


def _voxels() -> None:
    _monkey(2)
    _set(_modifier("REMESH"), mode="VOXEL", voxel_size=0.05)


def _blocks() -> None:
    _monkey(0)
    _set(_modifier("REMESH"), mode="BLOCKS", octree_depth=5)


def _shell() -> None:
    bpy.ops.mesh.primitive_monkey_add()
    _set(_modifier("SOLIDIFY"), thickness=0.05)


def _skin() -> None:
    mesh = bpy.data.meshes.new("skin")
    mesh.from_pydata(
        [(0, 0, 0), (0, 0, 1), (1, 0, 1.5), (-1, 0, 1.5), (0, 1, 2)],
        [(0, 1), (1, 2), (1, 3), (1, 4)], [],
    )  # fmt: skip
    body = bpy.data.objects.new("skin", mesh)
    bpy.context.collection.objects.link(body)
    bpy.context.view_layer.objects.active = body
    _modifier("SKIN")
    _modifier("SUBSURF").levels = 2


def _array() -> None:
    bpy.ops.mesh.primitive_uv_sphere_add(segments=24, ring_count=12)
    _set(_modifier("ARRAY"), count=6, relative_offset_displace=(0.7, 0.3, 0.2))


def _screw() -> None:
    bpy.ops.mesh.primitive_circle_add(radius=0.3, location=(1, 0, 0), rotation=(1.5708, 0, 0))
    bpy.ops.object.transform_apply()
    _set(_modifier("SCREW"), angle=12.0, screw_offset=1.0, steps=32)


def _decimated() -> None:
    _monkey(3)
    _modifier("DECIMATE").ratio = 0.1


def _bevelled() -> None:
    bpy.ops.mesh.primitive_cube_add()
    _set(_modifier("BEVEL"), width=0.2, segments=4)


def _curve() -> None:
    bpy.ops.curve.primitive_bezier_circle_add()
    _set(bpy.context.object.data, bevel_depth=0.15, bevel_resolution=4)


def _surface() -> None:
    bpy.ops.surface.primitive_nurbs_surface_torus_add()


ops = bpy.ops.mesh
SHAPES: dict[str, Callable[[], object]] = {
    "plane": lambda: ops.primitive_plane_add(),
    "cube": lambda: ops.primitive_cube_add(),
    "circle": lambda: ops.primitive_circle_add(),
    "circle_filled": lambda: ops.primitive_circle_add(fill_type="NGON"),
    "uv_sphere": lambda: ops.primitive_uv_sphere_add(),
    "ico_sphere": lambda: ops.primitive_ico_sphere_add(),
    "ico_sphere_fine": lambda: ops.primitive_ico_sphere_add(subdivisions=7),
    "cylinder": lambda: ops.primitive_cylinder_add(),
    "cylinder_fan": lambda: ops.primitive_cylinder_add(end_fill_type="TRIFAN"),
    "cylinder_open": lambda: ops.primitive_cylinder_add(end_fill_type="NOTHING"),
    "cone": lambda: ops.primitive_cone_add(),
    "torus": lambda: ops.primitive_torus_add(),
    "torus_fine": lambda: ops.primitive_torus_add(major_segments=400, minor_segments=200),
    "torus_crossing_itself": lambda: ops.primitive_torus_add(major_radius=0.5, minor_radius=0.7),
    "grid": lambda: ops.primitive_grid_add(),
    "monkey": lambda: _monkey(0),
    "monkey_1": lambda: _monkey(1),
    "monkey_3": lambda: _monkey(3),
    "monkey_voxels": _voxels,
    "monkey_blocks": _blocks,
    "monkey_solidified": _shell,
    "monkey_decimated": _decimated,
    "skin": _skin,
    "array_of_spheres": _array,
    "screw": _screw,
    "cube_bevelled": _bevelled,
    "text": lambda: _text(0.0),
    "text_bevelled": lambda: _text(0.02),
    "metaballs": _metaballs,
    "curve_bevelled": _curve,
    "nurbs_torus": _surface,
}


def write(name: str, folder: Path) -> None:
    """Make one shape in an empty file and write its triangles."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    SHAPES[name]()
    evaluated = bpy.context.object.evaluated_get(bpy.context.evaluated_depsgraph_get())
    mesh = evaluated.to_mesh()
    mesh.calc_loop_triangles()
    vertices = np.empty(3 * len(mesh.vertices))
    mesh.vertices.foreach_get("co", vertices)
    faces = np.empty(3 * len(mesh.loop_triangles), dtype=np.int32)
    mesh.loop_triangles.foreach_get("vertices", faces)
    np.savez(folder / f"{name}.npz", vertices=vertices.reshape(-1, 3), faces=faces.reshape(-1, 3))


def main() -> None:
    """Write all shapes."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for name in SHAPES:
        write(name, folder)
    (folder / "FROM").write_text(f"Blender {bpy.app.version_string}\n")


if __name__ == "__main__":
    main()
