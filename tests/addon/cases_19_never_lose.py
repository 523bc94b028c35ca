"""Figures of every kind and state, and work that is never lost. Run inside Blender."""

import math
import tempfile
import threading
import time
from pathlib import Path

import bpy
import numpy as np
from dump import changes, everything
from mathutils import Matrix
from stage import add_mesh, box, choose, gate, message, part, refusal, settings

IMPORTED_ON_INSTALL: set[str] = set()
KILL_AT = (0.0, 0.1, 0.4)  # shares of the job


def _volume(obj: bpy.types.Object) -> float:
    """Return the signed volume that the core is given: negative if it is inside out."""
    bpy.context.view_layer.update()
    (read,) = part("bridge").read_objects(bpy.context, [obj])
    a, b, c = (read.vertices[read.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def _mm() -> None:
    bpy.context.scene.unit_settings.scale_length = 0.001


def _cube(name: str = "Cube", x: float = 0.0, size: float = 10.0) -> bpy.types.Object:
    return add_mesh(name, *box((x, 0, 0), (x + size, size, size)))


def _made() -> str:
    """Make as if a master was made just now, and return what is stale about it."""
    bpy.context.view_layer.update()
    task, results, scene = part("task"), part("results"), bpy.context.scene
    corner = results.Piece("master", 0, "Master", np.eye(3), np.array([[0, 1, 2]]))
    results.replace(scene, ("master",), [corner])
    settings().plan = "{}"
    settings().made_with = task.fingerprint(scene)
    return task.stale(scene)


def _now() -> bool:
    """Whether the panels say that the results no longer match."""
    bpy.context.view_layer.update()
    return part("task").stale(bpy.context.scene).startswith("Figure or settings changed")


def case_stretched_mirrored_and_parented_figures_keep_their_volume():
    _mm()
    cube = _cube()
    turns = Matrix.Rotation(0.4, 4, "X") @ Matrix.Rotation(0.7, 4, "Z")
    for scale in ((1, 1, 1), (2, 0.5, 3), (-1, 1, 1), (-2, 1, -1), (-1, -2, -1)):
        cube.matrix_world = Matrix.Translation((5, 6, 7)) @ turns @ Matrix.Diagonal((*scale, 1))
        wanted = 1000.0 * abs(math.prod(scale))
        assert abs(_volume(cube) - wanted) < 1e-3 * wanted, (scale, _volume(cube))
    parent = bpy.data.objects.new("Stand", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.rotation_euler, parent.scale = (0.3, 0.5, 0.1), (1, -2, 1)
    cube.parent, cube.matrix_world = parent, Matrix.Identity(4)
    cube.matrix_basis = Matrix.Rotation(0.6, 4, "Y")  # with its parent's scale, this is a shear
    assert abs(_volume(cube) - 2000.0) < 1.0, _volume(cube)


def case_every_kind_of_object_is_a_figure():
    """Linked, modified, mirrored, curve, text, metaball: one figure of seven closed shells."""
    _mm()
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "library.blend")
        other = _cube("Linked", 0)
        bpy.data.libraries.write(path, {other})
        bpy.data.objects.remove(other)
        with bpy.data.libraries.load(path, link=True) as (_, wanted):
            wanted.objects = ["Linked"]
        linked = bpy.data.objects["Linked"]
        bpy.context.scene.collection.objects.link(linked)
        assert linked.library is not None
        figure = [linked, *_kinds()]
        bpy.context.view_layer.update()
        choose(figure)
        bpy.data.objects["Hidden"].hide_set(True)
        before = everything()
        assert everything() == before  # what is compared below does not change by itself
        volumes = {obj.name: _volume(obj) for obj in figure}
        assert min(volumes.values()) > 50.0, volumes
        assert abs(volumes["Linked"] - 1000.0) < 0.1 and abs(volumes["Mirrored"] - 2000.0) < 0.1
        assert abs(volumes["Arrayed"] - 2000.0) < 0.1
        assert everything() == before, changes(before, everything())
        assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    found = settings().figure
    assert not [f.text for f in found.findings if "inside out" in f.text]
    assert abs(found.volume_mm3 - sum(volumes.values())) < 1e-3 * found.volume_mm3
    assert found.shells == len(figure) + 1, found.shells  # the array is two


def _kinds() -> list[bpy.types.Object]:
    hidden = _cube("Hidden", 30)
    mirrored = _cube("Mirrored", 50)
    mirrored.scale = (-1, 2, 1)
    arrayed = _cube("Arrayed", 70)
    arrayed.modifiers.new("Array", "ARRAY").relative_offset_displace = (0, 2, 0)
    made = []
    for name, data in (("Curve", bpy.data.curves.new("Curve", "CURVE")),
                       ("Text", bpy.data.curves.new("Text", "FONT")),
                       ("Meta", bpy.data.metaballs.new("Meta"))):  # fmt: skip
        obj = bpy.data.objects.new(name, data)
        bpy.context.scene.collection.objects.link(obj)
        obj.location = (20.0 * len(made), -40, 5)
        made.append(obj)
    curve, text, meta = (obj.data for obj in made)
    curve.dimensions, curve.bevel_depth, curve.use_fill_caps = "3D", 3.0, True
    curve.splines.new("POLY").points.add(1)
    curve.splines[0].points[1].co = (0, 8, 8, 1)
    text.body, text.extrude, text.size = "I", 2.0, 20.0
    meta.elements.new(type="BALL").radius = 10.0
    meta.resolution = 2.0
    return [hidden, mirrored, arrayed, *made]


def case_instances_are_refused_with_a_reason():
    _mm()
    inside = _cube("Inside")
    held = bpy.data.collections.new("Herons")
    bpy.context.scene.collection.children.link(held)
    bpy.context.scene.collection.objects.unlink(inside)
    held.objects.link(inside)
    instance = bpy.data.objects.new("Instance", None)
    instance.instance_type, instance.instance_collection = "COLLECTION", held
    bpy.context.scene.collection.objects.link(instance)
    inside.select_set(False)
    instance.select_set(True)
    assert "Make Instances Real" in part("figure.settings").instances(bpy.context)
    assert not bpy.ops.pourwright.use_selected.poll()
    # A mesh that shows another at its vertices: what is seen is more than what is read.
    shows = _cube("Shows", 40)
    inside.parent, shows.instance_type = shows, "VERTS"
    choose([shows])
    before = everything()
    with refusal():
        bpy.ops.pourwright.find_air()
    assert "Shows" in message().text and "instances" in message().text
    assert everything() == before, changes(before, everything())


def case_another_shape_makes_results_stale():
    _mm()
    cube, cutter = _cube(), _cube("Cutter", 60)
    choose([cube])
    assert not _made() and not _now()
    # What changes no shape is no reason.
    cube.hide_set(True)
    cube.select_set(False)
    bpy.context.scene.frame_set(5)
    cube.hide_set(False)
    bpy.context.view_layer.objects.active = cube
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.object.mode_set(mode="OBJECT")
    assert not _now()

    def changed(what: str, change) -> None:
        assert not _made(), what
        change()
        assert _now(), what

    other = cube.data.copy()
    other.vertices[0].co.x -= 0.25  # as many vertices, another shape
    changed("mesh", lambda: setattr(cube, "data", other))
    changed("sculpted", lambda: setattr(other.vertices[3].co, "z", 1.0))
    changed("modifier", lambda: cube.modifiers.new("Smooth", "SUBSURF"))
    changed("its setting", lambda: setattr(cube.modifiers[0], "levels", 2))
    changed("switched off", lambda: setattr(cube.modifiers[0], "show_viewport", False))
    cut = cube.modifiers.new("Cut", "BOOLEAN")
    changed("cutter", lambda: setattr(cut, "object", cutter))
    changed("cutter moved", lambda: setattr(cutter.location, "x", -55.0))
    cube.shape_key_add(name="Basis")
    key = cube.shape_key_add(name="Wide")
    changed("shape key", lambda: setattr(key, "value", 0.5))
    changed("moved", lambda: setattr(cube.location, "x", 1.0))
    curve = bpy.data.curves.new("Curve", "CURVE")
    curve.splines.new("POLY").points.add(1)
    wire = bpy.data.objects.new("Wire", curve)
    bpy.context.scene.collection.objects.link(wire)
    choose([wire])
    changed("bevel", lambda: setattr(curve, "bevel_depth", 2.0))
    changed("point", lambda: setattr(curve.splines[0].points[1], "co", (0, 0, 9, 1)))


def case_nothing_runs_by_itself():
    """When something in the scene changes, no handler looks further than at what it was."""
    forgetting, noting = part("overlay.draw")._forget, part("overlay.draw")._on_change
    allowed = {
        "depsgraph_update_post": [noting],  # whether the painted surface is to be read anew
        "undo_post": [forgetting],
        "redo_post": [forgetting],
        "save_pre": [part("saved.migrate").on_file],  # the settings' version
    }
    for name in ("depsgraph_update_post", "depsgraph_update_pre", "frame_change_post",
                 "frame_change_pre", "undo_post", "redo_post", "save_pre"):  # fmt: skip
        ours = [f for f in getattr(bpy.app.handlers, name) if "pourwright" in f.__module__]
        assert ours == allowed.get(name, []), (name, ours)


def case_one_vertex_of_many_makes_results_stale():
    _mm()
    big = bpy.data.objects.new("Big", _grid(318))
    bpy.context.scene.collection.objects.link(big)
    bpy.context.view_layer.update()
    choose([big])
    assert not _made()
    assert not part("task").stale(bpy.context.scene)
    big.data.vertices[50_000].co.z += 1e-3
    assert _now()


def _grid(side: int) -> bpy.types.Mesh:
    """A flat mesh of 2 side^2 triangles: only its size matters here."""
    x, y = (g.ravel() for g in np.meshgrid(np.arange(side + 1.0), np.arange(side + 1.0)))
    i, j = (g.ravel() for g in np.meshgrid(np.arange(side), np.arange(side)))
    a = j * (side + 1) + i
    faces = np.concatenate([np.stack([a, a + 1, a + side + 2], 1),
                            np.stack([a, a + side + 2, a + side + 1], 1)])  # fmt: skip
    mesh = bpy.data.meshes.new("Grid")
    mesh.from_pydata(np.stack([x, y, 0 * x], 1).tolist(), [], faces.tolist())
    return mesh


def case_a_killed_worker_changes_nothing_and_the_next_one_works():
    _mm()
    choose(gate())
    bpy.ops.pourwright.find_air()  # there is something to lose
    running, before = part("running"), everything()
    for share in KILL_AT:
        killer = threading.Thread(target=_kill, args=(running, share))
        killer.start()
        with refusal():
            bpy.ops.pourwright.make_master()
        killer.join()
        assert message().kind == "ERROR" and "SIGKILL" in message().text, message().text
        assert everything() == before, changes(before, everything())
        assert not running.busy() and not list(Path(bpy.app.tempdir).glob("pourwright-*"))
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}


HELPED = """
import json, os, signal, subprocess, sys, tempfile
kept = tempfile.mkdtemp()
child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
print(json.dumps({"fraction": 0.5, "text": f"{kept} {child.pid}"}), flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


def case_what_a_killed_worker_started_and_stored_goes_too():
    folder = Path(bpy.app.tempdir) / "helped"
    folder.mkdir(exist_ok=True)
    (folder / "helped_worker.py").write_text(HELPED, encoding="utf-8")
    jobs = part("jobs")
    job = jobs.WorkerJob({}, {}, module="helped_worker", path=str(folder))
    while job.running or job.fraction < 0.5:
        time.sleep(0.01)
    kept, child = job.text.rsplit(" ", 1)
    assert Path(kept).is_dir() and _alive(int(child))
    try:
        job.outcome()
    except jobs.JobError as error:
        assert "SIGKILL" in error.message
    job.close()
    assert not Path(kept).exists() and not job.folder.exists()
    end = time.monotonic() + 5.0
    while _alive(int(child)) and time.monotonic() < end:
        time.sleep(0.01)
    assert not _alive(int(child))


def _alive(process: int) -> bool:
    """Whether a process runs; one that has ended may wait for its parent to take note."""
    try:
        stat = Path(f"/proc/{process}/stat").read_text(encoding="utf-8")
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] not in "ZX"


def _kill(running, share: float) -> None:
    while not running.busy():
        time.sleep(0.002)
    job = running.current.job
    while job.fraction < share:
        time.sleep(0.002)
    job.process.kill()


def case_a_stopped_job_changes_nothing():
    """As when the user presses Ctrl-C, or Esc in a window."""
    _mm()
    choose(gate())
    running, before = part("running"), everything()
    sleep = running.time.sleep

    def interrupt(seconds: float) -> None:
        if running.current.job.fraction > 0.05:
            raise KeyboardInterrupt
        sleep(seconds)

    module = type("Time", (), {"sleep": staticmethod(interrupt), "monotonic": time.monotonic})
    running.time = module
    try:
        bpy.ops.pourwright.make_master()
    except (KeyboardInterrupt, RuntimeError) as error:
        assert "KeyboardInterrupt" in repr(error), error
    else:
        raise AssertionError("was not interrupted")
    finally:
        running.time = time
    assert everything() == before, changes(before, everything())
    assert not running.busy() and not list(Path(bpy.app.tempdir).glob("pourwright-*"))


def case_a_batch_read_for_one_figure_is_untouched_until_the_end():
    """What the series asks of the scene, figure by figure, leaves no trace in it."""
    _mm()
    for obj in (_cube("Ant"), _cube("Bee", 40)):
        obj.select_set(True)
    bpy.ops.pourwright.add_figures(by="OBJECT")
    before = everything()
    task, rows, scene = part("task"), part("batch.rows"), bpy.context.scene
    for i in range(2):
        request = task.plan_request(bpy.context, [], rows.objects_of(scene, i))
        assert request.objects == (("Ant",), ("Bee",))[i] and len(request.meshes) == 1
    assert everything() == before, changes(before, everything())


def case_modes_other_than_object_mode_are_refused():
    _mm()
    cube = _cube()
    choose([cube])
    for mode in ("EDIT", "SCULPT", "WEIGHT_PAINT"):
        bpy.ops.object.mode_set(mode=mode)
        for name in ("make_master", "find_air", "find_pose", "make_all", "add_figures"):
            assert not getattr(bpy.ops.pourwright, name).poll(), (mode, name)
        bpy.ops.object.mode_set(mode="OBJECT")
    assert bpy.ops.pourwright.find_air.poll()
