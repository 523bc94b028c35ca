"""The search for a pose: its settings, its results, and what is done with them. Run in Blender."""

import tomllib
from math import dist, radians

import bpy
import numpy as np
from paper import drawn
from pose_stage import TALLEST_MM, find_pose, gallows, row_of, up_of
from stage import (
    FIGURE_MM3,
    add_mesh,
    box,
    choose,
    fingerprint,
    gate,
    message,
    part,
    refusal,
    settings,
    world,
)

IMPORTED_ON_INSTALL: set[str] = set()
UNITS = ((0.001, "SCENE", 1.0), (1.0, "SCENE", 1000.0), (0.01, "SCENE", 10.0), (1.0, "CM", 10.0))


def _tables() -> dict:
    tables = part("task").pose_tables(bpy.context.scene)
    return tomllib.loads(part("task").job_text(bpy.context.scene, tables))["pose"]


def _stale() -> str:
    bpy.context.view_layer.update()
    return part("task").pose_stale(bpy.context.scene)


def case_pose_defaults_are_those_of_the_core():
    from dataclasses import asdict

    from pourwright.pose.settings import PoseSettings

    asked = _tables()
    core = {key: value for key, value in asdict(PoseSettings()).items() if value is not None}
    core["axis"] = list(core["axis"])
    assert asked == core, (asked, core)


def case_pose_settings_reach_the_job():
    from pourwright.pose.settings import PoseSettings, PoseWeights

    pose = settings().pose
    pose.search, pose.cone, pose.directions, pose.keep = "CONE", radians(25.0), 123, 5
    pose.use_pot_height, pose.pot_height_mm = True, 87.5
    pose.use_pot_diameter, pose.pot_diameter_mm = True, 66.0
    for i, name in enumerate(PoseWeights.__dataclass_fields__):
        setattr(pose.weights, name, 0.25 + i)
    asked = _tables()
    weights = PoseWeights(**asked.pop("weights"))
    read = PoseSettings(**asked, weights=weights)
    assert (read.cone_deg, read.directions, read.keep) == (25.0, 123, 5)
    assert (read.pot_height_mm, read.pot_diameter_mm) == (87.5, 66.0)
    assert list(read.axis) == [0.0, 0.0, -1.0]
    assert [getattr(weights, n) for n in PoseWeights.__dataclass_fields__] == [
        0.25 + i for i in range(8)]
    settings().air.direction, settings().air.up = "CUSTOM", (0.5, 0.0, -2.0)
    assert _tables()["axis"] == [0.0, 0.0, -1.0]
    pose.standing = "CURRENT"
    assert _tables()["axis"] == [0.5, 0.0, -2.0]


def case_find_pose_ranks_the_ways_up():
    objects = gallows()
    looks = [fingerprint(o) for o in objects]
    settings().figure.parts.clear()
    before = world()
    find_pose()
    assert [fingerprint(o) for o in objects] == looks
    assert {**world(), "lists": before["lists"]} == before
    assert {p.object for p in settings().figure.parts} == set(objects)
    pose = settings().pose
    standing, *ranked = pose.poses
    assert up_of(standing) == (0.0, 0.0, -1.0)
    assert standing.tilt == 0.0 and standing.reasons == "the standing pose"
    assert (standing.rank, standing.pockets, standing.rods) == (0, 1, 1)
    assert abs(standing.height_mm - 62.0) < 1e-3
    assert [row.rank for row in ranked] == list(range(1, 1 + len(ranked)))
    assert 2 < len(ranked) <= pose.keep
    scores = [row.score for row in ranked]
    assert scores == sorted(scores) and scores[0] < standing.score
    # Lying on its side the gallows keeps no air.
    assert (ranked[0].pockets, ranked[0].rods, ranked[0].residual_mm3) == (0, 0, 0.0)
    for row in ranked:
        assert abs(dist(up_of(row), (0, 0, 0)) - 1.0) < 1e-5 and row.height_mm < TALLEST_MM
    assert ranked[0].reasons and pose.active_pose == 1
    directions, points = part("pose.picture").unpack(pose.sweep)
    assert len(directions) >= pose.directions and len(points) == len(directions)
    assert np.allclose(np.linalg.norm(directions, axis=1), 1.0, atol=1e-5)
    assert abs(points.min() - scores[0]) < 0.5 * (points.max() - points.min())
    assert message().kind == "INFO" and f"{standing.score:.1f}" in message().text
    # Air in the list is for people to read, however much of it there is.
    for mm3, shown in ((12345.6, "12346"), (99.96, "100"), (7.0, "7.00"), (0.302, "0.30")):
        standing.residual_mm3 = mm3
        assert shown in drawn("pose").text.split("\n"), (mm3, drawn("pose").text)


def case_pose_of_several_figures_in_turn():
    gallows()
    find_pose()
    first = [up_of(row) for row in settings().pose.poses]
    rod = add_mesh("Rod", *box((100, 0, 0), (103, 3, 40)))
    choose([rod])
    assert "Find Pose" in _stale()
    find_pose()
    assert not _stale() and settings().figure.parts[0].object == rod
    assert [up_of(row) for row in settings().pose.poses] != first
    assert settings().pose.poses[1].height_mm < 40.0


def case_pose_is_the_same_in_all_units():
    found = []
    for length, unit, mm in UNITS:
        bpy.ops.wm.read_homefile(use_empty=True)
        bpy.context.scene.unit_settings.scale_length = length
        settings().figure.unit = unit
        choose(gate(mm))
        find_pose()
        rows = settings().pose.poses
        found.append([(r.height_mm, r.rods, r.footprint_cm2) for r in rows[:2]])
        bpy.ops.pourwright.preview_pose()
        copies = [o for o in bpy.data.objects if o.name.endswith("Turned")]
        low, high = part("pose.turned").extent(
            [part("pose.turned").Copy(o, o.location) for o in copies])
        assert abs((high.z - low.z) * mm - rows[1].height_mm) < 1e-3, (length, unit)
        arrow = bpy.data.objects["Pour"]
        assert 5.0 < max(arrow.dimensions) * mm < 30.0
    # Nearly equal poses may change places with the rounding of single precision.
    assert np.allclose(found, found[0], rtol=2e-2), found


def case_pose_says_what_it_no_longer_matches():
    objects = gallows()
    find_pose()
    pose = settings().pose
    assert not _stale()

    def told(change, undo):
        change()
        said = _stale()
        undo()
        assert not _stale()
        return "Find Pose" in said

    air, base = settings().air, settings().base
    process = air.process
    assert told(lambda: setattr(air, "process", "open"), lambda: setattr(air, "process", process))
    defect = air.visible_defect_mm
    assert told(lambda: setattr(air, "visible_defect_mm", 1.0),
                lambda: setattr(air, "visible_defect_mm", defect))
    assert told(lambda: setattr(pose.weights, "rod", 3.0),
                lambda: setattr(pose.weights, "rod", 2.0))
    assert told(lambda: setattr(pose, "search", "CONE"), lambda: setattr(pose, "search", "FREE"))
    embed = base.embed_mm
    assert told(lambda: setattr(base, "embed_mm", 3.0), lambda: setattr(base, "embed_mm", embed))
    protect = settings().figure.protect
    assert told(lambda: setattr(settings().figure, "protect", "Else"),
                lambda: setattr(settings().figure, "protect", protect))
    assert told(lambda: setattr(objects[0].location, "x", 2.0),
                lambda: setattr(objects[0].location, "x", 0.0))
    # What poses are for does not make them old, nor does what they do not depend on.
    air.direction = "STANDING"
    base.own_height, base.height_mm, settings().vents.web_mm = True, 9.0, 3.0
    assert not _stale()
    pose.standing = "CURRENT"
    assert _stale()


def case_use_pose_sets_the_pour_direction():
    objects = gallows()
    find_pose()
    looks = [fingerprint(o) for o in objects]
    air, pose = settings().air, settings().pose
    assert bpy.ops.pourwright.use_pose() == {"FINISHED"}
    assert air.direction == "CUSTOM" and dist(air.up, pose.poses[1].up) == 0.0
    assert "Custom" in message().text and "pose 1" in message().text
    assert [fingerprint(o) for o in objects] == looks and not _stale()
    # The air that is found then is what the ranking said.
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    assert sum(p.matters for p in air.pockets) == pose.poses[1].pockets
    pose.active_pose = 0
    bpy.ops.pourwright.use_pose()
    assert air.direction == "UPSIDE_DOWN" and "Upside Down" in message().text
    pose.poses[2].up, pose.active_pose = (0.00001, 0.0, 1.0), 2
    bpy.ops.pourwright.use_pose()
    assert air.direction == "STANDING"


def case_use_pose_is_one_undo_step():
    gallows()
    find_pose()
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.pourwright.preview_pose()
    bpy.ops.pourwright.use_pose()
    bpy.ops.ed.undo_push(message="Use Pose")
    assert settings().air.direction == "CUSTOM" and not settings().pose.previewing
    bpy.ops.ed.undo()
    assert settings().air.direction == "UPSIDE_DOWN" and len(settings().pose.poses) > 1


def case_find_pose_is_one_undo_step():
    gallows()
    bpy.ops.ed.undo_push(message="before")
    find_pose()
    bpy.ops.ed.undo_push(message="Find Pose")
    bpy.ops.ed.undo()
    assert len(settings().pose.poses) == 0 and not settings().pose.sweep
    bpy.ops.ed.redo()
    assert len(settings().pose.poses) > 1


def case_stopped_search_leaves_the_last_one():
    import threading

    gallows()
    find_pose()
    running = part("running")
    before = [up_of(row) for row in settings().pose.poses], settings().pose.sweep, world()
    settings().pose.directions = 20_000

    def kill():
        while not running.busy():
            pass
        running.current.job.process.kill()

    killer = threading.Thread(target=kill)
    killer.start()
    with refusal():
        bpy.ops.pourwright.find_pose()
    killer.join()
    after = [up_of(row) for row in settings().pose.poses], settings().pose.sweep, world()
    assert after == before and "SIGKILL" in message().text and not running.busy()
    # As Esc does it.
    request = part("task").pose_request(bpy.context, [])
    job = running.launch(request, "Find Pose")
    running.stop(0.5)
    assert not job.running and not job.folder.exists() and not running.busy()


def case_pose_buttons_say_why_they_are_grey():
    operators = ("preview_pose", "step_pose", "use_pose", "rotate_copy")
    assert not bpy.ops.pourwright.find_pose.poll()
    objects = gallows()
    assert bpy.ops.pourwright.find_pose.poll()
    assert not any(getattr(bpy.ops.pourwright, name).poll() for name in operators)
    assert not bpy.ops.pourwright.end_preview.poll()
    find_pose()
    assert all(getattr(bpy.ops.pourwright, name).poll() for name in operators)
    bpy.context.view_layer.objects.active = objects[0]
    bpy.ops.object.mode_set(mode="EDIT")
    assert not any(getattr(bpy.ops.pourwright, name).poll() for name in operators)
    bpy.ops.object.mode_set(mode="OBJECT")
    # Edge cases of a figure that cannot be copied: a message, and nothing changed.
    objects[1].hide_viewport = True
    bpy.context.view_layer.update()
    before = world()
    for name in ("preview_pose", "rotate_copy"):
        with refusal():
            getattr(bpy.ops.pourwright, name)()
        assert "Arm" in message().text and "disabled" in message().text
        assert world() == before and not settings().pose.previewing


def case_rotate_copy_stands_base_side_down():
    objects = gallows()
    find_pose()
    bpy.context.view_layer.update()
    looks = [fingerprint(o) for o in objects]
    for row in (0, 1, 3):
        settings().pose.active_pose = row
        bpy.ops.ed.undo_push(message="before")
        assert bpy.ops.pourwright.rotate_copy(use_as_figure=False) == {"FINISHED"}
        (home,) = [c for c in bpy.data.collections if c.name.startswith("Turned Figure")]
        copies = list(home.objects)
        bpy.context.view_layer.update()
        objects = [bpy.data.objects[name] for name in ("Post", "Arm", "Drop")]
        assert [fingerprint(o) for o in objects] == looks
        assert set(bpy.context.selected_objects) == set(copies)
        up = np.array(up_of(settings().pose.poses[row]))
        total = 0.0
        for obj, copy in zip(objects, copies, strict=True):
            old, new = (_points(o) for o in (obj, copy))
            # What is up in the pour is down now, by a turn and a shift alone.
            drop = new[:, 2] + old @ up
            assert np.ptp(drop) < 1e-3, (row, np.ptp(drop))
            spread = [np.linalg.norm(p[:, None] - p[None], axis=-1) for p in (old, new)]
            assert np.allclose(*spread, atol=1e-3)
            total += _volume(copy)
        assert abs(total - sum(_volume(o) for o in objects)) < 1e-3 * FIGURE_MM3
        assert min(_points(c)[:, 2].min() for c in copies) > -1e-3
        gap = min(_points(c)[:, 0].min() for c in copies) - max(
            _points(o)[:, 0].max() for o in objects)
        assert gap > 1.0
        assert [p.object.name for p in settings().figure.parts] == ["Post", "Arm", "Drop"]
        bpy.ops.ed.undo_push(message="Rotate Copy")
        bpy.ops.ed.undo()
        assert len(bpy.data.objects) == 3 and not bpy.data.collections
        objects = [bpy.data.objects[name] for name in ("Post", "Arm", "Drop")]


def case_rotated_copy_is_the_figure_poured_upside_down():
    gallows()
    find_pose()
    pose = settings().pose
    want = (pose.poses[1].pockets, pose.poses[1].rods, pose.poses[1].height_mm)
    bpy.ops.pourwright.use_pose()
    bpy.ops.pourwright.preview_pose()
    assert bpy.ops.pourwright.rotate_copy() == {"FINISHED"}
    assert not pose.previewing and not any(o.hide_get() for o in bpy.data.objects)
    assert [p.object.name for p in settings().figure.parts] == [
        "Post Turned", "Arm Turned", "Drop Turned"]
    assert settings().air.direction == "UPSIDE_DOWN" and _stale()
    # The poses are those of the figure as it stood: they make no sense for the copy.
    before = world()
    for again in (bpy.ops.pourwright.rotate_copy, bpy.ops.pourwright.use_pose):
        with refusal():
            again()
        assert "other objects" in message().text and world() == before
    find_pose()
    standing = row_of(0)
    assert (standing.pockets, standing.rods) == want[:2]
    assert abs(standing.height_mm - want[2]) < 1e-3
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}


def case_copies_keep_materials_and_groups():
    objects = gallows()
    red, blue = (bpy.data.materials.new(name) for name in ("Red", "Blue"))
    objects[0].data.materials.append(red)
    objects[1].data.materials.append(None)
    objects[1].material_slots[0].link = "OBJECT"
    objects[1].material_slots[0].material = blue
    objects[2].vertex_groups.new(name="Protect").add([0, 1, 2], 0.5, "REPLACE")
    objects[2].modifiers.new("Subdivision", "SUBSURF").levels = 2
    objects[2].color = (1.0, 0.5, 0.25, 1.0)
    find_pose()
    bpy.ops.pourwright.rotate_copy()
    copies = [p.object for p in settings().figure.parts]
    assert [m.name for m in copies[0].data.materials] == ["Red"]
    assert [m.name for m in copies[1].data.materials] == ["Blue"]
    assert tuple(copies[2].color) == (1.0, 0.5, 0.25, 1.0) and not copies[2].modifiers
    read = part("bridge").read_objects(bpy.context, [copies[2]], "Protect")[0]
    assert len(read.vertices) > 90 and 0.0 < read.protect.max() <= 0.5


def _points(obj: bpy.types.Object) -> np.ndarray:
    (read,) = part("bridge").read_objects(bpy.context, [obj])
    return read.vertices


def _volume(obj: bpy.types.Object) -> float:
    (read,) = part("bridge").read_objects(bpy.context, [obj])
    a, b, c = (read.vertices[read.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
