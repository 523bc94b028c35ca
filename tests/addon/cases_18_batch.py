"""Several figures: a list, each with results of its own. Run inside Blender."""

import json
import tempfile
from pathlib import Path

import bpy
from dump import changes, settings_of
from stage import add_mesh, box, exported_volume_mm3, fingerprint, gate, message, part, settings

IMPORTED_ON_INSTALL: set[str] = set()
# Results of runs that these cases do not make.
NOT_MADE_HERE = {
    "gates": {"rods", "by_hand"},
    "mould": {"made_with"},
    "pose": {"poses", "sweep", "found_in", "made_with"},
}


def _select(*objects) -> None:
    for obj in bpy.context.view_layer.objects:
        obj.select_set(obj in objects)


def _block(name: str, x: float, size: float = 16.0) -> bpy.types.Object:
    """A figure that pours without a vent: the quickest there is."""
    return add_mesh(name, *box((x, 0, 0), (x + size, size, 1.5 * size)))


def _crate(x: float) -> bpy.types.Object:
    """A figure that is refused: a box without a lid."""
    vertices, faces = box((x, 0, 0), (x + 20, 20, 20))
    return add_mesh("Crate", vertices, faces[:-1])


def _collected(name: str, objects) -> bpy.types.Collection:
    held = bpy.data.collections.new(name)
    bpy.context.scene.collection.children.link(held)
    for obj in objects:
        bpy.context.scene.collection.objects.unlink(obj)
        held.objects.link(obj)
    return held


def _states() -> dict[str, str]:
    rows = part("batch.rows")
    scene = bpy.context.scene
    figures = enumerate(settings().batch.figures)
    return {row.name: rows.state(scene, i) for i, row in figures}


def _parts() -> list[str]:
    return sorted(p.object.name for p in settings().figure.parts)


def _ours(name: str) -> set[str]:
    top = next(c for c in bpy.data.collections if c.name == name)
    return {o.name.split(".")[0] for o in top.all_objects}


def case_three_figures_of_which_one_cannot_be_made():
    scene = bpy.context.scene
    scene.unit_settings.scale_length = 0.001
    assert not bpy.ops.pourwright.add_figures.poll()
    assert not bpy.ops.pourwright.make_all.poll()
    _collected("Heron", gate())
    crate, block = _crate(80), _block("Block", 120)
    _select(bpy.data.objects["Arm"])
    assert bpy.ops.pourwright.add_figures(by="COLLECTION") == {"FINISHED"}
    assert _parts() == ["Arm", "Drop", "Post"]  # the first one is current at once
    _select(crate, block)
    assert bpy.ops.pourwright.add_figures(by="OBJECT") == {"FINISHED"}
    assert bpy.ops.pourwright.add_figures(by="OBJECT") == {"CANCELLED"}  # they are in it already
    batch = settings().batch
    assert [f.name for f in batch.figures] == ["Heron", "Block", "Crate"]
    assert set(_states().values()) == {"NONE"} and not bpy.ops.pourwright.export_all.poll()
    sources = [o for o in bpy.data.objects if o.type == "MESH"]
    looks = [fingerprint(o) for o in sources]

    blank = settings_of(settings())
    assert bpy.ops.pourwright.make_all() == {"FINISHED"}
    assert _states() == {"Heron": "DONE", "Block": "DONE", "Crate": "FAILED"}
    assert message().kind == "ERROR" and "2 figures made" in message().text
    assert "Crate" in message().text and "Crate" in batch.figures[2].failed
    assert [fingerprint(o) for o in sources] == looks
    tops = [c.name for c in scene.collection.children if "pourwright_role" in c]
    assert sorted(tops) == ["Pourwright: Block", "Pourwright: Heron"]
    assert {"Master", "Sprue Base", "Vent 1"} <= _ours("Pourwright: Heron")
    assert "Vent 1" not in _ours("Pourwright: Block") and "Master" in _ours("Pourwright: Block")

    _clicking_makes_current(blank)
    _exported_to_folders_of_their_own()
    _nothing_changed_is_nothing_to_do()
    _saved_and_reloaded()
    settings().base.embed_mm += 0.5
    assert set(_states().values()) == {"CHANGED"}


def _clicking_makes_current(blank: dict[str, object]) -> None:
    """All panels follow: parts, plan, vents, and what is found in the scene."""
    batch, scene = settings().batch, bpy.context.scene
    find = part("results").find
    heron = settings_of(settings())
    assert settings().vents.rods and settings().plan and not part("task").stale(scene)
    held = find(scene, "master")
    batch.active = 1
    assert batch.loaded == 1 and _parts() == ["Block"]
    assert [o.name for o in bpy.context.selected_objects] == ["Block"]
    assert not settings().vents.rods and settings().plan and not part("task").stale(scene)
    assert find(scene, "master") not in (None, held)
    batch.active = 2
    assert _parts() == ["Crate"] and settings().plan == "" and find(scene, "master") is None
    assert not settings().air.pockets and not settings().figure.checked
    # Nothing that a run left in the panels is shown for a figure that was not made.
    left = changes(blank, settings_of(settings()))
    assert not [c for c in left if not c.startswith((".batch", ".figure.parts"))], left
    batch.active = 0
    left = [c for c in changes(heron, settings_of(settings())) if "batch.figures" not in c]
    assert not left, left


def _exported_to_folders_of_their_own() -> None:
    batch = settings().batch
    batch.figures[1].name = "Block: 1/2"
    with tempfile.TemporaryDirectory() as name:
        settings().export.folder = name
        for kind in ("write_3mf", "write_rods", "write_sheet"):
            setattr(settings().export, kind, False)
        assert bpy.ops.pourwright.export_all() == {"FINISHED"}
        wrote = sorted(str(p.relative_to(name)) for p in Path(name).glob("*/*"))
        folders = ("Block_ 1_2", "Heron")
        assert wrote == [f"{f}/{n}" for f in folders for n in ("master.stl", "plan.json")], wrote
        for folder in folders:
            volume = exported_volume_mm3(Path(name) / folder / "master.stl")
            plan = json.loads((Path(name) / folder / "plan.json").read_text())
            assert abs(plan["master"]["volume_mm3"] - volume) < 1e-4 * volume
        assert "Without a master: Crate" in message().text
        # Files are not replaced, and the one figure that has none there yet is still written.
        (Path(name) / "Heron" / "master.stl").unlink()
        (Path(name) / "Heron" / "plan.json").unlink()
        assert bpy.ops.pourwright.export_all() == {"FINISHED"}
        assert "1 figure written" in message().text and "Replace Files" in message().text
        assert (Path(name) / "Heron" / "master.stl").exists()
    batch.figures[1].name = "Block"


def _nothing_changed_is_nothing_to_do() -> None:
    batch = settings().batch
    batch.figures.remove(2)
    try:
        bpy.ops.pourwright.make_all()
    except RuntimeError as error:
        assert "No figure has changed" in str(error)
    else:
        raise AssertionError("ran again")
    bpy.data.objects["Block"].location.z += 1.0
    bpy.context.view_layer.update()
    assert _states() == {"Heron": "DONE", "Block": "CHANGED"}
    kept = bpy.data.objects["Vent 1"]
    assert bpy.ops.pourwright.make_all() == {"FINISHED"}
    assert message().text.startswith("1 figure made") and kept.name == "Vent 1"
    assert set(_states().values()) == {"DONE"}
    # A figure whose master is not there any more must not be skipped as done.
    for index, figure in enumerate(batch.figures):
        master = part("batch.rows").master(bpy.context.scene, index)
        name, master.name = master.name, "Renamed"
        assert _states()[figure.name] == "CHANGED" and "DONE" in _states().values()
        master.name = name
    assert set(_states().values()) == {"DONE"}


def _saved_and_reloaded() -> None:
    settings().batch.active = 1
    part("saved.migrate").bring_up(bpy.context.scene)  # as saving does
    before = settings_of(settings())
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "saved.blend")
        bpy.ops.wm.save_as_mainfile(filepath=path)
        bpy.ops.wm.open_mainfile(filepath=path)
        assert not changes(before, settings_of(settings()))
        assert set(_states().values()) == {"DONE"}
        settings().batch.active = 0
        assert settings().vents.rods[0].object == bpy.data.objects["Vent 1"]


def case_a_figure_made_before_becomes_the_first_row():
    scene = bpy.context.scene
    scene.unit_settings.scale_length = 0.001
    old, new = _block("Old", 0), _block("New", 60)
    _select(old)
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    before = settings_of(settings())
    top = bpy.data.collections["Pourwright"]
    # As in a file of an earlier version, which does not point at its collection.
    settings().results = None
    assert part("results").collection(scene) == top
    _select(new)
    assert bpy.ops.pourwright.add_figures(by="OBJECT") == {"FINISHED"}
    assert [f.name for f in settings().batch.figures] == ["Old", "New"]
    assert settings().results == top and top.name == "Pourwright: Old", top.name
    assert _parts() == ["Old"], _parts()
    settings().batch.active = 1
    # Its own run does not touch the other's results, also where it has none yet.
    assert part("results").collection(scene) is None and not settings().figure.checked
    assert part("results").home(scene).name == "Pourwright: New"
    settings().batch.active = 0
    differ = changes(before, settings_of(settings()))
    left = [c for c in differ if not c.startswith((".batch", ".results"))]
    assert not left, left


def case_use_selected_does_not_put_one_figure_in_the_place_of_another():
    a, b, c, beak = (_block(n, 40.0 * i) for i, n in enumerate(("Ant", "Bee", "Cat", "Beak")))
    _select(a, b)
    bpy.ops.pourwright.add_figures(by="OBJECT")
    batch = settings().batch
    _select(c)
    bpy.ops.pourwright.use_selected()  # a new figure
    assert [f.name for f in batch.figures] == ["Ant", "Bee", "Cat"] and batch.loaded == 2
    _select(b, beak)
    bpy.ops.pourwright.use_selected()  # one of the list, with one more object
    assert batch.loaded == batch.active == 1 and _parts() == ["Beak", "Bee"]
    assert len(batch.figures) == 3
    # Taking rows off: the current one stays current, or its neighbour takes its place.
    rows, scene = part("batch.rows"), bpy.context.scene
    rows.remove(scene, 0)
    assert [f.name for f in batch.figures] == ["Bee", "Cat"] and _parts() == ["Beak", "Bee"]
    batch.active = 0
    bpy.ops.pourwright.remove_figure()
    assert [f.name for f in batch.figures] == ["Cat"] and _parts() == ["Cat"]
    bpy.ops.pourwright.remove_figure()
    assert not batch.figures and _parts() == ["Cat"]
    assert {"Ant", "Bee", "Cat", "Beak"} <= set(bpy.data.objects.keys())


def case_all_that_a_figure_keeps_goes_and_comes_back():
    """Every result, also those of runs that these cases do not make: moulds, poses, gates."""
    kept = part("batch.kept")
    for room, names in NOT_MADE_HERE.items():
        assert names <= set(kept.ROOMS[room][1]), room
    a, b = _block("Ant", 0), _block("Bee", 40)
    _select(a, b)
    bpy.ops.pourwright.add_figures(by="OBJECT")
    blank = settings_of(settings())
    with part("view").selection_kept():
        for room, (_, names) in kept.ROOMS.items():
            for name in names:
                _fill(getattr(settings(), room), name, a)
        for name in kept.OWN:
            if name != "results":
                setattr(settings(), name, f"some {name}")
    full = settings_of(settings())
    assert len(changes(blank, full)) > 60
    settings().batch.active = 1
    differ = changes(blank, settings_of(settings()))
    assert not [c for c in differ if not c.startswith((".batch", ".figure.parts"))], differ
    settings().batch.active = 0
    differ = changes(full, settings_of(settings()))
    assert not [c for c in differ if not c.startswith(".batch")], differ


def _fill(group, name: str, obj: bpy.types.Object) -> None:
    """Set one property to something that is not its default; a list gets two full rows."""
    prop = group.bl_rna.properties[name]
    if prop.type == "COLLECTION":
        for _ in range(2):
            row = getattr(group, name).add()
            for inner in row.bl_rna.properties:
                if not inner.is_readonly:
                    _fill(row, inner.identifier, obj)
    elif prop.type == "POINTER":
        setattr(group, name, obj)
    elif prop.type == "STRING":
        setattr(group, name, f"some {name}")
    elif prop.type == "BOOLEAN":
        setattr(group, name, not prop.default)
    elif getattr(prop, "is_array", False):
        setattr(group, name, [0.25 * (i + 1) for i in range(prop.array_length)])
    else:
        setattr(group, name, type(prop.default)(prop.default + 1))


def case_a_row_clicked_while_a_job_runs_stays_what_it_was():
    a, b = _block("Ant", 0), _block("Bee", 40)
    _select(a, b)
    bpy.ops.pourwright.add_figures(by="OBJECT")
    running, batch, scene = part("running"), settings().batch, bpy.context.scene
    request = part("task").figure_request(bpy.context, "air", [])
    running.launch(request, "Find Air")
    batch.active = 1
    assert batch.active == batch.loaded == 0 and "working" in message().text
    running.stop()
    batch.active = 1
    assert batch.loaded == 1
    try:  # as after an undo while it ran
        running.target_scene(request)
    except part("jobs").JobError as error:
        assert "current one" in error.message
    else:
        raise AssertionError("not noticed")
    assert scene == bpy.context.scene


def case_folder_names_are_safe_and_differ():
    names = {"a": "Heron", "b": "heron", "c": " ../etc: ", "d": "...", "e": "Heron", "f": "x" * 300}
    found = part("export.files").folder_names(names)
    assert found["a"] == "Heron" and found["b"] == "heron 2" and found["e"] == "Heron 3"
    assert "/" not in found["c"] and found["c"].strip(" .") == found["c"] != ""
    assert found["d"] == "figure" and len(found["f"]) <= 80
