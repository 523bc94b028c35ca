"""What the cases have in common: figures, snapshots and short names."""

import contextlib
import hashlib
import json
import sys
from pathlib import Path

import bpy
import numpy as np

HALF_PI = 1.5707963267948966


def part(name: str):
    """Return a module of the installed extension."""
    return sys.modules[f"bl_ext.user_default.pourwright.{name}"]


def settings():
    """Return the scene's settings."""
    return bpy.context.scene.pourwright


def message():
    """Return what the last run said."""
    return bpy.context.window_manager.pourwright_message


def plan() -> dict:
    """Return the stored plan."""
    return json.loads(settings().plan)


def add_mesh(name: str, vertices, faces, *, scale: float = 1.0) -> bpy.types.Object:
    """Add a mesh object to the scene; vertices are divided by `scale` mm per unit."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata((np.asarray(vertices, float) / scale).tolist(), [], np.asarray(faces).tolist())
    obj = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(obj)
    obj.select_set(True)
    bpy.context.view_layer.objects.active = obj
    return obj


def box(low, high):
    """Return a closed box as quads, faces outwards."""
    x0, y0, z0 = low
    x1, y1, z1 = high
    vertices = [(x, y, z) for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)]
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return vertices, faces


def gate(scale: float = 1.0) -> list[bpy.types.Object]:
    """Add a gallows in mm: a post with an arm whose end hangs down.

    Poured upside down, the hanging end is a dead end that rises from the arm: an air pocket of
    8 x 8 x 12 mm = 768 mm3 exactly (the arm's underside is its saddle).
    """
    post = box((-6, -6, 0), (6, 6, 60))
    arm = box((-6, -6, 50), (40, 6, 62))
    drop = box((28, -4, 38), (36, 4, 55))
    return [
        add_mesh(name, *shape, scale=scale)
        for name, shape in (("Post", post), ("Arm", arm), ("Drop", drop))
    ]


POCKET_MM3 = 8 * 8 * 12.0
FIGURE_MM3 = 12 * 12 * 50 + 46 * 12 * 12 + 8 * 8 * 12.0


def choose(objects) -> None:
    """Select exactly these objects and make them the figure."""
    for obj in bpy.context.view_layer.objects:
        obj.select_set(obj in objects)
    assert bpy.ops.pourwright.use_selected() == {"FINISHED"}


@contextlib.contextmanager
def refusal():
    """Expect the operator to refuse: an ERROR report is an exception where there is no window."""
    try:
        yield
    except RuntimeError as error:
        assert "Error:" in str(error), error
    else:
        raise AssertionError("the operator did not refuse")


def fingerprint(obj: bpy.types.Object) -> str:
    """Return a digest of all that a user could see changed on an object."""
    digest = hashlib.sha256()
    mesh = obj.data
    digest.update(repr((obj.name, mesh.name, [tuple(r) for r in obj.matrix_world])).encode())
    digest.update(repr([(v.co[:], v.select) for v in mesh.vertices]).encode())
    digest.update(repr([(p.vertices[:], p.use_smooth) for p in mesh.polygons]).encode())
    digest.update(repr(sorted(c.name for c in obj.users_collection)).encode())
    digest.update(repr([(m.type, m.name) for m in obj.modifiers]).encode())
    digest.update(repr([m.name for m in mesh.materials]).encode())
    digest.update(repr((obj.hide_get(), obj.hide_viewport, obj.hide_render)).encode())
    digest.update(repr(sorted(obj.keys())).encode())
    return digest.hexdigest()


def vent_state(obj: bpy.types.Object) -> dict:
    """Return what a user would call the vent: object, name, place, points, thickness."""
    points = [(p.co[:], p.radius) for s in obj.data.splines for p in s.points]
    return {
        "object": obj.as_pointer(),
        "names": (obj.name, obj.data.name),
        "place": [tuple(row) for row in obj.matrix_world],
        "points": points,
        "bevel": obj.data.bevel_depth,
        "collections": [c.name for c in obj.users_collection],
    }


def world() -> dict:
    """Return what a failed run must leave alone."""
    counts = {
        name: sorted(item.name for item in getattr(bpy.data, name))
        for name in ("objects", "meshes", "curves", "materials", "collections")
    }
    stored = settings()
    lists = [len(stored.air.pockets), len(stored.vents.rods), len(stored.figure.parts)]
    return {**counts, "plan": stored.plan, "lists": lists}


def exported_volume_mm3(path: Path) -> float:
    """Return the volume enclosed by a binary STL."""
    data = path.read_bytes()
    count = int.from_bytes(data[80:84], "little")
    record = np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    v = np.frombuffer(data, record, count, 84)["v"].astype(float)
    return float(np.einsum("ij,ij->", v[:, 0], np.cross(v[:, 1], v[:, 2])) / 6)
