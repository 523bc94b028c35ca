"""Presets in Blender's menus, and scenes of other versions. Run inside Blender."""

import json
import math
import tempfile
from pathlib import Path

import bpy
from stage import choose, gate, message, part, refusal, settings

KINDS = ("shop", "printer", "process", "materials", "job")


def _paths(kind):
    return part("presets.paths").paths(kind)


def _read(kind="job"):
    return part("presets.paths").read(settings(), _paths(kind))


def _property(path):
    group, _, name = path.rpartition(".")
    owner = settings().path_resolve(group) if group else settings()
    return owner, owner.bl_rna.properties[name]


def _other(path):
    """Set a setting to something else than it is."""
    owner, prop = _property(path)
    old, name = getattr(owner, prop.identifier), prop.identifier
    if prop.type == "ENUM":
        choices = [item.identifier for item in prop.enum_items]
        setattr(owner, name, choices[choices.index(old) - 1])
    elif prop.type == "BOOLEAN":
        setattr(owner, name, not old)
    elif prop.type == "STRING":
        setattr(owner, name, old + "Owl 'n' \"hen\"")
    elif prop.type == "INT":
        setattr(owner, name, old + 1 if old < prop.hard_max else old - 1)
    elif prop.array_length:
        setattr(owner, name, (0.25, -0.5, old[0] + 0.25))
    else:
        low, high = prop.hard_min, prop.hard_max
        setattr(owner, name, old + 0.3 * min(high - old, 10.0) if old < high else (low + high) / 2)


def _choices(path):
    _, prop = _property(path)
    return len(prop.enum_items) if prop.type == "ENUM" else 2


def _folder(kind):
    place = bpy.utils.user_resource("SCRIPTS", path=f"presets/pourwright/{kind}", create=True)
    return Path(place)


def _file(kind):
    (found,) = _folder(kind).glob("*.py")
    return found


def _whole(text):
    return text.replace("settings.", "bpy.context.scene.pourwright.")


def _add(kind, name="Mine"):
    return getattr(bpy.ops.pourwright, f"{kind}_preset_add")(name=name)


def _remove(kind, name="Mine"):
    operator = getattr(bpy.ops.pourwright, f"{kind}_preset_add")
    assert operator(name=name, remove_name=True) == {"FINISHED"}
    assert not list(_folder(kind).glob("*.py"))


def _apply(kind, path):
    return bpy.ops.pourwright.apply_preset(filepath=str(path), kind=kind)


def case_a_preset_brings_back_all_that_it_keeps_and_nothing_else():
    for kind in KINDS:
        bpy.ops.wm.read_homefile(use_empty=True)
        mine = _paths(kind)
        for path in mine:
            _other(path)
        kept = _read(kind)
        assert _add(kind) == {"FINISHED"}
        try:
            for path in _paths("job"):
                _other(path)
            changed = _read()
            still = [path for path in mine if changed[path] == kept[path] and _choices(path) > 1]
            assert not still, f"{kind}: these were not changed, so nothing is shown: {still}"
            assert _apply(kind, _file(kind)) == {"FINISHED"}
            assert "cannot set" not in message().text, message().text
            after = _read()
            assert {path: after[path] for path in mine} == kept
            others = [path for path in changed if path not in mine]
            assert [path for path in others if after[path] != changed[path]] == []
        finally:
            _remove(kind)


def case_each_setting_belongs_to_one_preset_at_most():
    parts = [path for kind in KINDS[:-1] for path in _paths(kind)]
    assert len(parts) == len(set(parts)) and set(parts) < set(_paths("job"))
    # Every setting of a job file that Blender has is in the presets of a job, and only those:
    # changing one changes the job, with the switches on that make it count.
    switches = [
        path for path in _paths("job")
        if _property(path)[1].type == "BOOLEAN" and path.rpartition(".")[2].startswith(
            ("own", "use_"))
    ]  # fmt: skip
    without = {"bench.use_resin_price", "bench.resin_price"}  # of the panel alone
    stored, write = settings(), part("presets.paths").write
    for switch in switches:
        owner, prop = _property(switch)
        setattr(owner, prop.identifier, True)
    stored.air.direction, stored.base.size, stored.pose.search = "CUSTOM", "CUSTOM", "CONE"
    stored.air.up = (0.0, 0.5, -0.5)
    stored.quantities.own_name = "mine"
    for path in _paths("job"):
        if path in without or _choices(path) == 1:
            continue
        if path.startswith("base."):
            stored.base.kind = path.split(".")[1] if path.count(".") == 2 else "scenic_log"
        stored.quantities.own = path != "quantities.material"
        stored.air.own_pressures = path != "air.process"
        owner, prop = _property(path)
        kept, before = getattr(owner, prop.identifier), _everything()
        kept = tuple(kept) if prop.type == "FLOAT" and prop.array_length else kept
        _other(path)
        assert _everything() != before, f"{path} is in the presets of a job but not in its file"
        write(stored, {path: kept})


def _everything():
    base, task = part("base.settings"), part("task")
    scene = bpy.context.scene
    tables = [task.job_tables(scene), task.pose_tables(scene)]
    own = scene.pourwright.base
    return json.dumps([*tables, base.base_table(own), base.own_base_table(own)])


def case_results_and_figure_stay():
    objects = gate()
    choose(objects)
    assert _add("job") == {"FINISHED"}
    try:
        stored, scene, task = settings(), bpy.context.scene, part("task")
        stored.vents.diameter_mm = 1.25
        stored.plan = json.dumps({"up": [0, 0, -1]})
        stored.vents_made_with = stored.gates_made_with = part("results").rod_digests([])
        stored.made_with = task.fingerprint(scene)
        stored.air.pockets.add().volume_mm3 = 7.0
        stored.air.source, stored.vents.left, stored.export.folder = "Figure", 3, "/here"
        assert task.stale(scene) == ""
        plan = stored.plan
        assert _apply("job", _file("job")) == {"FINISHED"}
        assert [p.object for p in stored.figure.parts] == objects
        assert (stored.plan, stored.air.source, stored.vents.left) == (plan, "Figure", 3)
        assert stored.air.pockets[0].volume_mm3 == 7.0 and stored.export.folder == "/here"
        assert stored.vents.diameter_mm == 1.5
        assert "settings changed" in task.stale(scene)
    finally:
        _remove("job")


def case_a_name_that_is_taken_is_not_written_over():
    assert _add("printer") == {"FINISHED"}
    try:
        before = _file("printer").read_bytes()
        settings().print.printer = "resin_large"
        assert _add("printer") == {"CANCELLED"}
        assert _file("printer").read_bytes() == before
    finally:
        _remove("printer")


def case_a_preset_that_is_wrong_changes_nothing():
    stored = settings()
    stored.print.printer = "resin_large"
    before = _read()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "wrong.py"
        for text, told in (
            ("settings.print.own_sizes = True\nsettings.print.layer_mm = 'thin'", "layer_mm"),
            ("settings.print.own_sizes = True\nsettings.print.printer = 'mangle'", "mangle"),
            ("settings.bench.cup_ml = 3.0", "nothing in it for Printer"),
            ("import os\nos.remove('x')\nprint.printer = 'resin_small'\n", "nothing in it"),
            ("settings.print.printer = open('x')", "damaged"),
            ("settings.print.printer = ", "damaged"),
        ):
            path.write_text(_whole(text), encoding="utf-8")
            with refusal():
                _apply("printer", path)
            assert told in message().text and "wrong" in message().text, message().text
            assert _read() == before, text
        with refusal():
            _apply("printer", Path(folder) / "none.py")
        # What is not known, or out of range, is told.
        path.write_text(
            _whole("settings.print.layer_mm = 99\nsettings.print.colour = 1\n"
                   "settings.print.printer = 'resin_small'"), encoding="utf-8",
        )  # fmt: skip
        assert _apply("printer", path) == {"FINISHED"}
        assert stored.print.printer == "resin_small"
        assert message().text.endswith("cannot set print.colour, print.layer_mm"), message().text


def case_the_menus_are_blender_s_own():
    from bl_ui.utils import PresetPanel

    for kind in KINDS:
        menu = getattr(bpy.types, f"POURWRIGHT_PT_{kind}_presets")
        assert issubclass(menu, PresetPanel)
        adding = getattr(bpy.types, f"POURWRIGHT_OT_{kind}_preset_add")
        assert menu.preset_subdir == adding.preset_subdir and adding.kind == kind
        assert adding.preset_menu == menu.__name__ and adding.bl_idname == menu.preset_add_operator
        assert menu.preset_operator_defaults == {"kind": kind}


# Scenes of other versions ---------------------------------------------------------------------


def _moved(*arguments, **more):
    return part("saved.migrate").Moved(*arguments, **more)


STEPS = (
    (1, "vents.radius_mm", "vents.diameter_mm", lambda mm: 2 * mm),
    (1, "gates.neck_share", "gates.neck_percent", lambda share: 100 * share),
    (1, "air.pour_up", "air.up"),
    (1, "bench.colour", ""),
    (1, "print.extra.room_mm", "print.build_x_mm"),
    (1, "mould.hinge_cm", "mould.hinge_mm", lambda cm: float(cm) * 10),
    (1, "pose.first", "pose.weights.rod"),
    (1, "pose.weights.rod", "pose.weights.pocket"),
)


def _steps():
    """Put steps into the table, for no version has had one yet; return how to take them out."""
    migrate, operators = part("saved.migrate"), part("presets.operators")
    steps = tuple(_moved(*step) for step in STEPS)
    migrate.STEPS = operators.STEPS = steps

    def undo():
        migrate.STEPS = operators.STEPS = ()

    return undo


def _old_scene():
    """Give the scene settings as a version before all steps would have saved them."""
    settings().vents.web_mm = 1.75
    for name in ("gates", "air", "bench", "print", "mould", "pose"):
        getattr(settings(), name).bl_rna  # noqa: B018
    settings().gates.grid_mm = settings().bench.cup_ml = settings().print.layer_mm = 0.5
    settings().air.visible_defect_mm = settings().mould.wall_mm = settings().pose.cone = 1.5
    group = part("saved.migrate").stored(bpy.context.scene)
    group["vents"]["radius_mm"] = 1.1
    group["gates"]["neck_share"] = 0.65
    group["air"]["pour_up"] = [0.0, 0.6, -0.8]
    group["bench"]["colour"] = "red"
    group["print"]["extra"] = {"room_mm": 123.0}
    group["mould"]["hinge_cm"] = "wide"
    group["pose"]["first"] = 4.0
    return group


def case_an_older_scene_is_brought_up_when_it_is_opened():
    with tempfile.TemporaryDirectory() as folder:
        _old_scene()
        saved = Path(folder) / "old.blend"
        undo = lambda: None  # noqa: E731
        bpy.ops.wm.save_as_mainfile(filepath=str(saved))
        # Saving has stamped it, as a scene that was made by this version: older ones have no stamp.
        assert settings().version == part("saved.migrate").VERSION
        group = part("saved.migrate").stored(bpy.context.scene)
        del group["version"]
        bpy.app.handlers.save_pre.remove(part("saved.migrate").on_file)
        bpy.ops.wm.save_as_mainfile(filepath=str(saved))
        bpy.app.handlers.save_pre.append(part("saved.migrate").on_file)
        undo = _steps()
        try:
            bpy.ops.wm.open_mainfile(filepath=str(saved))
            stored = settings()
            assert stored.version == part("saved.migrate").VERSION
            assert math.isclose(stored.vents.diameter_mm, 2.2, rel_tol=1e-6)
            assert math.isclose(stored.gates.neck_percent, 65.0, rel_tol=1e-6)
            assert math.dist(stored.air.up, (0.0, 0.6, -0.8)) < 1e-6
            assert stored.print.build_x_mm == 123.0
            assert stored.pose.weights.pocket == 4.0, "steps work on what earlier ones have moved"
            assert stored.vents.web_mm == 1.75
            group = part("saved.migrate").stored(bpy.context.scene)
            left = [(g, n) for g, n in (
                ("vents", "radius_mm"), ("gates", "neck_share"), ("air", "pour_up"),
                ("bench", "colour"), ("mould", "hinge_cm"),
            ) if n in group[g]]  # fmt: skip
            assert left == []
            # What could not be converted is told.
            assert stored.mould.hinge_mm == 15.0
            assert message().kind == "ERROR" and "mould.hinge_cm" in message().text
            # What is chosen at the new place counts, and a scene of this version is not moved again.
            group["version"], stored.vents.diameter_mm = 0, 3.0
            group["vents"]["radius_mm"] = 0.5
            bpy.ops.wm.save_mainfile()
            assert settings().vents.diameter_mm == 3.0
            group["mould"]["hinge_cm"] = 2.0
            bpy.ops.wm.save_mainfile()
            bpy.ops.wm.open_mainfile(filepath=str(saved))
            assert settings().mould.hinge_mm == 15.0
        finally:
            undo()


def case_a_preset_of_an_older_version_is_brought_up_too():
    undo = _steps()
    try:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "old.py"
            path.write_text(
                _whole("import bpy\nsettings.vents.radius_mm = 0.5\n"
                       "settings.bench.colour = 'red'\n"
                       "settings.air.pour_up = (0.0, 1.0, 0.0)\n"), encoding="utf-8",
            )  # fmt: skip
            assert _apply("job", path) == {"FINISHED"}
        assert settings().vents.diameter_mm == 1.0 and tuple(settings().air.up) == (0, 1, 0)
        assert message().text == "Applied the preset 'old'"
    finally:
        undo()


def case_a_newer_scene_keeps_what_is_unknown_and_says_so():
    migrate = part("saved.migrate")
    newer = bpy.types.POURWRIGHT_PT_newer
    assert not newer.poll(bpy.context)
    settings().vents.web_mm, settings().base.kind = 1.75, "coin"
    settings().version = migrate.VERSION + 1
    group = migrate.stored(bpy.context.scene)
    group["vents"]["shine"] = 0.25
    group["base"]["kind"] = 12345  # a kind that comes later
    with tempfile.TemporaryDirectory() as folder:
        saved = str(Path(folder) / "newer.blend")
        bpy.ops.wm.save_as_mainfile(filepath=saved)
        undo = _steps()
        try:
            for _ in range(2):
                bpy.ops.wm.open_mainfile(filepath=saved)
                stored = settings()
                group = migrate.stored(bpy.context.scene)
                assert stored.version == migrate.VERSION + 1 and newer.poll(bpy.context)
                assert group["vents"]["shine"] == 0.25 and stored.vents.web_mm == 1.75
                assert stored.base.kind == "round_plinth"
                assert part("task").job_text(bpy.context.scene)
                bpy.ops.wm.save_mainfile()
        finally:
            undo()


def case_what_a_newer_scene_chose_is_told():
    settings().base.kind = "coin"
    part("saved.migrate").stored(bpy.context.scene)["base"]["kind"] = 12345
    bpy.app.handlers.save_pre.remove(part("saved.migrate").on_file)
    try:
        with tempfile.TemporaryDirectory() as folder:
            saved = str(Path(folder) / "newer.blend")
            bpy.ops.wm.save_as_mainfile(filepath=saved)
            bpy.ops.wm.open_mainfile(filepath=saved)
    finally:
        bpy.app.handlers.save_pre.append(part("saved.migrate").on_file)
    assert message().kind == "ERROR" and "Kind (now Round Plinth)" in message().text


def case_scenes_without_settings_and_linked_ones_are_left_alone():
    migrate = part("saved.migrate")
    fresh = bpy.data.scenes.new("Fresh")
    assert migrate.stored(fresh) is None
    migrate.on_file()
    assert migrate.stored(fresh) is None
    settings().vents.web_mm = 1.75
    with tempfile.TemporaryDirectory() as folder:
        saved = str(Path(folder) / "library.blend")
        bpy.context.scene.name = "Old"
        _old_scene()
        bpy.app.handlers.save_pre.remove(migrate.on_file)
        bpy.ops.wm.save_as_mainfile(filepath=saved)
        bpy.app.handlers.save_pre.append(migrate.on_file)
        bpy.ops.wm.read_homefile(use_empty=True)
        undo = _steps()
        try:
            with bpy.data.libraries.load(saved, link=True) as (there, here):
                here.scenes = [name for name in there.scenes if name == "Old"]
            (linked,) = (s for s in bpy.data.scenes if s.library is not None)
            before = migrate.stored(linked).to_dict()
            migrate.on_file()
            bpy.ops.wm.save_as_mainfile(filepath=str(Path(folder) / "user.blend"))
            bpy.ops.wm.open_mainfile(filepath=str(Path(folder) / "user.blend"))
            (linked,) = (s for s in bpy.data.scenes if s.library is not None)
            assert migrate.stored(linked).to_dict() == before
            assert linked.pourwright.version == 0
            # An appended one is the user's own: it is brought up at the latest when it is saved.
            with bpy.data.libraries.load(saved, link=False) as (there, here):
                here.scenes = [name for name in there.scenes if name == "Old"]
            (mine,) = (s for s in bpy.data.scenes if s.library is None and "Old" in s.name)
            bpy.ops.wm.save_as_mainfile(filepath=str(Path(folder) / "user.blend"))
            assert math.isclose(mine.pourwright.vents.diameter_mm, 2.2, rel_tol=1e-6)
            assert mine.pourwright.version == migrate.VERSION
        finally:
            undo()


def case_enabling_brings_up_what_is_open():
    import addon_utils

    _old_scene()
    undo = _steps()
    try:
        # Turning it off and on keeps what is saved with the scene, and looks at it.
        saved = part("saved")
        saved.unregister()
        assert settings().version == 0
        saved.register()
        assert settings().version == part("saved.migrate").VERSION
        assert math.isclose(settings().vents.diameter_mm, 2.2, rel_tol=1e-6)
    finally:
        undo()
    assert addon_utils.check("bl_ext.user_default.pourwright")[1]


def case_every_step_says_where_to():
    """Guards the table: its names are paths, the new ones are settings that there are."""
    migrate = part("saved.migrate")
    for step in migrate.STEPS:
        assert 0 < step.version <= migrate.VERSION, step
        if step.new:
            settings().path_resolve(step.new)
