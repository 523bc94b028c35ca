"""Vents as curves: how they are read, and checked again after a change. Run inside Blender."""

import math

import bpy
import numpy as np
from mathutils import Matrix, Vector
from paper import drawn
from stage import message, part, plan, refusal, settings, vent_state, world
from vent_stage import UNITS, add_curve, gallows_master, near, read_vent, ring_rows, stale, vents

IMPORTED_ON_INSTALL: set[str] = set()


def case_vents_are_curves_of_the_planned_size():
    for length, unit, mm in UNITS:
        bpy.ops.wm.read_homefile(use_empty=True)
        settings().figure.unit = unit
        vent = gallows_master(length, mm)
        (planned,) = plan()["vents"]
        (spline,) = vent.data.splines
        assert (vent.type, spline.type, vent.data.dimensions) == ("CURVE", "POLY", "3D")
        path = [vent.matrix_world @ p.co.xyz * mm for p in spline.points]
        assert near(path, planned["path_mm"])
        assert abs(2 * vent.data.bevel_depth * mm - planned["diameter_mm"]) < 1e-5
        assert vent.data.use_fill_caps and vent.name == "Vent 1"
        read = read_vent(vent)
        assert near(read.path_mm, planned["path_mm"])
        assert abs(read.diameter_mm - planned["diameter_mm"]) < 1e-5
        (row,) = settings().vents.rods
        assert row.object == vent and row.pieces == len(path) - 1 and row.checked
        shown = vent.evaluated_get(bpy.context.evaluated_depsgraph_get()).to_mesh()
        assert len(shown.polygons) > 8 * row.pieces


def case_a_vent_is_read_as_it_stands():
    vent = gallows_master()
    path, diameter = np.array(read_vent(vent).path_mm), read_vent(vent).diameter_mm
    vent.location += Vector((1.0, 2.0, 3.0))
    assert near(read_vent(vent).path_mm, path + [1.0, 2.0, 3.0])
    turn = Matrix.Rotation(math.pi / 2, 4, "Z")
    vent.matrix_world = turn
    assert abs(read_vent(vent).diameter_mm - diameter) < 1e-6
    vent.matrix_world = turn @ Matrix.Scale(2.0, 4)
    assert abs(read_vent(vent).diameter_mm - 2 * diameter) < 1e-5
    vent.matrix_world = Matrix.Identity(4)
    (spline,) = vent.data.splines
    spline.points[0].co, spline.points[-1].co = (0, 0, 9, 1), (0, 0, 0, 1)
    for point in spline.points[1:-1]:
        point.co = (0, 0, 4, 1)
    # Stretched along itself it is longer and no thicker, across itself it is thicker.
    vent.matrix_world = Matrix.Diagonal((1, 1, 3, 1))
    assert abs(read_vent(vent).diameter_mm - diameter) < 1e-6
    assert near(read_vent(vent).path_mm[0], (0, 0, 27))
    vent.matrix_world = Matrix.Diagonal((4, 1, 1, 1))
    assert abs(read_vent(vent).diameter_mm - 2 * diameter) < 1e-5
    vent.matrix_world = Matrix.Identity(4)
    for point in spline.points:
        point.radius = 1.5
    assert abs(read_vent(vent).diameter_mm - 1.5 * diameter) < 1e-5
    # Whichever end was drawn first, the path rises in the pour: here downwards in the scene.
    for point in spline.points:
        point.co.z *= -1
    assert near(read_vent(vent).path_mm[0], (0, 0, 0)) and read_vent(vent).path_mm[-1][2] < -8


def case_smooth_curves_are_followed_as_drawn():
    gallows_master()
    points = [(0, 0, 30), (6, 1, 22), (-2, 4, 15), (3, -3, 7), (5, 0, 0)]
    shapes = [
        add_curve("Bezier", "BEZIER", points),
        add_curve("Clamped", "NURBS", points, use_endpoint_u=True, order_u=4),
        add_curve("Open", "NURBS", points, use_endpoint_u=False, order_u=3),
    ]
    weighted = add_curve("Weighted", "NURBS", points, use_endpoint_u=True, order_u=3)
    weighted.data.splines[0].points[2].co.w = 5.0
    for obj in [*shapes, weighted]:
        read = np.array(read_vent(obj).path_mm)
        assert len(read) > 20 and abs(read_vent(obj).diameter_mm - 2.0) < 1e-6
        obj.data.bevel_depth = 0.0
        obj.data.splines[0].resolution_u = 64
        bpy.context.view_layer.update()
        evaluated = obj.evaluated_get(bpy.context.evaluated_depsgraph_get())
        drawn = np.array([v.co[:] for v in evaluated.to_mesh().vertices])
        off = [_off_polyline(point, drawn) for point in read]
        assert max(off) < 0.02, (obj.name, max(off))
        assert near(sorted((read[0][2], read[-1][2])), sorted((drawn[0][2], drawn[-1][2])), 1e-3)


def _off_polyline(point, line) -> float:
    a, b = line[:-1], line[1:]
    t = np.clip(((point - a) * (b - a)).sum(1) / ((b - a) ** 2).sum(1), 0, 1)
    return float(np.linalg.norm(a + t[:, None] * (b - a) - point, axis=1).min())


def case_what_is_no_vent_is_named():
    gallows_master()
    straight = [(20, 0, 30), (20, 0, 0)]
    thin = add_curve("Thin", "POLY", straight)
    thin.data.bevel_depth = 0.0
    no_radius = add_curve("Radius", "POLY", straight)
    for point in no_radius.data.splines[0].points:
        point.radius = 0.0
    two = add_curve("Two", "POLY", straight)
    two.data.splines.new("POLY")
    empty = add_curve("Empty", "POLY", straight)
    empty.data.splines.clear()
    arrayed = add_curve("Arrayed", "POLY", straight)
    arrayed.modifiers.new("Array", "ARRAY")
    flat = add_curve("Flat", "POLY", straight)
    flat.scale = (0.0, 0.0, 0.0)
    shapeless = bpy.data.objects.new("Shapeless", bpy.data.meshes.new("Rod"))
    shapeless["pourwright_role"] = "vent"
    part("results").collection(bpy.context.scene).objects.link(shapeless)
    expected = {
        thin: "no thickness",
        no_radius: "no thickness",
        two: "2 splines",
        empty: "no points",
        arrayed: "modifiers",
        flat: "no length",
        shapeless: "no curve",
        add_curve("Loop", "POLY", straight, use_cyclic_u=True): "closed loop",
        add_curve("Point", "POLY", [(20, 0, 5)]): "no length",
        add_curve("Down", "POLY", [(20, 0, 30), (20, 0, 5), (20, 0, 9), (20, 0, 0)]): "not rise",
        add_curve("Knots", "NURBS", [*straight, (1, 0, -5)], use_bezier_u=True): "Spline Type",
    }
    odd = list(expected)
    held = part("results").collection(bpy.context.scene)
    for obj in odd:
        held.objects.unlink(obj)
    for obj, words in expected.items():
        held.objects.link(obj)
        before = world()
        with refusal():
            bpy.ops.pourwright.check_again()
        assert obj.name in message().text and words in message().text, message().text
        assert world() == before
        held.objects.unlink(obj)
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}


def case_checking_again_changes_no_vent():
    vent = gallows_master()
    before, planned = vent_state(vent), plan()
    for _ in range(2):
        assert bpy.ops.pourwright.check_again() == {"FINISHED"}
        assert vents() == [vent] and vent_state(vent) == before and stale() == ""
    again = plan()
    assert abs(again["master"]["volume_mm3"] / planned["master"]["volume_mm3"] - 1) < 1e-3
    assert abs(again["resin"]["poured_ml"] - again["master"]["volume_mm3"] / 1000) < 1e-9
    assert settings().vents.left == 0 and "Checked with 1 vent;" in message().text
    assert not vent.hide_get() and bpy.data.objects["Master"].hide_get()


def case_a_moved_vent_is_taken_as_it_is():
    vent = gallows_master()
    planned = plan()
    foot = vent.data.splines[0].points[0]
    tip = vent.data.splines[0].points[-1]
    # From the end that hangs down straight out to the mould top plane, and thicker.
    vent.location = (32.0, 0.0, 38.0)
    foot.co, tip.co = (0, 0, 0, 1), (0, 0, -planned["board_height_mm"] - 38.0, 1)
    for point in list(vent.data.splines[0].points)[1:-1]:
        point.co = (0, 0, -5, 1)
    vent.data.bevel_depth = 1.5
    assert "Vents changed" in stale()
    before = vent_state(vent)
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert stale() == "" and vent_state(vent) == before and vents() == [vent]
    (now,) = plan()["vents"]
    assert near(now["path_mm"][0], (32, 0, 38)) and now["kind"] == "rod"
    assert abs(now["diameter_mm"] - 3.0) < 1e-5
    (row,) = settings().vents.rods
    assert row.object == vent and abs(row.length_mm - now["length_mm"]) < 1e-3
    assert settings().vents.left == 0
    gained = plan()["master"]["volume_mm3"] - planned["master"]["volume_mm3"]
    assert gained > 100.0
    assert plan()["rings"] == [] and not ring_rows()


def case_a_deleted_vent_leaves_its_air():
    vent = gallows_master()
    rod_mm3 = plan()["master"]["parts_mm3"]["vents"]
    bpy.data.objects.remove(vent)
    assert "Vents changed" in stale()
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert plan()["vents"] == [] and len(settings().vents.rods) == 0
    assert settings().vents.left == 1 and "1 air pocket left" in message().text
    assert plan()["master"]["parts_mm3"]["vents"] == 0.0 < rod_mm3
    assert "Air Left 1" in bpy.data.objects or "Air Pocket 1" in bpy.data.objects
    assert stale() == ""
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert [v.name for v in vents()] == ["Vent 1"] and stale() == ""


def case_stale_results_are_marked_and_cheaply():
    vent = gallows_master()
    settings().vents.web_mm = 1.5
    assert "settings changed" in stale()
    settings().vents.web_mm = 2.0
    assert stale() == ""
    changes = (
        (vent, "location", Vector((0, 0, 1))),
        (vent.data, "bevel_depth", 0.1),
        (vent.data.splines[0].points[0], "radius", 0.1),
        (vent.data.splines[0].points[0], "co", Vector((0.1, 0, 0, 0))),
    )
    for owner, name, step in changes:
        old = getattr(owner, name)
        old = old.copy() if isinstance(old, Vector) else old
        setattr(owner, name, old + step)
        assert "Vents changed" in stale(), name
        setattr(owner, name, old)
        assert stale() == "", name
    bpy.data.objects["Post"].location.x += 1.0
    assert "Figure or settings changed" in stale()
    bpy.data.objects["Post"].location.x -= 1.0
    assert stale() == ""
    # Export is grey then, so the panels must not say that it is next.
    bpy.data.objects["Master"].name = "Kept"
    assert "The master was deleted or renamed: Check Again" in stale()
    assert "Next:" not in drawn("main").text and "Checked" not in drawn("vents").text
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert stale() == "" and {"Kept", "Master"} <= set(bpy.data.objects.keys())
