"""The only door between Blender's data and numpy arrays in millimetres.

Outwards, an object becomes triangles as the viewport shows it: with modifiers, in world space, in
mm, counter-clockwise seen from outside even when the object is mirrored. Inwards, arrays in mm
become a mesh object whose size is right under the scene's own units.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import bpy

from .jobs import JobError

UNIT_MM = {"MM": 1.0, "CM": 10.0, "M": 1000.0}
SURFACE_TYPES = frozenset({"MESH", "CURVE", "SURFACE", "META", "FONT"})
LEVELS = "closes_mm"  # of each face of a cavity, see `store_levels`
NO_ID = 2**31 - 1  # in the persistent id of an instance that is no deeper
FAR_MM = 1e30  # stands for infinity in single precision, where a shader may not know it
SMOOTH_ANGLE_RAD = 0.6  # edges sharper than about 35 degrees are drawn sharp on results


@dataclass(frozen=True)
class MeshArrays:
    """Triangles for the core: vertices (n, 3) float64 in mm, faces (m, 3) int32.

    protect : (n,) float64 weights from 0 (free) to 1 (keep off), or None where nothing is painted.
    """

    name: str
    vertices: Any
    faces: Any
    protect: Any = None


def mm_per_unit(scene: bpy.types.Scene) -> float:
    """Return how many millimetres one Blender unit of this scene is."""
    unit = scene.pourwright.figure.unit
    if unit == "SCENE":
        # scale_length is metres per unit, also where the unit system is "None".
        return scene.unit_settings.scale_length * 1000.0
    return UNIT_MM[unit]


def in_scene(obj: bpy.types.Object | None, scene: bpy.types.Scene) -> bool:
    """Whether the object is still there; a deleted one lives on while something points at it."""
    if obj is None:
        return False
    # A linked object may share its name with a local one: then look at all of them.
    return scene.objects.get(obj.name) == obj or obj in scene.objects.values()


def read_objects(
    context: bpy.types.Context, objects: Iterable[bpy.types.Object], protect: str = ""
) -> list[MeshArrays]:
    """Return the surfaces of `objects` as the viewport shows them; raises JobError.

    protect : name of the vertex group whose weights come along, or empty for none.
    """
    depsgraph = context.evaluated_depsgraph_get()
    scale = mm_per_unit(context.scene)
    wanted = list(objects)
    _refuse_instances(wanted, depsgraph)
    return [_read(obj, depsgraph, scale, protect) for obj in wanted]


def _refuse_instances(
    objects: Sequence[bpy.types.Object], depsgraph: bpy.types.Depsgraph
) -> None:
    """Raise JobError for an object that shows copies of others, which its mesh does not hold."""
    for instance in depsgraph.object_instances:
        if instance.is_instance and instance.parent is not None:
            shown_by = instance.parent.original
            # What a curve or a text turns into comes as an instance too, of itself.
            itself = instance.instance_object.original == shown_by
            if shown_by in objects and not (itself and instance.persistent_id[1] == NO_ID):
                raise JobError(
                    f"'{shown_by.name}' shows instances that are no part of its mesh; "
                    "realize them in its geometry nodes, or use Object > Apply > Make Instances "
                    "Real and choose what that makes too"
                )


def evaluated_object(
    obj: bpy.types.Object, depsgraph: bpy.types.Depsgraph
) -> bpy.types.Object:
    """Return the object with its modifiers computed; raises JobError for a disabled one."""
    evaluated = obj.evaluated_get(depsgraph)
    # Disabled objects come without their modifiers, also where the depsgraph holds them because
    # something points at them, as the figure's list does.
    if evaluated.as_pointer() == obj.as_pointer() or not enabled(obj, depsgraph.view_layer):
        raise JobError(
            f"'{obj.name}' is disabled in the viewport, so its modifiers are not computed; "
            "enable it and its collection in the Outliner"
        )
    return evaluated


def enabled(obj: bpy.types.Object, layer: bpy.types.ViewLayer) -> bool:
    """Whether the viewport computes the object; one with a closed eye is computed too."""
    if obj.hide_viewport:
        return False
    left = [layer.layer_collection]
    while left:
        held = left.pop()
        objects = held.collection.objects
        if held.collection.hide_viewport:
            continue
        if not held.exclude and obj.name in objects and obj in objects.values():
            return True
        left += held.children
    return False


def check_surface(obj: bpy.types.Object, mesh: bpy.types.Mesh | None) -> None:
    """Raise JobError if what an object turned into has no faces."""
    if mesh is None or len(mesh.polygons) == 0:
        raise JobError(
            f"'{obj.name}' has no surface; "
            "choose a mesh, or realize the instances of its geometry nodes"
        )


def _read(
    obj: bpy.types.Object, depsgraph: bpy.types.Depsgraph, scale: float, protect: str
) -> MeshArrays:
    evaluated = evaluated_object(obj, depsgraph)
    # A million triangles take half a second to copy; only what the graphics card divides has to be.
    divided = any(modifier.type == "SUBSURF" for modifier in obj.modifiers)
    as_it_is = obj.type == "MESH" and obj.mode == "OBJECT" and not divided
    try:
        mesh = evaluated.data if as_it_is else evaluated.to_mesh()
    except RuntimeError:
        mesh = None
    try:
        check_surface(obj, mesh)
        vertices = _positions(mesh, evaluated.matrix_world) * scale
        faces = _triangles(mesh)
        group = evaluated.vertex_groups.get(protect)
        weights = None if group is None else _weights(mesh, group.index)
    finally:
        if not as_it_is:
            evaluated.to_mesh_clear()
    if evaluated.matrix_world.is_negative:
        faces = faces[:, ::-1].copy()
    return MeshArrays(obj.name, vertices, faces, weights)


def placed_points(objects: Iterable[bpy.types.Object]) -> Any:
    """Return where the vertices of mesh objects without parents are, (n, 3) in Blender units.

    It holds for objects that were moved just now, which Blender has not taken note of yet.
    """
    import numpy as np

    return np.concatenate([_positions(obj.data, obj.matrix_basis) for obj in objects])


def _positions(mesh: bpy.types.Mesh, matrix: Any) -> Any:
    """World positions, (n, 3) float64 in Blender units."""
    import numpy as np

    local = np.empty(len(mesh.vertices) * 3, dtype=np.float32)
    mesh.attributes["position"].data.foreach_get("vector", local)
    m = np.array(matrix, dtype=np.float64)
    return local.reshape(-1, 3).astype(np.float64) @ m[:3, :3].T + m[:3, 3]


def _triangles(mesh: bpy.types.Mesh) -> Any:
    import numpy as np

    if len(mesh.loops) == 3 * len(mesh.polygons):
        faces = np.empty(len(mesh.loops), dtype=np.int32)
        mesh.attributes[".corner_vert"].data.foreach_get("value", faces)
    else:
        mesh.calc_loop_triangles()
        faces = np.empty(3 * len(mesh.loop_triangles), dtype=np.int32)
        mesh.loop_triangles.foreach_get("vertices", faces)
    return faces.reshape(-1, 3)


def _weights(mesh: bpy.types.Mesh, group: int) -> Any:
    """Weights of one vertex group, (n,) float64; 0 where a vertex is not in it."""
    import numpy as np

    weights = np.zeros(len(mesh.vertices))
    # Blender gives no array of these; only vertices in some group cost time here.
    for i, vertex in enumerate(mesh.vertices):
        for entry in vertex.groups:
            if entry.group == group:
                weights[i] = entry.weight
    return weights


def weighted_triangles(mesh: bpy.types.Mesh, weights: Any) -> tuple[Any, Any]:
    """Return corners (3 m, 3) and weights (3 m,), float32, of the triangles with any weight."""
    import numpy as np

    values = np.asarray(weights, dtype=np.float32)
    places = np.empty(len(mesh.vertices) * 3, dtype=np.float32)
    mesh.attributes["position"].data.foreach_get("vector", places)
    faces = _triangles(mesh)
    corners = faces[values[faces].max(axis=1, initial=0.0) > 0.0].ravel()
    return places.reshape(-1, 3)[corners], values[corners]


def new_object(
    name: str, vertices_mm: Any, faces: Any, scene: bpy.types.Scene,
    made: bpy.types.Mesh | None = None, smooth: bool = True,
) -> bpy.types.Object:
    """Make an unlinked mesh object from arrays; its origin is the middle of its bounds.

    made : the mesh, where `fill_steps` has filled it from the same arrays already.
    smooth : as for `fill_steps`.
    """
    mesh = bpy.data.meshes.new(name) if made is None else made
    if made is None:
        for _ in fill_steps(mesh, vertices_mm, faces, scene, smooth=smooth):
            pass
    obj = bpy.data.objects.new(name, mesh)
    obj.location = _origin(vertices_mm, scene)
    return obj


def _origin(vertices_mm: Any, scene: bpy.types.Scene) -> Any:
    """The middle of the bounds in Blender units, as an object's location will hold it."""
    import numpy as np

    low, high = np.min(vertices_mm, axis=0), np.max(vertices_mm, axis=0)
    middle = (low + high) / 2.0 / mm_per_unit(scene)
    # The location is single precision: subtract what will really be stored.
    return middle.astype(np.float32).astype(np.float64)


def store_levels(obj: bpy.types.Object, levels_mm: Any) -> None:
    """Keep for each face of a cavity the level that closes its air in; +-FAR_MM for infinity."""
    import numpy as np

    stored = obj.data.attributes.new(LEVELS, "FLOAT", "FACE")
    finite = np.nan_to_num(np.asarray(levels_mm), posinf=FAR_MM, neginf=-FAR_MM)
    stored.data.foreach_set("value", finite.astype(np.float32))


def cavity_arrays(obj: bpy.types.Object) -> tuple[Any, Any, Any]:
    """Return a cavity's vertices (n, 3) in Blender units, faces (m, 3) and stored levels (m,)."""
    import numpy as np

    levels = np.empty(len(obj.data.polygons), dtype=np.float32)
    obj.data.attributes[LEVELS].data.foreach_get("value", levels)
    return _positions(obj.data, obj.matrix_basis), _triangles(obj.data), levels


def fill_steps(
    mesh: bpy.types.Mesh, vertices_mm: Any, faces: Any, scene: bpy.types.Scene,
    edges: tuple[Any, Any] | None = None, smooth: bool = True,
) -> Iterator[None]:
    """Fill an empty mesh with triangles, in steps that a window can wait for.

    edges : their vertices (k, 2), and for each corner the number of the edge to the next corner;
    None to let Blender find them. smooth : whether it is to look smooth between sharp edges.
    """
    import numpy as np

    # Vertices are stored in single precision, so they are kept near the object's origin.
    local = np.asarray(vertices_mm) / mm_per_unit(scene) - _origin(vertices_mm, scene)
    corners = np.ascontiguousarray(faces, dtype=np.int32).ravel()
    mesh.vertices.add(len(local))
    mesh.loops.add(len(corners))
    mesh.polygons.add(len(corners) // 3)
    # Access by attribute is ten times faster than by the lists.
    _put(mesh, "position", "vector", local, np.float32)
    _put(mesh, ".corner_vert", "value", corners, np.int32)
    if edges is not None:
        mesh.edges.add(len(edges[0]))
        _put(mesh, ".edge_verts", "value", edges[0], np.int32)
        _put(mesh, ".corner_edge", "value", edges[1], np.int32)
    yield
    mesh.polygons.foreach_set("loop_start", np.arange(0, len(corners), 3, dtype=np.int32))
    yield
    mesh.update(calc_edges=edges is None)
    yield
    if smooth:
        mesh.shade_smooth()
        mesh.set_sharp_from_angle(angle=SMOOTH_ANGLE_RAD)
        yield


def _put(mesh: bpy.types.Mesh, name: str, what: str, values: Any, kind: Any) -> None:
    import numpy as np

    mesh.attributes[name].data.foreach_set(what, np.ascontiguousarray(values, dtype=kind).ravel())


_bounds_cache: dict[str, tuple[Any, Any]] = {}


def bounds_mm(
    context: bpy.types.Context, objects: Sequence[bpy.types.Object]
) -> tuple[Any, Any] | None:
    """Lowest and highest corner of the objects in mm, or None; fast enough for a panel."""
    import numpy as np

    scale = mm_per_unit(context.scene)
    lows, highs = [], []
    for obj in objects:
        if obj.type in SURFACE_TYPES:
            low, high = _world_bounds(context, obj)
            lows.append(low)
            highs.append(high)
    if not lows:
        return None
    return np.min(lows, axis=0) * scale, np.max(highs, axis=0) * scale


def _world_bounds(context: bpy.types.Context, obj: bpy.types.Object) -> tuple[Any, Any]:
    """Bounds in Blender units; exact for turned objects, and remembered for the next redraw."""
    import numpy as np

    corners = np.array([tuple(c) for c in obj.bound_box], dtype=np.float64)
    m = np.array(obj.matrix_world, dtype=np.float64)
    key = (corners.tobytes(), m.tobytes(), obj.type)
    known = _bounds_cache.get(obj.name)
    if known is not None and known[0] == key:
        return known[1]
    points = corners @ m[:3, :3].T + m[:3, 3]
    turned = (np.abs(m[:3, :3]) > 1e-6).sum() > 3
    if turned and obj.type == "MESH" and obj.mode == "OBJECT":
        evaluated = obj.evaluated_get(context.evaluated_depsgraph_get())
        if len(evaluated.data.vertices):
            points = _positions(evaluated.data, obj.matrix_world)
    bounds = (points.min(axis=0), points.max(axis=0))
    _bounds_cache[obj.name] = (key, bounds)
    return bounds


def forget_bounds() -> None:
    """Drop remembered bounds, when the extension is disabled."""
    _bounds_cache.clear()
