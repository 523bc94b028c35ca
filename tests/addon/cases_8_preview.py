"""The preview of a pose: what it shows, and that it gives the scene back. Run inside Blender."""

import tempfile
from pathlib import Path

import bpy
import numpy as np
from pose_stage import find_pose, gallows, row_of, up_of
from stage import (
    add_mesh,
    box,
    choose,
    fingerprint,
    message,
    part,
    plan,
    refusal,
    settings,
    world,
)

IMPORTED_ON_INSTALL: set[str] = set()
NAMES = ["Post", "Arm", "Drop"]
TURNED = [f"{name} Turned" for name in NAMES]


def _seen() -> dict:
    """Return what a preview has to give back exactly, in all view layers."""
    layers = {}
    for layer in bpy.context.scene.view_layers:
        layer.update()
        layers[layer.name] = {
            o.name: (o.hide_get(view_layer=layer), o.select_get(view_layer=layer))
            for o in layer.objects
        }
        layers[f"{layer.name} active"] = getattr(layer.objects.active, "name", "")
    looks = {o.name: fingerprint(o) for o in bpy.data.objects if o.type == "MESH"}
    kept = [len(layer.pourwright.hidden) for layer in bpy.context.scene.view_layers]
    return {"layers": layers, "looks": looks, "kept": kept, **world()}


def _preview(row: int = 1) -> None:
    settings().pose.active_pose = row
    assert bpy.ops.pourwright.preview_pose() == {"FINISHED"}
    assert settings().pose.previewing


def _end() -> None:
    assert bpy.ops.pourwright.end_preview() == {"FINISHED"}
    assert not settings().pose.previewing and not bpy.ops.pourwright.end_preview.poll()


def _objects() -> list[bpy.types.Object]:
    return [bpy.data.objects[name] for name in NAMES]


def _points(obj: bpy.types.Object) -> np.ndarray:
    bpy.context.view_layer.update()
    (read,) = part("bridge").read_objects(bpy.context, [obj])
    return read.vertices


def _shown_as_poured(row: int, names: list[str] = NAMES) -> None:
    """Check that the copies are the objects turned, the row's direction up, on the same floor."""
    up = np.array(up_of(row_of(row)))
    old = [_points(bpy.data.objects[name]) for name in names]
    new = [_points(bpy.data.objects[f"{name} Turned"]) for name in names]
    every, shown = np.vstack(old), np.vstack(new)
    rise = shown[:, 2] - every @ up
    assert np.ptp(rise) < 1e-3, np.ptp(rise)
    # Distances stay, and so does handedness: a turn, no mirror image.
    a, b = (p - p[0] for p in (every, shown))
    assert np.allclose(a @ a.T, b @ b.T, atol=0.05)
    pick = [int(np.abs(a @ axis).argmax()) for axis in np.eye(3)]
    assert np.linalg.det(a[pick]) * np.linalg.det(b[pick]) > 0.0
    assert abs(shown[:, 2].min() - every[:, 2].min()) < 1e-3
    middle = [(p.min(axis=0) + p.max(axis=0))[:2] / 2 for p in (every, shown)]
    assert np.allclose(*middle, atol=1e-3)
    arrow = _points(bpy.data.objects["Pour"])
    tip = arrow[arrow[:, 2].argmin()]
    top = shown[:, 2].max()
    assert top < tip[2] < top + 10.0
    high = shown[shown[:, 2] > top - 0.5]
    assert np.linalg.norm(high[:, :2] - tip[:2], axis=1).min() < 0.01
    assert arrow[arrow[:, 2] > tip[2] + 1e-3].size > arrow.size / 2


def case_preview_shows_the_figure_as_poured():
    objects = gallows()
    looks = [fingerprint(o) for o in objects]
    find_pose()
    _preview()
    for row in (1, 2, 0):
        settings().pose.active_pose = row
        _shown_as_poured(row)
    assert bpy.ops.pourwright.step_pose(step=-1) == {"FINISHED"}
    last = len(settings().pose.poses) - 1
    assert settings().pose.active_pose == last
    _shown_as_poured(last)
    assert bpy.ops.pourwright.step_pose(step=1) == {"FINISHED"}
    assert settings().pose.active_pose == 0
    _shown_as_poured(0)
    assert all(o.hide_get() for o in objects)
    copies = [bpy.data.objects[name] for name in TURNED]
    assert not any(o.hide_get() for o in copies) and all(o.hide_select for o in copies)
    assert all(o.hide_render for o in copies)
    assert not part("figure.settings").usable(bpy.context)
    _end()
    assert [fingerprint(o) for o in objects] == looks


def case_preview_of_awkward_objects():
    bpy.context.scene.unit_settings.scale_length = 0.001
    holder = bpy.data.objects.new("Holder", None)
    bpy.context.scene.collection.objects.link(holder)
    holder.scale, holder.rotation_euler = (1.0, 2.0, 0.5), (0.3, 0.2, 0.1)
    sheared = add_mesh("Sheared", *box((0, 0, 0), (10, 6, 4)))
    sheared.parent, sheared.rotation_euler = holder, (0.5, 0.4, 0.3)
    mirrored = add_mesh("Mirrored", *box((1, 2, 3), (4, 8, 9)))
    mirrored.scale = (-1.5, 1.0, 1.0)
    mirrored.location = (5.0, 0.0, 0.0)
    smooth = add_mesh("Smooth", *box((0, 0, 0), (9, 9, 9)))
    smooth.modifiers.new("Subdivision", "SUBSURF").levels = 1
    data = bpy.data.curves.new("Wire", "CURVE")
    data.dimensions, data.bevel_depth, data.use_fill_caps = "3D", 2.0, True
    data.splines.new("POLY").points.add(1)
    data.splines[0].points[1].co = (30, 0, 5, 1)
    wire = bpy.data.objects.new("Wire", data)
    bpy.context.scene.collection.objects.link(wire)
    bpy.context.view_layer.update()
    assert max(abs(sheared.matrix_world.col[0].xyz.dot(sheared.matrix_world.col[1].xyz)), 0) > 0.1
    choose([sheared, mirrored, smooth, wire])
    find_pose()
    before = _seen()
    _preview()
    names = ["Sheared", "Mirrored", "Smooth", "Wire"]
    _shown_as_poured(1, names)
    for name in names:
        (read,) = part("bridge").read_objects(
            bpy.context, [bpy.data.objects[f"{name} Turned"]])
        a, b, c = (read.vertices[read.faces[:, i]] for i in range(3))
        assert np.einsum("ij,ij->", a, np.cross(b, c)) > 0.0, name
    _end()
    assert _seen() == before


def case_preview_gives_the_scene_back():
    gallows()
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    find_pose()
    other = bpy.context.scene.view_layers.new("Other")
    post, arm, drop = _objects()
    arm.hide_set(True)
    drop.hide_set(True, view_layer=other)
    post.select_set(True)
    post.select_set(True, view_layer=other)
    bpy.data.objects["Vent 1"].select_set(True)
    bpy.context.view_layer.objects.active = drop
    before = _seen()
    for _ in range(2):
        _preview()
        seen = _seen()["layers"]
        assert all(state == (True, False) for name, state in seen["ViewLayer"].items()
                   if not name.endswith("Turned") and name != "Pour")
        assert seen["Other"]["Post"] == (True, False)
        assert not bpy.ops.pourwright.add_vent.poll()
        settings().pose.active_pose = 2
        bpy.ops.pourwright.preview_pose()
        _end()
        settings().pose.active_pose = 1
        assert _seen() == before
    # What is selected while the preview is open stays selected, alone.
    lamp = add_mesh("Lamp", *box((50, 0, 0), (51, 1, 1)))
    lamp.select_set(False)
    _preview()
    lamp.select_set(True)
    _end()
    assert [o.name for o in bpy.context.selected_objects] == ["Lamp"]


def case_preview_and_undo():
    gallows()
    find_pose()
    steps = [_seen()]
    bpy.ops.ed.undo_push(message="before")
    _preview()
    steps.append(_seen())
    bpy.ops.ed.undo_push(message="Preview")
    bpy.ops.pourwright.step_pose(step=1)
    steps.append(_seen())
    bpy.ops.ed.undo_push(message="Next Pose")
    _end()
    steps.append(_seen())
    bpy.ops.ed.undo_push(message="End Preview")
    assert steps[3]["layers"] == steps[0]["layers"] and steps[1]["looks"] != steps[2]["looks"]
    for step in (2, 1, 0):
        bpy.ops.ed.undo()
        assert _seen() == steps[step], step
        assert settings().pose.previewing == (step > 0)
    for step in (1, 2):
        bpy.ops.ed.redo()
        assert _seen() == steps[step], step
    _end()
    assert _seen()["layers"] == steps[0]["layers"]


def case_preview_survives_saving():
    gallows()
    _objects()[1].hide_set(True)
    find_pose()
    before = _seen()
    _preview()
    shown = _seen()
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "saved.blend")
        bpy.ops.wm.save_as_mainfile(filepath=path)
        bpy.ops.wm.open_mainfile(filepath=path)
        assert settings().pose.previewing and _seen() == shown
        _shown_as_poured(1)
        bpy.ops.pourwright.step_pose(step=1)
        _shown_as_poured(2)
        bpy.ops.pourwright.step_pose(step=-1)
        _end()
        assert _seen() == before
        bpy.ops.wm.save_as_mainfile(filepath=path)
        bpy.ops.wm.open_mainfile(filepath=path)
        assert _seen() == before and len(settings().pose.poses) > 2


def case_preview_outlives_what_happens_to_the_figure():
    gallows()
    find_pose()
    _preview()
    # Renamed layer and object, and an object taken out of sight by its collection.
    bpy.context.view_layer.name = "Renamed"
    post, arm, drop = _objects()
    post.name = "Pillar"
    bpy.data.objects.remove(drop)
    settings().pose.active_pose = 2  # made anew of what is left
    assert {o.name for o in bpy.data.objects} == {
        "Pillar", "Arm", "Pillar Turned", "Arm Turned", "Pour"}
    assert post.hide_get() and arm.hide_get()
    _end()
    assert not post.hide_get() and not arm.hide_get()
    assert {o.name for o in bpy.data.objects} == {"Pillar", "Arm"}
    # All of it is deleted: the preview still turns, and still ends.
    _preview(1)
    for obj in (post, arm):
        bpy.data.objects.remove(obj)
    settings().pose.active_pose = 2
    assert {o.name for o in bpy.data.objects} == {"Pillar Turned", "Arm Turned", "Pour"}
    _end()
    assert not bpy.data.objects and not bpy.data.collections and not bpy.data.materials
    assert sorted(mesh.name for mesh in bpy.data.meshes) == ["Arm", "Drop", "Post"]
    before = world()
    with refusal():
        bpy.ops.pourwright.preview_pose()
    assert "gone" in message().text and world() == before


def case_deleted_preview_is_made_again():
    gallows()
    find_pose()
    before = _seen()
    _preview()
    bpy.data.batch_remove([o for o in bpy.data.objects if o.name not in NAMES])
    settings().pose.active_pose = 2
    _shown_as_poured(2)
    bpy.data.collections.remove(bpy.data.collections["Pose Preview"])
    settings().pose.active_pose = 1
    _shown_as_poured(1)
    _end()
    # Of objects that were deleted by hand Blender keeps the meshes until it saves the file.
    bpy.data.orphans_purge(do_recursive=True)
    assert _seen() == before
    # What the user puts beside the copies is the user's, and so is a copy of a copy.
    _preview()
    home = bpy.data.collections["Pose Preview"]
    mine = bpy.data.objects["Arm Turned"].copy()
    home.objects.link(mine)
    _end()
    assert list(home.objects) == [mine]
    _preview()
    settings().pose.active_pose = 2
    _shown_as_poured(2)
    assert len(bpy.data.collections) == 1 and len(home.objects) == 5
    _end()
    assert list(home.objects) == [mine]
    bpy.data.objects.remove(mine)
    _preview()
    _end()
    assert _seen()["layers"] == before["layers"] and not bpy.data.collections


def case_preview_ends_when_results_change():
    gallows()
    find_pose()
    clean = _seen()["layers"]
    for again in (bpy.ops.pourwright.find_pose, bpy.ops.pourwright.find_air):
        _preview()
        assert again() == {"FINISHED"}
        seen = _seen()
        assert not settings().pose.previewing and not any(seen["kept"])
        assert {n: seen["layers"]["ViewLayer"][n] for n in NAMES} == clean["ViewLayer"]
    _preview()
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    shown = _seen()["layers"]
    assert not settings().pose.previewing and shown["ViewLayer"]["Master"][0]
    assert plan()["master"]["watertight"] and settings().vents.left == 0, message().text
    _preview()
    assert bpy.ops.pourwright.show(what="MASTER") == {"FINISHED"}
    assert not settings().pose.previewing and "Pour" not in bpy.data.objects
    assert not bpy.data.objects["Master"].hide_get() and bpy.data.objects["Vent 1"].hide_get()
    assert bpy.ops.pourwright.show(what="PARTS") == {"FINISHED"}
    assert _seen()["layers"] == shown
    # A figure chosen meanwhile is the one that is shown next.
    _preview()
    rod = add_mesh("Rod", *box((100, 0, 0), (103, 3, 40)))
    choose([rod])
    bpy.ops.pourwright.step_pose(step=1)
    assert rod.hide_get() and not _objects()[0].hide_get()
    assert "Rod Turned" in bpy.data.objects and "Arm Turned" not in bpy.data.objects
    _end()
    assert not rod.hide_get()


def case_preview_in_a_second_scene():
    gallows()
    find_pose()
    first = bpy.context.scene
    _preview()
    second = bpy.data.scenes.new("Second")
    second.collection.objects.link(bpy.data.objects["Post"])
    second.view_layers[0].update()
    assert not bpy.data.objects["Post"].hide_get(view_layer=second.view_layers[0])
    assert not second.pourwright.pose.previewing
    part("pose.preview").end(second)
    assert first.pourwright.pose.previewing and "Pour" in bpy.data.objects
    _end()
    assert not bpy.data.objects["Post"].hide_get()


def case_preview_outlives_the_extension():
    import addon_utils

    gallows()
    find_pose()
    before = _seen()
    _preview()
    module = "bl_ext.user_default.pourwright"
    addon_utils.disable(module)
    assert not hasattr(bpy.types.ViewLayer, "pourwright")
    addon_utils.enable(module)
    assert settings().pose.previewing and bpy.data.objects["Arm"].hide_get()
    _shown_as_poured(1)
    _end()
    assert _seen() == before


def case_disabled_objects_are_refused_though_the_list_holds_them():
    objects = gallows()
    objects[1].modifiers.new("Subdivision", "SUBSURF").levels = 1
    bridge = part("bridge")
    home, inner = (bpy.data.collections.new(name) for name in ("Home", "Inner"))
    bpy.context.scene.collection.children.link(home)
    home.children.link(inner)
    for holder in objects[1].users_collection:
        holder.objects.unlink(objects[1])
    inner.objects.link(objects[1])
    layer = bpy.context.view_layer.layer_collection.children["Home"]

    def vertices() -> int:
        bpy.context.view_layer.update()
        return len(bridge.read_objects(bpy.context, objects)[1].vertices)

    full = vertices()
    assert full > 8
    for owner, name in ((objects[1], "hide_viewport"), (home, "hide_viewport"),
                        (inner, "hide_viewport"), (layer, "exclude")):
        setattr(owner, name, True)
        try:
            found = vertices()
        except part("jobs").JobError as error:
            assert "Arm" in error.message and "disabled" in error.message
        else:
            raise AssertionError(f"{owner} {name}: read {found} vertices")
        setattr(owner, name, False)
        assert vertices() == full
    # Closed eyes, also that of a collection, hide nothing from the worker.
    objects[1].hide_set(True)
    layer.hide_viewport = True
    assert vertices() == full
