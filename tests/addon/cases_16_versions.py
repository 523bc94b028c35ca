"""Scenes and presets of other versions of the extension. Run inside Blender."""

import math
import tempfile
from pathlib import Path

import bpy
from stage import message, part, settings


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
            # What is chosen at the new place counts; a scene of this version is not moved again.
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
            lines = ("vents.radius_mm = 0.5", "bench.colour = 'red'", "air.pour_up = (0, 1, 0)")
            text = "\n".join(f"bpy.context.scene.pourwright.{line}" for line in lines)
            path.write_text(f"import bpy\n{text}\n", encoding="utf-8")
            done = bpy.ops.pourwright.apply_preset(filepath=str(path), kind="job")
            assert done == {"FINISHED"}
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
