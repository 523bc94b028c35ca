"""What the view shows: the pockets' marks, paint, switches and turning to a pocket."""

import contextlib
import os
import re
import signal
import tempfile
import time
from itertools import pairwise
from pathlib import Path

import bpy
import numpy as np
from mathutils import Vector
from stage import POCKET_MM3, add_mesh, box, choose, gate, part, settings


def _find_air() -> None:
    bpy.context.scene.unit_settings.scale_length = 0.001
    choose(gate())
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}


@contextlib.contextmanager
def _sidebar():
    """Stand in the sidebar of a 3D view, where a click on a row of a list happens."""
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    (region,) = (r for r in area.regions if r.type == "UI")
    with bpy.context.temp_override(window=window, area=area, region=region):
        yield area.spaces.active


def case_marks_have_the_size_of_the_bubble_that_is_left():
    bpy.context.scene.unit_settings.scale_length = 1.0  # a unit is a metre
    choose(gate(1000.0))
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    held = part("overlay.pockets").pockets_of(bpy.context.scene)
    row = settings().air.pockets[0]
    left_mm = np.cbrt(6.0 / np.pi * POCKET_MM3 * 3.1 / 515.0)  # Boyle, vacuum then pressure
    assert abs(row.bubble_mm - left_mm) < 0.05 * left_mm
    assert np.isclose(held.bubbles[0] * 1000.0, row.bubble_mm)
    assert np.allclose(held.places[0] * 1000.0, row.place_mm) and held.kinds[0] == 0
    # In the open air the same pocket leaves a bigger bubble.
    settings().air.process = "open"
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    assert part("overlay.pockets").pockets_of(bpy.context.scene).bubbles[0] > 4 * held.bubbles[0]


def _found_by_hand() -> None:
    """A pocket in the list, as a run leaves it, without the time of one."""
    bpy.context.scene.unit_settings.scale_length = 0.001
    row = settings().air.pockets.add()
    row.place_mm, row.bubble_mm, row.matters = (32.0, 0.0, 38.0), 2.07, True


def case_marks_are_read_anew_only_when_something_changed():
    _found_by_hand()
    pockets = part("overlay.pockets").pockets_of
    held = pockets(bpy.context.scene)
    assert pockets(bpy.context.scene) is held
    settings().air.pockets[0].vented = True
    vented = pockets(bpy.context.scene)
    assert vented is not held and vented.kinds[0] == 2 and vented.bubbles[0] == 0.0
    settings().air.pockets.clear()
    assert pockets(bpy.context.scene) is None


def case_the_list_has_the_biggest_bubbles_first():
    bpy.context.scene.unit_settings.scale_length = 0.001
    bar = add_mesh("Bar", *box((-60, -6, 50), (60, 6, 62)))
    drops = [add_mesh("Drop", *box((x, -s, 40), (x + 2 * s, s, 55)))
             for x, s in ((-50, 2), (-20, 4), (20, 3), (40, 5))]  # fmt: skip
    choose([bar, *drops])
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    sizes = [p.bubble_mm for p in settings().air.pockets]
    assert len(sizes) == 3 and sizes == sorted(sizes, reverse=True)


def case_a_click_on_a_row_frames_the_pocket_from_its_own_side():
    _find_air()
    pocket = part("results").find(bpy.context.scene, "pocket")
    bpy.context.view_layer.update()
    with _sidebar() as space:
        view = space.region_3d
        view.view_perspective, view.view_distance = "PERSP", 500.0
        # From straight above, the pocket at the arm's lower end is hidden.
        view.view_rotation = (1.0, 0.0, 0.0, 0.0)
        settings().air.active_pocket = 0
        assert (view.view_location - pocket.matrix_world.translation).length < 1e-3
        assert view.view_distance < 100.0
        eye = view.view_rotation @ Vector((0.0, 0.0, 1.0))
        assert eye.x > 0.5 and eye.z < -0.1  # from the end of the arm, and from below
        # A view that sees it already is not turned.
        view.view_rotation = Vector((0.9, 0.3, -0.3)).to_track_quat("Z", "Y")
        kept = view.view_rotation.copy()
        settings().air.active_pocket = 0
        assert view.view_rotation.rotation_difference(kept).angle < 1e-4
        assert bpy.context.view_layer.objects.active == pocket
        # In local view, the pocket is brought into it.
        region = next(r for r in bpy.context.area.regions if r.type == "WINDOW")
        with bpy.context.temp_override(region=region):
            for obj in bpy.context.view_layer.objects:
                obj.select_set(obj.name == "Post")
            assert bpy.ops.view3d.localview() == {"FINISHED"}
        assert space.local_view is not None and not pocket.local_view_get(space)
        bpy.context.view_layer.update()
        if not bpy.data.objects["Post"].local_view_get(space):
            return  # without a window, Blender 4.2 does not fill its local view
        settings().air.active_pocket = 0
        assert bpy.context.view_layer.objects.active == pocket
        bpy.context.view_layer.update()
        assert pocket.local_view_get(space)


def case_switches_close_eyes_and_are_saved_with_the_scene():
    bpy.context.scene.unit_settings.scale_length = 0.001
    choose(gate())
    settings().overlay.rods = settings().overlay.box = False
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    (vent,) = part("results").vents(bpy.context.scene)
    assert vent.hide_get() and not vent.hide_viewport
    # Hidden, it is read where it stands all the same.
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert settings().vents.left == 0
    settings().overlay.rods = True
    assert not vent.hide_get()
    bpy.ops.pourwright.show(what="MASTER")
    settings().overlay.rods = False
    settings().overlay.rods = True
    assert vent.hide_get()  # the fused master holds it
    bpy.ops.pourwright.show(what="PARTS")
    settings().overlay.rods = False
    settings().overlay.shapes = False
    pocket = part("results").find(bpy.context.scene, "pocket")
    assert not pocket.visible_get() and vent.hide_get()
    settings().rising.show = True
    settings().rising.show = False
    assert not pocket.visible_get()
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "shown.blend")
        bpy.ops.wm.save_as_mainfile(filepath=path)
        bpy.ops.wm.read_homefile(use_empty=True)
        assert settings().overlay.rods
        bpy.ops.wm.open_mainfile(filepath=path)
    assert not settings().overlay.rods and not settings().overlay.shapes
    assert settings().overlay.cut and not settings().overlay.box


def case_the_protected_surface_is_read_in_slices():
    choose(gate())
    protected, scene = part("overlay.protected"), bpy.context.scene
    assert protected.surfaces_of(scene) == ()
    post = bpy.data.objects["Post"]
    post.vertex_groups.new(name="Protect").add([1, 3, 5, 7], 0.75, "REPLACE")  # its top
    bpy.context.view_layer.update()
    assert protected.surfaces_of(scene) == ()  # nothing is read while a view is drawn
    for _ in range(20):
        if protected._step() is None:
            break
    (surface,) = protected.surfaces_of(scene)
    assert surface.name == "Post" and set(surface.weights.tolist()) == {0.0, 0.75}
    # All faces but the bottom touch the top.
    assert len(surface.weights) == 3 * 10
    top = surface.corners[surface.weights > 0]
    assert np.allclose(top[:, 2], 60.0)
    # More paint is read again, a move is not: what is drawn follows the object.
    reads = protected._state.changed
    post.location.x += 5.0
    bpy.context.view_layer.update()
    assert protected._state.changed == reads
    post.vertex_groups[0].add([0], 1.0, "REPLACE")
    post.data.update()
    bpy.context.view_layer.update()
    assert protected._state.changed > reads


def case_numbers_do_not_cover_each_other():
    numbers, pockets = part("overlay.numbers"), part("overlay.pockets")
    places = np.array([(0, 0, 0), (0.01, 0, 0), (0.5, 0, 0), (5, 0, 0), (0, 0.5, 0)], np.float32)
    held = pockets.Pockets(places, np.ones(5, np.float32), np.array([0, 0, 0, 0, 1]))
    found = numbers.labels(held, np.eye(4), 800.0, 600.0, 1, 1.0)
    # The active one before its bigger neighbour; what is beside the view or vanishes, not at all.
    assert [number for number, _, _ in found] == [2, 3]
    assert np.allclose(found[1][1:], (600.0 + 7.0, 300.0 + 7.0))


def case_the_legend_says_what_is_there_and_nothing_else():
    legend, scene = part("overlay.legend"), bpy.context.scene
    assert legend.rows(scene, None, None, protected=False) == []
    _found_by_hand()
    held = part("overlay.pockets").pockets_of(scene)
    texts = [row[0] for row in legend.rows(scene, held, None, protected=True)]
    assert texts == ["Leaves a Visible Bubble: 1", "Bubbles Drawn 4 x as Large", "Protected"]
    settings().overlay.bubbles = settings().overlay.shapes = settings().overlay.protected = False
    assert legend.rows(scene, held, None, protected=True) == []
    cavity = part("rising.cavities").Cavity(None, None, None, None, -62.0, 0.0, ())
    settings().rising.level = 50.0
    texts = [row[0] for row in legend.rows(scene, None, cavity, protected=False)]
    assert texts == ["Filled", "Trapped Air", "Air Leaves", "Resin at 31.0 of 62.0 mm"]


def case_dashes_cover_the_hinge_where_they_should():
    dashed = part("curves").dashed
    path = [(0.0, 0.0, 0.0), (4.0, 0.0, 0.0), (4.0, 4.0, 0.0), (4.0, 4.0, 4.0)]
    dashes = dashed(path, 3.0, 2.0)
    lengths = [sum((Vector(b) - Vector(a)).length for a, b in pairwise(d))
               for d in dashes]  # fmt: skip
    assert np.allclose(lengths, [3.0, 3.0, 2.0])  # 0-3, 5-8, 10-12 of 12 mm
    assert np.allclose(dashes[1], [(4, 1, 0), (4, 4, 0)])
    assert np.allclose(dashed([(0, 0, 0), (2, 0, 0), (2, 2, 0)], 3.0, 2.0),
                       [[(0, 0, 0), (2, 0, 0), (2, 1, 0)]])  # fmt: skip


def case_meshes_made_step_by_step_are_those_made_at_once():
    making, bridge, running = part("making"), part("bridge"), part("running")
    bpy.context.scene.unit_settings.scale_length = 0.001
    choose(gate())
    job = running.launch(part("task").plan_request(bpy.context, []), "Make Master")
    job.process.wait(60.0)
    job._reader.join(10.0)
    making.LARGE_FACES = 1
    ticks, before = 0, set(bpy.data.meshes)
    while making.step(job, bpy.context.scene):
        ticks += 1
    outcome = job.outcome()
    meshes = len(set(bpy.data.meshes) - before)
    assert meshes == len(outcome.result["objects"]) >= 5 and ticks >= 3 * meshes
    for i, entry in enumerate(outcome.result["objects"]):
        vertices, faces = outcome.arrays[f"vertices_{i}"], outcome.arrays[f"faces_{i}"]
        stepwise = making.take(vertices)
        assert making.take(vertices) is None and stepwise.users == 0
        assert not stepwise.validate(verbose=True)  # nothing to mend, edges too
        smooth = entry["role"] != "rising"
        once = bridge.new_object("Once", vertices, faces, bpy.context.scene, None, smooth).data
        for name in ("vertices", "edges", "polygons"):
            assert len(getattr(stepwise, name)) == len(getattr(once, name)), (entry, name)
        places = [np.array([v.co for v in mesh.vertices]) for mesh in (stepwise, once)]
        assert np.array_equal(*places)
        sharp = [sorted(tuple(sorted(e.vertices)) for e in mesh.edges if e.use_edge_sharp)
                 for mesh in (stepwise, once)]  # fmt: skip
        assert sharp[0] == sharp[1]
    # What nobody takes is removed again.
    making.drop()
    assert making.step(job, bpy.context.scene)
    kept = len(bpy.data.meshes)
    running.stop()
    assert len(bpy.data.meshes) == kept - 1
    making.LARGE_FACES = 50_000


def case_every_name_that_the_guide_sets_bold_is_written_in_the_extension():
    guide = (Path(__file__).resolve().parents[2] / "docs" / "guide.md").read_text("utf-8")
    guide = guide.partition("## In Blender")[2].partition("\n## From a shell")[0]
    source = "".join(
        path.read_text("utf-8")
        for path in Path(part("settings").__file__).parent.rglob("*.py")
    )
    bold = re.findall(r"\*\*(?:\d+\. )?([^*]+)\*\*", guide)
    names = [re.split(r" > ", " ".join(text.split()))[-1] for text in bold]
    assert len(names) > 20
    # What ends in a stop or comma is the head of a paragraph and no name.
    missing = [n for n in names if not n.endswith((".", ",")) and f'"{n}"' not in source]
    assert not missing, missing


def case_a_worker_that_was_killed_is_not_waited_for():
    # Its helpers may live on and hold its output open: nobody would ever read its end.
    program = (
        "import os, subprocess, sys, time\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(20)'])\n"
        "print('{\"fraction\": 0.5, \"text\": \"on\"}', flush=True)\n"
        "time.sleep(20)\n"
    )
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "helped.py").write_text(program, encoding="utf-8")
        jobs = part("jobs")
        job = jobs.WorkerJob({"task": "air"}, {}, module="helped", path=folder)
        for _ in range(500):
            if job.fraction == 0.5:
                break
            time.sleep(0.02)
        assert job.fraction == 0.5 and job.running
        job.process.kill()
        job.process.wait(10.0)
        assert job._reader.is_alive() and not job.running
        try:
            job.outcome()
        except jobs.JobError as error:
            assert "SIGKILL" in error.message
        else:
            raise AssertionError("a killed worker has no result")
        os.killpg(job.process.pid, signal.SIGKILL)
        job.close()
