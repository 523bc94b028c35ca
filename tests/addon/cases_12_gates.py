"""Gates: made, edited, checked again, switched off. Run inside Blender."""

import bpy
from stage import add_mesh, box, choose, message, part, plan, settings

GALLERY = "Gate 1"


def _made(**rules: object) -> None:
    """A post with a block that hangs on a thread of half a mm: it fills too slowly."""
    bpy.context.scene.unit_settings.scale_length = 0.001
    post = add_mesh("Post", *box((-6, -6, 0), (6, 6, 50)))
    thread = add_mesh("Thread", *box((5, -0.25, 40), (16, 0.25, 40.5)))
    block = add_mesh("Block", *box((15, -10, 30), (35, 10, 48)))
    choose([post, thread, block])
    stored = settings()
    stored.air.process = "open"
    stored.gates.share_percent = 5.0
    for name, value in rules.items():
        setattr(stored.gates, name, value)
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}


def case_a_part_on_a_thread_gets_a_gate():
    _made()
    (gate,) = plan()["gates"]
    assert abs(gate["feeds"]["volume_mm3"] - 20 * 20 * 18) < 0.05 * 20 * 20 * 18
    assert gate["fill_time_s"] <= plan()["fill"]["limit_s"] and plan()["fill"]["in_time"]
    obj = bpy.data.objects[GALLERY]
    assert obj.type == "CURVE" and obj.data.materials[0].name == "Gate"
    (row,) = settings().gates.rods
    assert row.object == obj and abs(row.diameter_mm - gate["diameter_mm"]) < 1e-4
    assert obj not in part("results").vents(bpy.context.scene)
    assert plan()["master"]["parts_mm3"]["gates"] > 0
    assert "1 gate" in message().text and part("task").stale(bpy.context.scene) == ""


def case_check_again_keeps_a_gate_that_nobody_touched():
    _made()
    obj = bpy.data.objects[GALLERY]
    before = plan()["gates"]
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert bpy.data.objects[GALLERY] == obj and plan()["gates"] == before
    assert not settings().gates.by_hand


def case_a_gate_made_thicker_is_taken_as_it_is():
    _made()
    obj = bpy.data.objects[GALLERY]
    obj.data.bevel_depth *= 1.5
    assert "Gates changed" in part("task").stale(bpy.context.scene)
    before = plan()
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    (gate,) = plan()["gates"]
    assert abs(gate["diameter_mm"] - 1.5 * before["gates"][0]["diameter_mm"]) < 1e-3
    assert settings().gates.by_hand and settings().gates.rods[0].object == obj
    assert "as they are" in message().text
    assert plan()["master"]["volume_mm3"] > before["master"]["volume_mm3"]
    assert plan()["master"]["parts_mm3"]["gates"] == 0.0  # none was put up beside it
    checked = plan()["gates"]
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert plan()["gates"] == checked and settings().gates.by_hand
    # Make Master works them out anew and sets the changed one aside.
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert obj.name == f"{GALLERY} Edited" and obj.hide_get()
    assert [c.name for c in obj.users_collection] == ["Gates Set Aside"]
    assert not settings().gates.by_hand


def case_without_gates_it_is_told_what_fills_slowly():
    _made(enabled=False)
    assert plan()["gates"] == [] and not plan()["fill"]["in_time"]
    assert "fill_slow" in [w.code for w in settings().vents.warnings if w.open]
    assert len(settings().gates.rods) == 0


def case_a_deleted_gate_is_told_and_made_anew():
    _made()
    bpy.data.objects.remove(bpy.data.objects[GALLERY])
    assert "Gates changed" in part("task").stale(bpy.context.scene)
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert plan()["gates"] == [] and plan()["master"]["parts_mm3"]["gates"] == 0.0
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert GALLERY in bpy.data.objects


def case_a_click_on_a_row_selects_its_gate():
    _made()
    settings().gates.active_gate = 0
    assert [o.name for o in bpy.context.selected_objects] == [GALLERY]
