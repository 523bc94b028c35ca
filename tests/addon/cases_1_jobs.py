"""The machinery: registration, settings, jobs, messages. Run inside Blender."""

import time
from dataclasses import replace
from pathlib import Path

import bpy
import numpy as np
from stage import (
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
FAKE_WORKER = '''
import json, os, sys, threading, time
folder = sys.argv[1]
job = json.load(open(os.path.join(folder, "job.json")))
print("a library talks", flush=True)
print(json.dumps({"fraction": 0.25, "text": "Quarter"}), flush=True)
if job["do"] == "die":
    os.kill(os.getpid(), 11)
if job["do"] == "fail":
    raise RuntimeError("no luck")
if job["do"] == "hang":
    threading.Thread(target=lambda: (sys.stdin.read(), os._exit(2)), daemon=True).start()
    time.sleep(600)
json.dump({"path": os.environ["PYTHONPATH"], "numpy": "numpy" in sys.modules},
          open(os.path.join(folder, "result.json"), "w"))
'''


def _fake(do: str):
    folder = Path(bpy.app.tempdir) / "fake"
    folder.mkdir(exist_ok=True)
    (folder / "fake_worker.py").write_text(FAKE_WORKER, encoding="utf-8")
    return part("jobs").WorkerJob({"do": do}, {}, module="fake_worker", path=str(folder))


def _ended(job, patience_s: float = 20.0) -> None:
    end = time.monotonic() + patience_s
    while job.running:
        assert time.monotonic() < end
        time.sleep(0.02)


def case_register_is_light():
    heavy = {"scipy", "trimesh", "manifold3d"}
    loaded = {name.split(".")[0] for name in IMPORTED_ON_INSTALL}
    assert "bl_ext" in loaded, "the extension was not imported at all"
    assert not heavy & loaded, heavy & loaded
    rooms = {name for name in IMPORTED_ON_INSTALL if name.startswith("pourwright.solid")}
    assert not rooms, rooms


def case_bundled_wheels_are_used():
    import importlib.util

    spec = importlib.util.find_spec("pourwright")
    assert "extensions" in spec.origin and ".local" in spec.origin, spec.origin


def case_disable_and_enable_leave_nothing():
    import addon_utils

    module = "bl_ext.user_default.pourwright"

    def traces():
        classes = [n for n in dir(bpy.types) if "ourwright" in n.lower()]
        handlers = [h for h in bpy.app.handlers.load_post if "pourwright" in h.__module__]
        drawn = getattr(bpy.types.STATUSBAR_HT_header.draw, "_draw_funcs", [])
        status = [f for f in drawn if "pourwright" in f.__module__]
        return len(classes), len(handlers), len(status), hasattr(bpy.types.Scene, "pourwright")

    enabled = traces()
    assert enabled[1:] == (2, 1, True) and enabled[0] > 20, enabled
    for _ in range(2):
        addon_utils.disable(module)
        assert traces() == (0, 0, 0, False), traces()
        assert not hasattr(bpy.types.WindowManager, "pourwright_message")
        addon_utils.enable(module)
        assert traces() == enabled


def case_every_property_says_what_it_is():
    checked = []

    def check(group):
        checked.append(group.identifier)
        for prop in group.properties:
            if prop.identifier in {"rna_type", "name"}:
                continue
            assert prop.description, f"{group}.{prop.identifier} has no tooltip"
            assert not prop.description.endswith("."), prop.description
            fixed = getattr(prop, "fixed_type", None)
            if prop.type in {"POINTER", "COLLECTION"} and "ourwright" in fixed.identifier:
                check(fixed)

    check(type(settings()).bl_rna)
    assert len(checked) > 9, checked
    operators = [n for n in dir(bpy.types) if n.startswith("POURWRIGHT_OT")]
    assert len(operators) > 7
    for name in operators:
        rna = getattr(bpy.ops.pourwright, name.removeprefix("POURWRIGHT_OT_")).get_rna_type()
        assert rna.description and not rna.description.endswith("."), name


def case_defaults_are_those_of_the_core():
    import tomllib

    from pourwright.plan.job import Job
    from pourwright.plan.job_file import parse_job

    text = part("task").job_text(bpy.context.scene)
    assert tomllib.loads(text)["base"]["draft_deg"] == 5.0
    job = parse_job(text)
    # In Blender the mould is planned by a button of its own.
    assert replace(job, mould=replace(job.mould, enabled=True)) == Job()


def case_choices_are_those_of_the_core():
    from pourwright.shop.process import PROCESSES
    from pourwright.shop.resin import resins
    from pourwright.sprue.catalogue import BASE_KINDS, CATALOGUE
    from pourwright.sprue.settings import TEXT_STYLES

    stored = settings()
    for group, name, names in (
        (stored.base, "kind", BASE_KINDS),
        (stored.base, "text_style", TEXT_STYLES),
        (stored.air, "process", PROCESSES),
        (stored.quantities, "material", resins()),
    ):
        items = group.bl_rna.properties[name].enum_items
        assert items.keys() == list(names)
        for key in names:
            setattr(group, name, key)
            assert getattr(group, name) == key
    known = part("base.kinds")
    assert {k.name for k in CATALOGUE.values() if k.round} == set(known.ROUND)
    assert {k.name for k in CATALOGUE.values() if k.seeded} == set(known.SEEDED)
    assert dict(BASE_KINDS) == known.KINDS
    assert part("base.settings").TEXT_STYLES == TEXT_STYLES


def case_custom_settings_reach_the_core():
    from pourwright.plan.job_file import parse_job

    stored = settings()
    stored.air.direction, stored.air.up = "CUSTOM", (0.0, 3.0, -4.0)
    stored.air.process, stored.quantities.material = "open", "epoxy"
    stored.base.kind, stored.base.size = "rectangular_plinth", "CUSTOM"
    stored.base.width_mm, stored.base.depth_mm = 51.5, 33.25
    stored.base.funnel, stored.quantities.margin_percent = False, 25.0
    stored.base.text, stored.base.text_style = 'No 7 "Reiher"', "raised"
    stored.base.own_height, stored.base.height_mm, stored.base.seed = True, 9.0, 3
    stored.vents.diameter_mm = 2.4
    job = parse_job(part("task").job_text(bpy.context.scene))
    assert job.up == (0.0, 3.0, -4.0) and job.process.name == "open" and job.material == "epoxy"
    assert (job.base.kind, job.base.width_mm, job.base.depth_mm) == (
        "rectangular_plinth", 51.5, 33.25)
    assert (job.base.text, job.base.text_style) == ('No 7 "Reiher"', "raised")
    assert (job.base.height_mm, job.base.seed) == (9.0, 3)
    stored.base.kind = "coin"
    coin = parse_job(part("task").job_text(bpy.context.scene)).base
    assert (coin.kind, coin.width_mm, coin.depth_mm) == ("coin", 51.5, None)
    assert not job.funnel.enabled and job.margin == 0.25 and job.vents.diameter_mm == 2.4


def case_worker_runs_and_tidies_up():
    job = _fake("work")
    _ended(job)
    outcome = job.outcome()
    assert outcome.status == 0 and outcome.result["numpy"] is False
    assert (job.fraction, job.text) == (0.25, "Quarter")
    job.close()
    assert not job.folder.exists()


def case_worker_that_crashes_is_a_message():
    for do, words in (("die", "SIGSEGV"), ("fail", "no luck")):
        job = _fake(do)
        _ended(job)
        try:
            job.outcome()
        except part("jobs").JobError as error:
            assert words in error.message and "nothing was changed" in error.message
        else:
            raise AssertionError(f"{do} gave a result")
        finally:
            job.close()


def case_worker_is_stopped_at_once():
    job = _fake("hang")
    while job.fraction == 0.0:
        time.sleep(0.01)
    start = time.monotonic()
    job.stop()
    assert time.monotonic() - start < 0.5 and not job.running and not job.folder.exists()


def case_worker_does_not_outlive_its_parent():
    job = _fake("hang")
    while job.fraction == 0.0:
        time.sleep(0.01)
    job.process.stdin.close()  # as when the parent process dies
    _ended(job, 5.0)
    job.close()


def case_the_real_worker_does_not_outlive_its_parent():
    import subprocess
    import tempfile

    jobs = part("jobs")
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "job.json").write_text("{}", encoding="utf-8")
        code = (
            "import sys, threading, time\n"
            "from pourwright import worker\n"
            "threading.Thread(target=worker._watch, args=(sys.stdin, threading.Event())).start()\n"
            "time.sleep(60)\n"
        )
        started = subprocess.Popen(
            [jobs.interpreter(), "-c", code],
            stdin=subprocess.PIPE,
            env={"PYTHONPATH": jobs.search_path(("pourwright",))},
        )
        time.sleep(0.5)
        assert started.poll() is None
        started.stdin.close()
        assert started.wait(10) == 2


def case_worker_refuses_a_damaged_job():
    job = part("jobs").WorkerJob({"task": "dance"}, {})
    _ended(job)
    try:
        job.outcome()
    except part("jobs").JobError as error:
        assert "job folder" in error.message
    else:
        raise AssertionError("no refusal")
    finally:
        job.close()


def case_open_mesh_is_named_and_nothing_changes():
    vertices, faces = box((0, 0, 0), (20, 20, 20))
    bpy.context.scene.unit_settings.scale_length = 0.001
    cube = add_mesh("Crate", vertices, faces[:-1])
    choose([cube])
    before, looks = world(), fingerprint(cube)
    for operator in (bpy.ops.pourwright.make_master, bpy.ops.pourwright.find_air):
        with refusal():
            operator()
        assert message().kind == "ERROR" and "Crate" in message().text
        assert "hole" in message().text or "open" in message().text
        assert message().has_place
        assert abs(message().place_mm[2] - 20.0) < 0.01, tuple(message().place_mm)
        assert world() == before and fingerprint(cube) == looks
    assert bpy.ops.pourwright.show_place(place_mm=message().place_mm) == {"FINISHED"}
    assert abs(bpy.context.scene.cursor.location.z - 20.0) < 0.01


def case_missing_figure_greys_the_button():
    operator = bpy.ops.pourwright.make_master
    assert not operator.poll()
    objects = gate()
    assert operator.poll()
    choose(objects)
    bpy.context.scene.collection.objects.unlink(objects[1])
    assert not operator.poll()
    bpy.ops.pourwright.remove_part(index=1)
    assert operator.poll()
    bpy.ops.object.mode_set(mode="EDIT") if bpy.context.object else None
    assert bpy.context.mode == "OBJECT" or not operator.poll()


def case_figure_deleted_while_working():
    bpy.context.scene.unit_settings.scale_length = 0.001
    objects = gate()
    choose(objects)
    module = part("figure.operators")
    request = module.task.figure_request(bpy.context, "plan", [])
    bpy.data.objects.remove(objects[0])
    try:
        part("running").target_scene(request)
    except part("jobs").JobError as error:
        assert "Post" in error.message and "deleted" in error.message
    else:
        raise AssertionError("not noticed")


def case_killed_worker_leaves_the_scene():
    import threading

    bpy.context.scene.unit_settings.scale_length = 0.001
    choose(gate())
    before, running = world(), part("running")

    def kill():
        while not running.busy():
            time.sleep(0.005)
        running.current.job.process.kill()

    killer = threading.Thread(target=kill)
    killer.start()
    with refusal():
        bpy.ops.pourwright.make_master()
    killer.join()
    assert message().kind == "ERROR" and "SIGKILL" in message().text
    assert world() == before and not running.busy()


def case_results_are_no_figure():
    obj = part("results").replace(
        bpy.context.scene,
        ("master",),
        [part("results").Piece("master", 0, "Master", *map(np.asarray, _triangle()))],
    )[0]
    obj.hide_set(False)
    for other in bpy.context.view_layer.objects:
        other.select_set(other == obj)
    assert not bpy.ops.pourwright.use_selected.poll()


def _triangle():
    return np.eye(3) * 10.0, [[0, 1, 2]]
