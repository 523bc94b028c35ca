"""Vents that the user added, copied, reshaped or removed. Run inside Blender."""

import tempfile
import time
from pathlib import Path

import bpy
from mathutils import Vector
from stage import message, part, plan, refusal, settings, vent_state
from vent_stage import UNITS, gallows_master, near, read_vent, ring_rows, stale, vents

IMPORTED_ON_INSTALL: set[str] = set()


def case_copies_count_where_the_results_are():
    vent = gallows_master()
    outside, inside = vent.copy(), vent.copy()
    inside.data = vent.data.copy()
    bpy.context.scene.collection.objects.link(outside)
    assert stale() == ""
    vent.users_collection[0].objects.link(inside)
    inside.location.x += 5.0
    assert "Vents changed" in stale()
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert [row.object for row in settings().vents.rods] == [vent, inside]
    settings().vents.active_vent = 1
    assert bpy.ops.pourwright.check_again() == {"FINISHED"} and settings().vents.active_vent == 1
    paths = [v["path_mm"][0][0] for v in plan()["vents"]]
    assert abs(paths[1] - paths[0] - 5.0) < 1e-4
    # To route anew replaces the extension's own vent and keeps the copy, but leaves it out.
    kept = vent_state(inside)
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert len(plan()["vents"]) == 1 and vent_state(inside) == kept
    assert "Left out: 1 vent of your own" in message().text and "Vents changed" in stale()


def case_a_reshaped_vent_is_set_aside():
    vent = gallows_master()
    vent.location.x += 0.5
    stale()
    assert bpy.ops.pourwright.check_again() == {"FINISHED"} and vents() == [vent]
    shape = vent_state(vent)["points"]
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert vent.name == "Vent 1 Edited" and vent.hide_get() and vent_state(vent)["points"] == shape
    assert [c.name for c in vent.users_collection] == ["Vents Set Aside"]
    assert "Vent 1 Edited" in message().text
    assert [v.name for v in vents()] == ["Vent 1"] and stale() == ""
    # Untouched ones are replaced without a word.
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert "aside" not in message().text and len(vent.users_collection[0].objects) == 1


def case_make_master_twice_leaves_no_data_behind():
    gallows_master()
    counts = len(bpy.data.objects), len(bpy.data.curves), len(bpy.data.meshes)
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert (len(bpy.data.objects), len(bpy.data.curves), len(bpy.data.meshes)) == counts


def case_a_vent_is_added_between_two_places():
    for length, unit, mm in UNITS[:2]:
        bpy.ops.wm.read_homefile(use_empty=True)
        settings().figure.unit = unit
        assert not bpy.ops.pourwright.add_vent.poll()
        gallows_master(length, mm)
        settings().vents.diameter_mm = 2.5
        start = Vector((34, 2, 38)) / mm
        assert bpy.ops.pourwright.add_vent(start=start) == {"FINISHED"}
        out = bpy.data.objects["Added Vent 1"]
        read = read_vent(out)
        assert near(read.path_mm[0], (34, 2, 38)) and abs(read.diameter_mm - 2.5) < 1e-5
        assert near(read.path_mm[1], (34, 2, -plan()["board_height_mm"]), 1e-3)
        assert bpy.context.object == out and out.data.materials[0].name == "Vent"
        row = settings().vents.rods[settings().vents.active_vent]
        assert row.object == out and not row.checked and row.kind == "Added"
        # The lower end in the pour comes first, whichever was clicked first.
        end = Vector((10, 3, 52)) / mm
        assert bpy.ops.pourwright.add_vent(start=start, end=end) == {"FINISHED"}
        assert near(read_vent(bpy.data.objects["Added Vent 2"]).path_mm, [(10, 3, 52), (34, 2, 38)])
        with refusal():
            bpy.ops.pourwright.add_vent(start=start, end=start)
        with refusal():
            bpy.ops.pourwright.add_vent()
        assert len(vents()) == 3


def case_an_added_vent_is_used_by_check_again():
    vent = gallows_master()
    bpy.data.objects.remove(vent)
    assert bpy.ops.pourwright.add_vent(start=(32, 0, 38)) == {"FINISHED"}
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    (made,) = plan()["vents"]
    assert made["kind"] == "rod" and settings().vents.left == 0 and stale() == ""
    (row,) = settings().vents.rods
    assert row.checked and row.kind == "Rod" and row.object.name == "Added Vent 1"


def case_the_active_vent_is_removed():
    gallows_master()
    bpy.ops.pourwright.add_vent(start=(32, 0, 38))
    settings().vents.active_vent = 0
    assert bpy.context.selected_objects == [bpy.data.objects["Vent 1"]]
    bpy.ops.ed.undo_push(message="before")
    assert bpy.ops.pourwright.remove_vent() == {"FINISHED"}
    bpy.ops.ed.undo_push(message="Remove Vent")
    assert [v.name for v in vents()] == ["Added Vent 1"] and len(settings().vents.rods) == 1
    assert "Vent 1" not in bpy.data.objects
    assert bpy.ops.pourwright.remove_vent() == {"FINISHED"}
    assert vents() == [] and not bpy.ops.pourwright.remove_vent.poll()
    bpy.ops.ed.undo_push(message="Remove Vent")
    bpy.ops.ed.undo()
    bpy.ops.ed.undo()
    assert [v.name for v in vents()] == ["Vent 1", "Added Vent 1"]
    assert [row.object.name for row in settings().vents.rods] == ["Vent 1", "Added Vent 1"]


def case_check_again_is_one_undo_step():
    vent = gallows_master()
    vent.data.bevel_depth = 1.25
    before = plan()
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.pourwright.check_again()
    bpy.ops.ed.undo_push(message="Check Again")
    assert plan() != before
    bpy.ops.ed.undo()
    assert plan() == before and bpy.data.objects["Vent 1"].data.bevel_depth == 1.25


def case_changes_while_checking_are_stale():
    vent = gallows_master()
    request = part("task").check_request(bpy.context, [])
    job = part("running").launch(request, "Check Again")
    vent.location.x += 1.0
    while job.running:
        time.sleep(0.01)
    outcome = job.outcome()
    part("running").stop()
    part("apply").checked(request, outcome)
    assert "Vents changed" in stale()


def case_vents_survive_saving():
    gallows_master()
    bpy.ops.pourwright.add_vent(start=(32, 0, 38))
    bpy.ops.pourwright.check_again()
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "saved.blend")
        bpy.ops.wm.save_as_mainfile(filepath=path)
        bpy.ops.wm.open_mainfile(filepath=path)
    assert stale() == "" and len(vents()) == 2
    assert [row.object for row in settings().vents.rods] == vents()


def case_fused_master_hides_all_vents():
    gallows_master()
    bpy.ops.pourwright.add_vent(start=(32, 0, 38))
    assert bpy.ops.pourwright.show(what="MASTER") == {"FINISHED"}
    assert all(v.hide_get() for v in vents())
    bpy.ops.pourwright.check_again()
    assert not bpy.data.objects["Master"].hide_get() and all(v.hide_get() for v in vents())
    bpy.ops.pourwright.make_master()
    assert not bpy.data.objects["Master"].hide_get() and all(v.hide_get() for v in vents())
    assert bpy.ops.pourwright.show(what="PARTS") == {"FINISHED"}
    assert not any(v.hide_get() for v in vents())


def case_a_click_goes_through_vents_and_air():
    gallows_master()
    bpy.ops.pourwright.add_vent(start=(32, 0, 38))
    bpy.context.view_layer.update()
    first_hit = part("vents.add").first_hit
    # From below up along the added vent: vent and air pocket are in the way.
    place = first_hit(bpy.context, (32.3, 0.2, 5.0), (0, 0, 1))
    assert place is not None and near(place, (32.3, 0.2, 38.0)), place
    across = Vector((32.3, 0.2, 20.0)) - bpy.data.objects["Added Vent 1"].location
    assert across.xy.length < bpy.data.objects["Added Vent 1"].data.bevel_depth
    assert first_hit(bpy.context, (32.3, -9.0, 20.0), (0, 1, 0)) is None
    base = first_hit(bpy.context, (0, 8.0, 100.0), (0, 0, -1))
    assert base is not None and base.z < 5.0, base
    # A figure may have objects that are no meshes, and turned and scaled ones.
    text = bpy.data.objects.new("Text", bpy.data.curves.new("Text", "FONT"))
    text.data.body, text.data.extrude, text.data.size = "I", 1.0, 40.0
    text.location, text.rotation_euler, text.scale = (-40, -60, 20), (1.0, 0.3, 0.2), (1, 2, 0.5)
    bpy.context.scene.collection.objects.link(text)
    settings().figure.parts.add().object = text
    bpy.context.view_layer.update()
    evaluated = text.evaluated_get(bpy.context.evaluated_depsgraph_get())
    mesh = evaluated.to_mesh()
    face = max(mesh.polygons, key=lambda p: p.area)
    middle = text.matrix_world @ face.center
    away = (text.matrix_world.inverted().transposed().to_3x3() @ face.normal).normalized()
    assert near(first_hit(bpy.context, middle + 5 * away, -away), middle)


def case_rings_are_told():
    gallows_master()
    data = plan()
    rows = ring_rows()
    assert len(rows) == len(data["rings"])
    for row, ring in zip(rows, data["rings"], strict=True):
        assert row.code == f"ring_at_vent_{ring['vent'] + 1}"
        assert row.text == ring["message"] and row.has_place and not row.open
        assert near(row.place_mm, ring["cut_at_mm"])
    # A rod that lands on the base closes a loop.
    bpy.data.objects.remove(vents()[0])
    bpy.ops.pourwright.add_vent(start=(32, 0, 38), end=(12, 0, 1))
    bpy.ops.pourwright.check_again()
    (row,) = ring_rows()
    assert "loop" in row.text and plan()["vents"][0]["kind"] == "bridge"


def case_vents_are_no_figure():
    gallows_master()
    bpy.ops.pourwright.add_vent(start=(32, 0, 38))
    for obj in bpy.context.view_layer.objects:
        obj.select_set(obj in vents())
    assert len(bpy.context.selected_objects) == 2 and not bpy.ops.pourwright.use_selected.poll()
