"""Studio pictures of meshes through Cycles: soft light, light grey sweep, calm colours."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

FIGURE_RGBA = (0.40, 0.35, 0.30, 1.0)
BASE_RGBA = (0.13, 0.16, 0.19, 1.0)
VENT_RGBA = (0.90, 0.33, 0.05, 1.0)

# Direction from the subject to the camera (the figure looks along +X).
VIEWS: dict[str, tuple[float, float, float]] = {
    "front": (1.0, 0.0, 0.10),
    "back": (-1.0, 0.0, 0.15),
    "side": (0.0, -1.0, 0.08),
    "left": (0.0, 1.0, 0.08),
    "three_quarter": (0.84, -0.52, 0.2),
    "three_quarter_left": (0.84, 0.52, 0.2),
    "three_quarter_back": (-0.72, -0.72, 0.36),
    "top": (0.25, -0.25, 1.0),
    "below": (0.75, -0.6, -0.62),
}
SHARP_ANGLE_RAD = 0.9

MeshItem = tuple[str, NDArray[np.float64], NDArray[np.int32], tuple[float, float, float, float]]


def _material(bpy: Any, name: str, rgba: tuple[float, float, float, float]) -> Any:
    """A matt material whose hollows are darker and ridges lighter, like a rubbed patina."""
    mat = bpy.data.materials.new(name)
    if not mat.node_tree:  # before 5.0 a new material starts without nodes
        mat.use_nodes = True
    nodes, links = mat.node_tree.nodes, mat.node_tree.links
    shader = next(n for n in nodes if n.type == "BSDF_PRINCIPLED")
    shader.inputs["Roughness"].default_value = 0.65
    shader.inputs["Specular IOR Level"].default_value = 0.3
    shader.inputs["Alpha"].default_value = rgba[3]
    geometry = nodes.new("ShaderNodeNewGeometry")
    ramp = nodes.new("ShaderNodeValToRGB")
    low, high = ramp.color_ramp.elements[0], ramp.color_ramp.elements[1]
    low.position, high.position = 0.40, 0.62
    low.color = (*(0.42 * c for c in rgba[:3]), 1.0)
    high.color = (*(min(1.0, 1.45 * c) for c in rgba[:3]), 1.0)
    middle = ramp.color_ramp.elements.new(0.5)
    middle.color = (*rgba[:3], 1.0)
    links.new(geometry.outputs["Pointiness"], ramp.inputs["Fac"])
    links.new(ramp.outputs["Color"], shader.inputs["Base Color"])
    return mat


def _backdrop_material(bpy: Any) -> Any:
    mat = bpy.data.materials.new("sweep")
    if not mat.node_tree:
        mat.use_nodes = True
    shader = next(n for n in mat.node_tree.nodes if n.type == "BSDF_PRINCIPLED")
    shader.inputs["Base Color"].default_value = (0.52, 0.52, 0.51, 1.0)
    shader.inputs["Roughness"].default_value = 1.0
    shader.inputs["Specular IOR Level"].default_value = 0.0
    # A little light of its own keeps the far wall of the sweep as light as its floor.
    shader.inputs["Emission Color"].default_value = (0.72, 0.73, 0.74, 1.0)
    shader.inputs["Emission Strength"].default_value = 0.5
    mat.cycles.emission_sampling = "NONE"
    return mat


def _mesh_object(
    bpy: Any,
    scene: Any,
    name: str,
    vertices: NDArray[np.float64],
    faces: NDArray[np.int32],
    material: Any,
) -> Any:
    v = np.ascontiguousarray(vertices, dtype=np.float32)
    f = np.ascontiguousarray(faces, dtype=np.int32)
    mesh = bpy.data.meshes.new(name)
    mesh.vertices.add(len(v))
    mesh.vertices.foreach_set("co", v.ravel())
    mesh.loops.add(f.size)
    mesh.loops.foreach_set("vertex_index", f.ravel())
    mesh.polygons.add(len(f))
    mesh.polygons.foreach_set("loop_start", np.arange(0, f.size, 3, dtype=np.int32))
    mesh.update(calc_edges=True)
    mesh.validate()
    mesh.polygons.foreach_set("use_smooth", np.ones(len(mesh.polygons), dtype=bool))
    mesh.set_sharp_from_angle(angle=SHARP_ANGLE_RAD)
    mesh.materials.append(material)
    obj = bpy.data.objects.new(name, mesh)
    scene.collection.objects.link(obj)
    return obj


def _area_light(
    bpy: Any,
    scene: Any,
    name: str,
    centre: NDArray[np.float64],
    offset: NDArray[np.float64],
    size: float,
    watts: float,
) -> None:
    from mathutils import Vector

    lamp = bpy.data.lights.new(name, type="AREA")
    lamp.shape = "DISK"
    lamp.size = size
    lamp.energy = watts
    obj = bpy.data.objects.new(name, lamp)
    obj.location = Vector((centre + offset).tolist())
    obj.rotation_euler = Vector((-offset).tolist()).to_track_quat("-Z", "Y").to_euler()
    scene.collection.objects.link(obj)


def _sweep(radius: float, floor: float) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """A seamless backdrop: a wide disc whose rim curves up into a bowl."""
    n = 96
    rings = [(0.6 * radius * k, floor) for k in (1.0, 4.0, 8.0)]
    rings += [
        (radius * (4.8 + 4.0 * np.sin(a)), floor + 4.0 * radius * (1 - np.cos(a)))
        for a in np.linspace(0.1, 0.5 * np.pi, 14)
    ]
    rings.append((radius * 8.8, floor + 16.0 * radius))
    turn = 2 * np.pi * np.arange(n) / n
    points = [np.array([[0.0, 0.0, floor]])]
    for r, z in rings:
        points.append(np.stack([r * np.cos(turn), r * np.sin(turn), 0 * turn + z], axis=1))
    i = np.arange(n)
    j = (i + 1) % n
    tri = [np.stack([0 * i, 1 + i, 1 + j], axis=1)]
    for k in range(len(rings) - 1):
        a, b = 1 + k * n, 1 + (k + 1) * n
        tri.append(np.stack([a + i, b + i, b + j], axis=1))
        tri.append(np.stack([a + i, b + j, a + j], axis=1))
    return np.vstack(points), np.vstack(tri).astype(np.int32)


def _camera_axes(view: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows: right, up and towards-camera unit vectors; shape (3, 3)."""
    back = view / np.linalg.norm(view)
    right = np.cross([0.0, 0.0, 1.0], back)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(back, right), back])


def _configure(scene: Any, size: tuple[int, int], samples: int) -> None:
    scene.render.engine = "CYCLES"
    scene.cycles.device = "CPU"
    scene.cycles.samples = samples
    scene.cycles.use_adaptive_sampling = True
    scene.cycles.adaptive_threshold = 0.06
    scene.cycles.adaptive_min_samples = 6
    scene.cycles.max_bounces = 1
    scene.cycles.seed = 0
    scene.cycles.use_denoising = False
    scene.render.resolution_x, scene.render.resolution_y = size
    scene.render.resolution_percentage = 100
    scene.render.image_settings.file_format = "PNG"
    scene.view_settings.view_transform = "Standard"
    try:
        scene.cycles.denoiser = "OPENIMAGEDENOISE"
        scene.cycles.use_denoising = True
        scene.cycles.denoising_prefilter = "FAST"
        scene.cycles.denoising_quality = "BALANCED"
    except TypeError:  # a build without the denoiser: the picture is only a little grainier
        scene.cycles.use_denoising = False


def render(
    objects_meshes: Sequence[MeshItem],
    path: str | Path,
    *,
    view: str = "three_quarter",
    size: tuple[int, int] = (1200, 900),
    samples: int = 32,
) -> None:
    """Render (name, vertices (n, 3) mm, faces (m, 3), rgba) items to a PNG file.

    view is a key of VIEWS.  The camera frames all items; a floor lies under the lowest point
    except when looking from below.  Starts from an empty file: never call this in a session
    that holds unsaved work.  Raises ValueError for an unknown view or no mesh at all.
    """
    if view not in VIEWS:
        raise ValueError(f"unknown view {view!r}; choose one of {', '.join(VIEWS)}")
    if not objects_meshes:
        raise ValueError("nothing to render: pass at least one mesh")
    import bpy
    from mathutils import Matrix

    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    cloud = np.vstack([np.asarray(item[1], dtype=np.float64) for item in objects_meshes])
    low, high = cloud.min(axis=0), cloud.max(axis=0)
    centre = 0.5 * (low + high)
    radius = 0.5 * float(np.linalg.norm(high - low))
    materials: dict[tuple[float, ...], Any] = {}
    for name, vertices, faces, rgba in objects_meshes:
        if tuple(rgba) not in materials:
            materials[tuple(rgba)] = _material(bpy, name, rgba)
        _mesh_object(bpy, scene, name, vertices, faces, materials[tuple(rgba)])

    axes = _camera_axes(np.array(VIEWS[view]))
    if VIEWS[view][2] > 0:
        v, f = _sweep(radius, float(low[2]) - 0.02)
        v[:, :2] += centre[:2]
        ground = _mesh_object(bpy, scene, "sweep", v, f, _backdrop_material(bpy))
        # Only the camera sees the sweep; the world's light stands in for its bounce, which
        # makes a picture several times faster.
        ground.visible_diffuse = ground.visible_glossy = ground.visible_shadow = False

    world = bpy.data.worlds.new("studio")
    if not world.node_tree:
        world.use_nodes = True
    shade = next(n for n in world.node_tree.nodes if n.type == "BACKGROUND")
    shade.inputs["Color"].default_value = (0.80, 0.82, 0.85, 1.0)
    # Where the camera sees the world itself (from below) it is as light as the sweep.
    links, nodes = world.node_tree.links, world.node_tree.nodes
    rays = nodes.new("ShaderNodeLightPath")
    strength = nodes.new("ShaderNodeMath")
    strength.operation = "MULTIPLY_ADD"
    strength.inputs[1].default_value, strength.inputs[2].default_value = 0.5, 0.3
    links.new(rays.outputs["Is Camera Ray"], strength.inputs[0])
    links.new(strength.outputs[0], shade.inputs["Strength"])
    scene.world = world
    unit_watts = radius * radius
    for name, side, up, back, big, watts in (
        ("key", 1.7, 2.3, 1.5, 0.8, 118.0),
        ("fill", -2.6, 0.8, 1.0, 2.2, 10.0),
        ("rim", -1.6, 1.8, -2.2, 1.2, 24.0),
    ):
        offset = radius * (side * axes[0] + back * axes[2] + np.array([0.0, 0.0, up]))
        _area_light(bpy, scene, name, centre, offset, big * radius, watts * unit_watts)

    camera = bpy.data.cameras.new("camera")
    camera.sensor_fit = "HORIZONTAL"
    camera.lens, camera.sensor_width = 85.0, 36.0
    tan_x = 0.5 * camera.sensor_width / camera.lens
    tan_y = tan_x * size[1] / size[0]
    local = (cloud - centre) @ axes.T
    shift = 0.5 * (local[:, :2].min(axis=0) + local[:, :2].max(axis=0))
    reach = np.abs(local[:, :2] - shift)
    need = np.maximum(reach[:, 0] / tan_x, reach[:, 1] / tan_y) * 1.1 + local[:, 2]
    eye = centre + np.array([shift[0], shift[1], float(need.max())]) @ axes
    camera.clip_start, camera.clip_end = 0.1, 100.0 * radius
    obj = bpy.data.objects.new("camera", camera)
    obj.matrix_world = Matrix(
        np.vstack([np.column_stack([axes.T, eye]), [0.0, 0.0, 0.0, 1.0]]).tolist()
    )
    scene.collection.objects.link(obj)
    scene.camera = obj

    _configure(scene, size, samples)
    scene.render.filepath = str(Path(path).resolve())
    bpy.ops.render.render(write_still=True)
