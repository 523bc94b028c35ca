"""The mould: planned, solved again, stale, and told. Run inside Blender."""

import bpy
import numpy as np
from paper import drawn
from stage import choose, fingerprint, gate, message, part, plan, settings, world


def _made() -> list[bpy.types.Object]:
    bpy.context.scene.unit_settings.scale_length = 0.001
    objects = gate()
    choose(objects)
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    return objects


def _find(role: str, index: int = 0) -> bpy.types.Object:
    obj = part("results").find(bpy.context.scene, role, index)
    assert obj is not None, role
    return obj


def case_it_needs_a_master():
    choose(gate())
    assert not bpy.ops.pourwright.plan_mould.poll()
    assert not bpy.ops.pourwright.solve_cut.poll()


def case_box_rubber_and_cut_come_into_the_scene():
    objects = _made()
    looks, before = [fingerprint(o) for o in objects], plan()
    assert before["mould"] is None and before["silicone"] is None
    vents = part("results").vents(bpy.context.scene)
    assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
    assert [fingerprint(o) for o in objects] == looks
    data = plan()
    # All else of the plan stays.
    changed = {key for key in data if data[key] != before[key]}
    assert changed <= {"mould", "silicone", "warnings"}
    along, across, height = data["silicone"]["box_mm"]
    box = _find("box")
    assert box.display_type == "WIRE"
    assert np.allclose(sorted(box.dimensions), sorted((along, across, height)), atol=0.2)
    assert data["silicone"]["volume_ml"] > 50
    # The lines are none of the vents.
    assert part("results").vents(bpy.context.scene) == vents
    assert part("task").stale(bpy.context.scene) == ""
    cut = _find("cut")
    first = cut.matrix_world @ cut.data.splines[0].points[0].co.to_3d()
    assert np.allclose(first, data["mould"]["cut_line"]["path_mm"][0], atol=1e-4)
    assert "ml of rubber" in message().text


def case_its_settings_reach_the_core_and_do_not_age_the_master():
    _made()
    mould = settings().mould
    mould.shape, mould.wall_mm, mould.silicone = "round", 14.0, "addition"
    mould.register, mould.from_front = "keys", False
    assert part("task").stale(bpy.context.scene) == ""
    assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
    data = plan()
    assert data["mould"]["box"]["shape"] == "round" and data["mould"]["box"]["wall_mm"] == 14.0
    assert data["silicone"]["material"] == "addition" and len(data["mould"]["keys"]) == 3
    # What is long stands on a line of its own: labels beside a size are cut off.
    said = drawn("mould").text.split("\n")
    assert "1 x Wall" in said and "Bent Round and Overlapped" in said, said
    assert not any("1 Places" in line for line in said), said
    assert part("task").mould_stale(bpy.context.scene) == ""
    pot = settings().bench
    usual = pot.pot_height_mm
    pot.use_pot, pot.pot_height_mm = True, 77.0
    assert "Plan Mould" in part("task").mould_stale(bpy.context.scene)
    pot.use_pot, pot.pot_height_mm = False, usual
    assert part("task").mould_stale(bpy.context.scene) == ""
    mould.wall_mm = 15.0
    assert "Plan Mould" in part("task").mould_stale(bpy.context.scene)


def case_choices_are_those_of_the_core():
    from pourwright.mould.settings import (
        GUIDES,
        PANEL_MATERIALS,
        REGISTERS,
        SHAPES,
        MouldSettings,
    )
    from pourwright.plan.job_file import parse_job
    from pourwright.shop.silicone import silicones

    mould = settings().mould
    for name, names in (
        ("silicone", silicones()), ("shape", SHAPES), ("panel_material", PANEL_MATERIALS),
        ("register", REGISTERS), ("guide", GUIDES),
    ):  # fmt: skip
        assert mould.bl_rna.properties[name].enum_items.keys() == list(names)
    made = parse_job(part("task").job_text(bpy.context.scene)).mould
    usual = MouldSettings(enabled=False)
    assert made == usual, (made, usual)


def case_a_mould_s_warnings_are_those_of_the_core():
    from pourwright.plan.moulding import MOULD_CODES

    assert set(part("apply").MOULD_CODES) == set(MOULD_CODES)


def case_a_way_point_moved_moves_the_cut():
    _made()
    assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
    before = np.array(plan()["mould"]["cut_line"]["path_mm"])
    ways = plan()["mould"]["cut_line"]["way_points"]
    number = next(i for i, w in enumerate(ways) if w["name"] == "top")
    top = _find("way_point", number)
    assert np.allclose(top.location, ways[number]["at_mm"], atol=1e-4)
    top.location = (38.0, 5.0, 62.0)
    bpy.context.view_layer.update()
    assert bpy.ops.pourwright.solve_cut() == {"FINISHED"}
    data = plan()["mould"]["cut_line"]
    path = np.array(data["path_mm"])
    gaps = np.linalg.norm(path - (38.0, 5.0, 62.0), axis=1)
    assert gaps.min() < 2.0 < np.linalg.norm(before - (38.0, 5.0, 62.0), axis=1).min()
    assert "top" in [w["name"] for w in data["way_points"]]
    # Plan Mould puts them back.
    assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
    assert np.allclose(plan()["mould"]["cut_line"]["path_mm"], before, atol=1e-6)


def case_a_new_master_has_no_mould_until_it_is_planned():
    _made()
    assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
    counts = len(bpy.data.objects), len(bpy.data.curves), len(bpy.data.meshes)
    assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
    assert (len(bpy.data.objects), len(bpy.data.curves), len(bpy.data.meshes)) == counts
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert plan()["mould"] is None
    assert part("results").find(bpy.context.scene, "box") is None
    assert part("results").find(bpy.context.scene, "cut") is None
    codes = [w.code for w in settings().vents.warnings]
    assert not set(codes) & set(part("apply").MOULD_CODES)


def case_a_guide_line_is_on_the_master():
    _made()
    plain = plan()["master"]["volume_mm3"]
    settings().mould.guide = "raised"
    assert "Make Master" in part("task").stale(bpy.context.scene)
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    data = plan()
    assert data["master"]["volume_mm3"] > plain and data["mould"] is not None
    assert _find("cut") is not None and data["job"]["mould"]["guide"]["kind"] == "raised"


def case_a_failed_run_leaves_all_as_it_is():
    _made()
    assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
    kept = world()
    import json

    old = json.loads(settings().plan)
    del old["base"]["figure_side_height_mm"]
    settings().plan = json.dumps(old)
    try:
        bpy.ops.pourwright.plan_mould()
    except RuntimeError as error:
        assert "Make Master again" in str(error)
    else:
        raise AssertionError("it was not refused")
    now = world()
    assert {k: v for k, v in now.items() if k != "plan"} == {
        k: v for k, v in kept.items() if k != "plan"
    }
