"""Presets in Blender's menus. Run inside Blender."""

import json
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


def case_presets_keep_what_the_guide_says():
    job, parts = set(_paths("job")), {kind: set(_paths(kind)) for kind in KINDS[:-1]}

    def of(group, *without):
        paths = {path for path in job if path.startswith(f"{group}.")}
        return paths - {f"{group}.{name}" for name in without}

    price, shrinkage = {"bench.use_resin_price", "bench.resin_price"}, {
        "print.own_resin", "print.resin_percent", "print.rubber_percent"
    }  # fmt: skip
    rubber = {"mould.silicone", "mould.margin_percent"}
    assert parts["process"] == of("air", "direction", "up")
    assert parts["printer"] == of("print", "scale_master") - shrinkage
    assert parts["materials"] == of("quantities") | rubber | shrinkage | price
    assert parts["shop"] == of("bench", "casts", "moulds") - price
    assert not job & {"base.source", "base.body", "bench.casts_made"}
    assert not of("figure") | of("export") | of("rising")


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
        results = part("results")
        master = bpy.data.objects.new("Master", bpy.data.meshes.new("Master"))
        results.home(scene).objects.link(master)
        results.mark(master, "master", 0)
        stored.vents_made_with = stored.gates_made_with = results.rod_digests([])
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
