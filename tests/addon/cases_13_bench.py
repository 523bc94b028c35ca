"""The bench: its settings, a run of casts, and the log of pours. Run inside Blender."""

import json
import tempfile
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

import bpy
from stage import choose, gate, message, part, plan, refusal, settings

MARK = "80 psi gauge"  # above the 60 psi that the usual process sets at


def _made(mm: float = 1.0, scale_length: float = 0.001) -> None:
    bpy.context.scene.unit_settings.scale_length = scale_length
    choose(gate(mm))
    settings().bench.pot_marked_most = MARK
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}


def _job():
    from pourwright.plan.job_file import parse_job

    return parse_job(part("task").job_text(bpy.context.scene))


def _run():
    return part("bench.run").bench_run(bpy.context.scene)


def _saved(folder: str) -> Path:
    """Save the file and return where its log goes."""
    bpy.ops.wm.save_as_mainfile(filepath=str(Path(folder) / "pour.blend"))
    return Path(folder) / "pour.pours.jsonl"


def _bubble_at(place, size_mm: float = 0.0) -> None:
    bpy.context.scene.cursor.location = place
    assert bpy.ops.pourwright.add_bubble() == {"FINISHED"}
    settings().bench.entry.bubbles[-1].size_mm = size_mm


class _Layout:
    """Stands for Blender's layout, which there is none of without a window; keeps the texts."""

    def __init__(self, texts: list[str]):
        self._texts = texts

    def label(self, text: str = "", icon: str = "NONE", **_: object) -> None:
        assert icon in bpy.types.UILayout.bl_rna.functions["label"].parameters["icon"].enum_items
        self._texts.append(text)

    def prop(self, data, name: str, **_: object) -> None:
        assert name in data.bl_rna.properties, name

    def panel(self, name: str, default_closed: bool = False):
        return self, self

    def operator(self, name: str, **_: object):
        assert hasattr(bpy.ops.pourwright, name.removeprefix("pourwright."))
        return SimpleNamespace()

    def template_list(self, *_: object, **__: object) -> None:
        pass

    def _self(self, *_: object, **__: object):
        return self

    box = column = row = split = separator = _self


def _drawn() -> str:
    """Draw the panel with everything unfolded; return its texts as one."""
    texts: list[str] = []
    context = SimpleNamespace(
        scene=bpy.context.scene,
        preferences=SimpleNamespace(system=SimpleNamespace(ui_scale=1.0)),
        region=SimpleNamespace(width=100_000),
    )
    panel = SimpleNamespace(layout=_Layout(texts))
    part("bench.panel").POURWRIGHT_PT_bench.draw(panel, context)
    return "\n".join(texts)


def case_bench_settings_start_as_the_core_s():
    from pourwright.shop.bench import BenchSettings

    assert _job().bench == BenchSettings()


def case_every_bench_setting_reaches_the_job():
    from pourwright.shop.bench import BenchSettings

    bench = settings().bench
    given = {
        "casts": 12, "moulds": 4, "temperature_c": 19.5, "altitude_m": 1500.0,
        "scale_step_g": 0.01, "cup_ml": 400.0, "weigh_min": 5.0, "mix_min": 1.0,
        "degas_min": 2.0, "fill_min": 0.25, "vacuum_min": 0.5, "hold_min": 0.125,
        "pressure_min": 0.3, "demould_each_min": 4.0, "pot_diameter_mm": 260.0,
        "pot_height_mm": 310.0, "pot_marked_most": "5 bar gauge", "chamber_diameter_mm": 240.0,
        "chamber_height_mm": 230.0, "mould_price": 42.0, "mould_life": 35, "casts_made": 7,
    }  # fmt: skip
    for name, value in given.items():
        setattr(bench, name, value)
    # What has a switch counts only while it is on.
    switched = {"cup_ml", "mould_price"} | {n for n in given if n.startswith("chamber_")}
    switched |= {"pot_diameter_mm", "pot_height_mm"}
    plain = {name: value for name, value in given.items() if name not in switched}
    assert _job().bench == BenchSettings.from_table(plain)
    bench.use_cup = bench.use_pot = bench.use_chamber = bench.use_mould_price = True
    assert _job().bench == BenchSettings.from_table(given)


def case_every_bench_number_at_its_ends_is_a_job():
    bench = settings().bench
    bench.use_cup = bench.use_pot = bench.use_chamber = bench.use_mould_price = True
    for prop in bench.bl_rna.properties:
        if prop.type not in {"FLOAT", "INT"}:
            continue
        usual = getattr(bench, prop.identifier)
        for value in (prop.hard_min, prop.hard_max):
            setattr(bench, prop.identifier, value)
            _job()
        setattr(bench, prop.identifier, usual)


def case_the_bench_does_not_age_master_or_poses():
    _made()
    task, scene = part("task"), bpy.context.scene
    poses = task.pose_fingerprint(scene)
    bench = settings().bench
    bench.casts, bench.temperature_c, bench.use_pot = 9, 31.0, True
    assert task.stale(scene) == "" and task.pose_fingerprint(scene) == poses
    settings().vents.web_mm += 0.5
    assert task.stale(scene)


def case_a_run_says_what_the_core_says():
    from dataclasses import replace

    from pourwright.shop.bench import BenchSettings, plan_bench
    from pourwright.shop.mixing import Order
    from pourwright.shop.process import DEFAULT_PROCESS
    from pourwright.shop.resin import resin_named

    assert _run() is None and "Make Master" in _drawn()
    settings().quantities.margin_percent = 25.0
    _made()
    bench = settings().bench
    bench.casts, bench.moulds, bench.scale_step_g, bench.temperature_c = 7, 3, 0.5, 19.0
    bench.use_resin_price = bench.use_mould_price = True
    bench.resin_price, bench.mould_price = 14.0, 60.0
    asked = BenchSettings.from_table(
        {"casts": 7, "moulds": 3, "scale_step_g": 0.5, "temperature_c": 19.0, "margin": 0.25,
         "mould_price": 60.0, "pot_marked_most": MARK}
    )  # fmt: skip
    resin = replace(resin_named("polyurethane"), price_per_kg=14.0)
    order = Order(plan()["figure"]["name"], plan()["resin"]["poured_ml"], 7, 3)
    expected = plan_bench(resin, DEFAULT_PROCESS, asked, [order])
    made = _run().plan
    for name in ("mixes", "steps", "pot_life", "cost", "capacity", "notes", "day", "moulds"):
        assert getattr(made, name) == getattr(expected, name), name
    drawn, weighed = _drawn(), made.mixes.mixes[0].weighing
    assert f"A {weighed.part_a_g:.1f} + B {weighed.part_b_g:.1f} g" in drawn
    assert f"{made.cost.total:.2f}" in drawn
    for step in made.steps:
        assert (step.words in drawn) == step.tight, step
    assert f"{made.pot_life.shortest_min:.3g} min to" in drawn
    assert "Isocyanate: " in drawn and "Pressure: Only a rated, marked vessel" in drawn


def case_a_run_is_worked_out_once():
    _made()
    first = _run()
    assert _run() is first
    settings().bench.casts = 3
    second = _run()
    assert second is not first and second.plan.mixes.casts == 3
    bench = settings().bench
    bench.resin_price, bench.use_resin_price = 8.0, True
    assert _run().plan.cost.resin is not None and second.plan.cost.resin is None
    settings().plan = json.dumps(
        plan() | {"resin": plan()["resin"] | {"poured_ml": 2 * plan()["resin"]["poured_ml"]}}
    )
    assert _run().plan.mixes.to_mix_ml > 1.9 * second.plan.mixes.to_mix_ml


def case_vessels_are_measured_with_the_mould():
    _made()
    bench = settings().bench
    bench.use_pot, bench.pot_diameter_mm, bench.pot_height_mm = True, 50.0, 300.0
    box = {"box_mm": [60.0, 80.0, 90.0]}
    settings().plan = json.dumps(plan() | {"silicone": box})
    assert not _run().plan.pot_fit.fits and "50 mm too wide for the pressure pot" in _drawn()
    # In a round box the corners do not count: 80 mm across instead of 100.
    settings().plan = json.dumps(plan() | {"mould": {"box": {"shape": "round"}}})
    assert "30 mm too wide" in _drawn()
    # 4.79 kJ in 10 litres at 60 psi gauge, with air of 101 kPa: ASME PCC-2, App. II, by hand.
    bench.pot_diameter_mm, bench.pot_height_mm = 200.0, 318.31
    assert abs(_run().plan.stored_energy_j - 4790.0) < 10.0 and "holds 4.8 kJ" in _drawn()


def case_a_mark_is_never_exceeded_and_never_guessed():
    _made()
    bench = settings().bench
    bench.pot_marked_most = "40 psi gauge"
    assert _run().plan is None and "above the pot's marked maximum" in _run().error
    assert "above the pot's marked maximum" in _drawn()
    with tempfile.TemporaryDirectory() as folder:
        settings().export.folder = folder
        with refusal():
            bpy.ops.pourwright.export_master()
        assert "above the pot's marked maximum" in message().text
        assert not list(Path(folder).iterdir())
    bench.pot_marked_most = ""
    assert "no_mark" in [n.code for n in _run().plan.notes if n.open]
    for bad in ("60 psi", "much", "60 psi absolute"):
        bench.pot_marked_most = bad
        assert part("bench.settings").mark_error(bench) in _drawn()
        # It stops no master, but every file that would carry it.
        assert _job().bench.pot_marked_most == ""
        with tempfile.TemporaryDirectory() as folder:
            settings().export.folder = folder
            with refusal():
                bpy.ops.pourwright.export_master()
            assert "Marked Maximum" in message().text and not list(Path(folder).iterdir())


def case_files_carry_the_bench_as_it_is_now():
    _made()
    assert plan()["job"]["bench"]["pot_marked_most"] == MARK
    bench = settings().bench
    bench.casts, bench.use_cup, bench.cup_ml = 11, True, 900.0
    bench.pot_marked_most = "70 psi gauge"
    with tempfile.TemporaryDirectory() as folder:
        settings().export.folder = folder
        assert bpy.ops.pourwright.export_master() == {"FINISHED"}
        written = json.loads((Path(folder) / "plan.json").read_text(encoding="utf-8"))
        sheet = (Path(folder) / "sheet.html").read_text(encoding="utf-8")
    table = written["job"]["bench"]
    assert (table["casts"], table["cup_ml"], table["pot_marked_most"]) == (11, 900, "70 psi gauge")
    assert "70 psi gauge" in sheet and MARK not in sheet
    written["job"]["bench"] = plan()["job"]["bench"]
    assert {k: v for k, v in written.items() if k != "job"} == {
        k: v for k, v in plan().items() if k != "job"
    }


def case_a_pour_is_recorded_beside_the_file():
    from pourwright.files.log import read_log

    _made()
    assert not bpy.ops.pourwright.record_pour.poll()
    entry = settings().bench.entry
    with tempfile.TemporaryDirectory() as folder:
        file = _saved(folder)
        earlier = b'{"schema": 1, "when": "2026-01-02T03:04+00:00", "figure": "x", "casts": 4}\nto'
        file.write_bytes(earlier)  # an entry, and a torn one
        entry.casts, entry.temperature_c, entry.used = 2, 19.5, " Fast white, batch 7 "
        entry.note = "Foamed"
        _bubble_at((1.0, -2.0, 3.25), 1.5)
        _bubble_at((4.0, 5.0, 6.0))
        before = datetime.now().astimezone()
        assert bpy.ops.pourwright.record_pour() == {"FINISHED"}
        assert file.read_bytes().startswith(earlier)
        log = read_log(file)
        assert len(log.pours) == 2 and len(log.damaged) == 1
        pour = log.pours[1]
        assert abs((datetime.fromisoformat(pour.when) - before).total_seconds()) < 60
        assert pour.figure == plan()["figure"]["name"]
        assert (pour.casts, pour.temperature_c, pour.note) == (2, 19.5, "Foamed")
        assert pour.materials == {"resin": "Fast white, batch 7"}
        assert [b.at_mm for b in pour.bubbles] == [(1.0, -2.0, 3.25), (4.0, 5.0, 6.0)]
        assert [b.diameter_mm for b in pour.bubbles] == [1.5, None]
        # The next pour starts with the same resin, and no bubbles.
        assert entry.used and not entry.note and len(entry.bubbles) == 0
        drawn = _drawn()
        assert "2 Pours, 6 Casts So Far" in drawn and "Foamed" in drawn
        assert "1 line of the log cannot be read" in drawn
        assert bpy.ops.pourwright.record_pour() == {"FINISHED"}
        assert "3 Pours, 8 Casts So Far" in _drawn()
        assert read_log(file).pours[:2] == log.pours


def case_a_log_that_cannot_be_written_keeps_the_entry():
    choose(gate())
    with tempfile.TemporaryDirectory() as folder:
        file = _saved(folder)
        file.mkdir()
        entry = settings().bench.entry
        entry.note = "Foamed"
        _bubble_at((1.0, 2.0, 3.0))
        with refusal():
            bpy.ops.pourwright.record_pour()
        assert message().kind == "ERROR" and file.name in message().text
        assert entry.note == "Foamed" and len(entry.bubbles) == 1
        assert "is a folder" in _drawn()


def case_without_a_plan_a_pour_is_that_of_the_file():
    from pourwright.files.log import read_log

    with tempfile.TemporaryDirectory() as folder:
        file = _saved(folder)
        _bubble_at((1.0, 2.0, 3.0))
        assert bpy.ops.pourwright.record_pour() == {"FINISHED"}
        (pour,) = read_log(file).pours
        assert pour.figure == "pour" and pour.materials == {}
        assert "Nothing was predicted" not in _drawn()


def case_bubbles_are_in_mm_in_any_unit():
    for scale_length, mm in ((0.001, 1.0), (1.0, 1000.0), (0.01, 10.0)):
        bpy.ops.wm.read_homefile(use_empty=True)
        bpy.context.scene.unit_settings.scale_length = scale_length
        _bubble_at((10.0 / mm, -20.0 / mm, 30.0 / mm))
        (bubble,) = settings().bench.entry.bubbles
        assert all(
            abs(got - mm) < 1e-3
            for got, mm in zip(bubble.place_mm, (10.0, -20.0, 30.0), strict=True)
        )


def case_a_bubble_is_removed():
    bpy.context.scene.unit_settings.scale_length = 0.001
    entry = settings().bench.entry
    assert not bpy.ops.pourwright.remove_bubble.poll()
    for x in (1.0, 2.0, 3.0):
        _bubble_at((x, 0.0, 0.0))
    entry.active_bubble = 1
    assert bpy.ops.pourwright.remove_bubble() == {"FINISHED"}
    assert [round(b.place_mm[0]) for b in entry.bubbles] == [1, 3]
    entry.active_bubble = 1
    assert bpy.ops.pourwright.remove_bubble() == {"FINISHED"} and entry.active_bubble == 0


def case_a_bubble_is_told_what_was_predicted_near_it():
    _made()
    (vent,) = plan()["vents"]
    x, y, z = vent["path_mm"][0]
    with tempfile.TemporaryDirectory() as folder:
        _saved(folder)
        _bubble_at((x + 2.0, y, z), 1.5)
        assert "Vent 1, 2.0 mm away" in _drawn()
        _bubble_at((x + 200.0, y, z))
        assert bpy.ops.pourwright.record_pour() == {"FINISHED"}
        drawn = _drawn()
    assert "Bubble of 1.50 mm: Vent 1, 2.0 mm away" in drawn
    assert "Bubble: Nothing was predicted here" in drawn


def case_the_bench_survives_saving():
    bench = settings().bench
    bench.casts, bench.use_pot, bench.pot_marked_most = 6, True, MARK
    bench.entry.used = "Batch 7"
    _bubble_at((1.0, 2.0, 3.0), 0.5)
    before = part("task").job_text(bpy.context.scene)
    with tempfile.TemporaryDirectory() as folder:
        _saved(folder)
        bpy.ops.wm.read_homefile(use_empty=True)
        assert part("task").job_text(bpy.context.scene) != before
        bpy.ops.wm.open_mainfile(filepath=str(Path(folder) / "pour.blend"))
    assert part("task").job_text(bpy.context.scene) == before
    entry = settings().bench.entry
    assert entry.used == "Batch 7" and abs(entry.bubbles[0].size_mm - 0.5) < 1e-6
