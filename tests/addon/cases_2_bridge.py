"""Meshes out of Blender and into it, in millimetres. Run inside Blender."""

import bpy
import numpy as np
from stage import add_mesh, box, part, settings

IMPORTED_ON_INSTALL: set[str] = set()


def case_bridge_reads_what_the_viewport_shows():
    bridge = part("bridge")
    settings().figure.unit = "MM"
    obj = add_mesh("Block", *box((0, 0, 0), (2, 4, 6)))
    obj.location, obj.rotation_euler, obj.scale = (10, -5, 3), (0.3, 0.2, 0.1), (1, 2, 0.5)
    obj.modifiers.new("Array", "ARRAY").count = 2
    bpy.context.view_layer.update()
    (read,) = bridge.read_objects(bpy.context, [obj])
    assert read.vertices.dtype == np.float64 and read.faces.shape == (24, 3)
    assert abs(_volume(read) - 2 * 48.0) < 1e-3
    corner = np.array(obj.matrix_world @ obj.data.vertices[7].co)
    assert np.abs(read.vertices - corner).sum(axis=1).min() < 1e-5


def case_bridge_turns_mirrored_objects():
    bridge = part("bridge")
    settings().figure.unit = "MM"
    for scale in ((-1, 1, 1), (-1, -1, -1), (-1, -1, 1), (1, 1, 1)):
        obj = add_mesh("Block", *box((0, 0, 0), (2, 4, 6)))
        obj.scale = scale
        bpy.context.view_layer.update()
        (read,) = bridge.read_objects(bpy.context, [obj])
        assert abs(_volume(read) - 48.0) < 1e-9, scale


def case_bridge_refuses_what_it_cannot_read():
    bridge, error = part("bridge"), part("jobs").JobError
    flat = add_mesh("Cloud", [(0, 0, 0), (1, 0, 0)], np.empty((0, 3), int))
    hidden = add_mesh("Hidden", *box((0, 0, 0), (1, 1, 1)))
    hidden.modifiers.new("Subdivision", "SUBSURF").levels = 2
    hidden.hide_viewport = True
    for obj, words in ((flat, "no surface"), (hidden, "disabled in the viewport")):
        try:
            bridge.read_objects(bpy.context, [obj])
        except error as said:
            assert words in said.message and obj.name in said.message
        else:
            raise AssertionError(f"{obj.name} was read")


def case_bridge_reads_hidden_eyes_with_modifiers():
    obj = add_mesh("Block", *box((0, 0, 0), (2, 4, 6)))
    obj.modifiers.new("Array", "ARRAY").count = 3
    obj.hide_set(True)
    (read,) = part("bridge").read_objects(bpy.context, [obj])
    assert len(read.faces) == 36


def case_bridge_round_trip_keeps_sizes():
    bridge = part("bridge")
    rng = np.random.default_rng(5)
    vertices = rng.uniform(-40, 60, (30, 3)) + [500.0, 0.0, 80.0]
    faces = rng.permutation(30).reshape(-1, 3)
    scene = bpy.context.scene
    for length, unit in ((0.001, "SCENE"), (1.0, "SCENE"), (0.01, "SCENE"), (1.0, "MM")):
        scene.unit_settings.scale_length, settings().figure.unit = length, unit
        obj = bridge.new_object("Back", vertices, faces, scene)
        scene.collection.objects.link(obj)
        bpy.context.view_layer.update()
        assert not obj.data.validate(verbose=True)
        (read,) = bridge.read_objects(bpy.context, [obj])
        assert np.abs(read.vertices - vertices).max() < 1e-4
        assert (read.faces == faces).all()


def case_height_is_shown_right():
    bridge = part("bridge")
    obj = add_mesh("Block", *box((0, 0, 0), (2, 4, 6)))
    obj.rotation_euler = (0.0, 0.5, 0.0)
    bpy.context.scene.unit_settings.scale_length = 0.01
    bpy.context.view_layer.update()
    low, high = bridge.bounds_mm(bpy.context, [obj])
    corners = np.array([tuple(obj.matrix_world @ v.co) for v in obj.data.vertices]) * 10.0
    assert np.allclose(high - low, np.ptp(corners, axis=0), atol=1e-4)
    obj.scale = (1.0, 1.0, 2.0)
    bpy.context.view_layer.update()
    low, high = bridge.bounds_mm(bpy.context, [obj])
    corners = np.array([tuple(obj.matrix_world @ v.co) for v in obj.data.vertices]) * 10.0
    assert np.allclose(high - low, np.ptp(corners, axis=0), atol=1e-4)


def case_lengths_show_as_millimetres_at_any_scale():
    for length in (1.0, 0.001):
        bpy.context.scene.unit_settings.scale_length = length
        prop = settings().vents.bl_rna.properties["diameter_mm"]
        assert (prop.subtype, prop.unit) == ("DISTANCE_CAMERA", "CAMERA")
    assert bpy.utils.units.to_string("METRIC", "CAMERA", 1.5) == "1.5 mm"


def _volume(read) -> float:
    a, b, c = (read.vertices[read.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
