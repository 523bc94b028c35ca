"""Protected surface: vertex weights on their way to the core. Run inside Blender."""

import bmesh
import bpy
import numpy as np
from stage import add_mesh, box, choose, fingerprint, gate, message, part, plan, settings

IMPORTED_ON_INSTALL: set[str] = set()


def _painted(weights: dict[int, float], name: str = "Protect") -> bpy.types.Object:
    obj = add_mesh("Block", *box((0, 0, 0), (2, 4, 6)))
    group = obj.vertex_groups.new(name="Other")
    group.add(range(8), 0.9, "REPLACE")
    group = obj.vertex_groups.new(name=name)
    for vertex, weight in weights.items():
        group.add([vertex], weight, "REPLACE")
    return obj


def case_weights_come_with_the_mesh():
    bridge = part("bridge")
    obj = _painted({0: 0.25, 5: 1.0})
    plain = add_mesh("Plain", *box((9, 0, 0), (11, 4, 6)))
    read, bare = bridge.read_objects(bpy.context, [obj, plain], "Protect")
    assert read.protect.dtype == np.float64 and bare.protect is None
    assert np.allclose(read.protect, [0.25, 0, 0, 0, 0, 1.0, 0, 0])
    assert bridge.read_objects(bpy.context, [obj])[0].protect is None
    assert bridge.read_objects(bpy.context, [obj], "")[0].protect is None
    assert bridge.read_objects(bpy.context, [obj], "Missing")[0].protect is None


def case_modifiers_keep_the_weights():
    obj = _painted(dict.fromkeys(range(8), 1.0))
    obj.modifiers.new("Subdivision", "SUBSURF").levels = 2
    obj.modifiers.new("Array", "ARRAY").count = 2
    (read,) = part("bridge").read_objects(bpy.context, [obj], "Protect")
    assert len(read.protect) == len(read.vertices) > 100
    assert np.allclose(read.protect, 1.0)


def case_curves_have_no_weights():
    data = bpy.data.curves.new("Wire", "CURVE")
    data.dimensions, data.bevel_depth = "3D", 0.2
    data.splines.new("POLY").points.add(1)
    data.splines[0].points[1].co = (1, 0, 0, 1)
    obj = bpy.data.objects.new("Wire", data)
    bpy.context.scene.collection.objects.link(obj)
    (read,) = part("bridge").read_objects(bpy.context, [obj], "Protect")
    assert read.protect is None and len(read.faces)


def case_many_weights_are_read():
    bpy.ops.mesh.primitive_grid_add(x_subdivisions=500, y_subdivisions=400)
    obj = bpy.context.object
    obj.vertex_groups.new(name="Protect").add(range(0, 200_000, 3), 0.5, "REPLACE")
    (read,) = part("bridge").read_objects(bpy.context, [obj], "Protect")
    assert abs(read.protect.sum() - 0.5 * len(range(0, 200_000, 3))) < 1e-6


def case_the_worker_gets_the_weights():
    bpy.context.scene.unit_settings.scale_length = 0.001
    objects = gate()
    objects[2].vertex_groups.new(name="Face").add([0, 1, 2, 3], 0.5, "REPLACE")
    settings().figure.protect = "Face"
    choose(objects)
    request = part("task").figure_request(bpy.context, "plan", [])
    job = part("running").launch(request, "Test")
    with np.load(job.folder / "meshes.npz") as stored:
        assert [name for name in stored.files if name.startswith("protect")] == ["protect_2"]
        assert np.allclose(stored["protect_2"], [0.5] * 4 + [0] * 4)
    part("running").stop()


def case_vents_keep_off_what_is_protected():
    feet = []
    for side in (-1, 1):
        bpy.ops.wm.read_homefile(use_empty=True)
        bpy.context.scene.unit_settings.scale_length = 0.001
        objects = gate()
        fine = bmesh.new()
        fine.from_mesh(objects[2].data)
        bmesh.ops.subdivide_edges(fine, edges=fine.edges, cuts=7, use_grid_fill=True)
        fine.to_mesh(objects[2].data)
        fine.free()
        # One half of the end that hangs down.
        half = [v.index for v in objects[2].data.vertices if side * (v.co.x - 32.0) > -0.5]
        objects[2].vertex_groups.new(name="Protect").add(half, 1.0, "REPLACE")
        looks = [fingerprint(o) for o in objects]
        choose(objects)
        assert bpy.ops.pourwright.make_master() == {"FINISHED"}
        assert [fingerprint(o) for o in objects] == looks
        (vent,) = plan()["vents"]
        feet.append(vent["path_mm"][0])
        assert settings().vents.left == 0, message().text
    assert feet[0][0] > 32.0 > feet[1][0], feet


def case_paint_button_makes_the_group():
    objects = gate()
    bpy.context.view_layer.objects.active = objects[1]
    assert not bpy.ops.pourwright.paint_protected.poll()
    choose(objects)
    assert bpy.ops.pourwright.paint_protected() == {"FINISHED"}
    assert message().text.startswith("Paint red what vents keep off")
    assert objects[1].mode == "WEIGHT_PAINT"
    assert objects[1].vertex_groups.active.name == "Protect"
    assert [o.name for o in objects if o.vertex_groups] == ["Arm"]
    assert not bpy.ops.pourwright.make_master.poll()
    bpy.ops.object.mode_set(mode="OBJECT")
    objects[1].vertex_groups["Protect"].add([0], 0.7, "REPLACE")
    objects[1].vertex_groups.new(name="Later")
    assert bpy.ops.pourwright.paint_protected() == {"FINISHED"}
    assert len(objects[1].vertex_groups) == 2 and objects[1].vertex_groups.active_index == 0
    assert abs(objects[1].vertex_groups["Protect"].weight(0) - 0.7) < 1e-6
    bpy.ops.object.mode_set(mode="OBJECT")
    search = part("figure.settings")._groups
    assert search(settings().figure, bpy.context, "t") == ["Later", "Protect"]
    assert search(settings().figure, bpy.context, "prot") == ["Protect"]
