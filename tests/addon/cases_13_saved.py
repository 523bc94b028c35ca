"""What is saved with a scene opens again, also in a later version. Run inside Blender."""

import json
import tempfile
from pathlib import Path

import bpy
from stage import add_mesh, box, choose, gate, part, settings

# Every setting of scenes of version 1, with its type, and the numbers that files hold for a choice.
# Where one is renamed or dropped, `saved/migrate.py` needs a step.
SAVED = json.loads(Path(__file__).with_name("saved_settings.json").read_text(encoding="utf-8"))


def _property(path: str) -> bpy.types.Property | None:
    group, *names = bpy.context.scene.pourwright.bl_rna, *path.replace("[]", "").split(".")
    for name in names[:-1]:
        group = group.properties[name].fixed_type
    return group.properties.get(names[-1])


def case_no_saved_setting_is_lost():
    moved = {step.old: step.new for step in part("saved.migrate").STEPS}
    for path, kind in SAVED.items():
        if moved.get(path) == "":
            continue
        found = _property(moved.get(path, path))
        assert found is not None, f"{path} is gone: scenes that hold it lose it"
        if path in moved:
            continue
        if isinstance(kind, str):
            assert found.type == kind, path
            continue
        numbers = {item.identifier: item.value for item in found.enum_items}
        assert kind.items() <= numbers.items(), f"{path}: a saved choice would be another one"


def case_settings_of_base_gates_and_print_survive_saving():
    choose(gate())
    body = add_mesh("Plank", *box((-30, -30, -40), (70, 30, -25)))
    stored = settings()
    base = stored.base
    base.kind, base.text = "scenic_log", "HERON"
    base.scenic_log.branch = False
    base.coin.rim_width_mm = 3.5
    base.source, base.body, base.place = "OBJECT", body, "as_is"
    base.own_cut, base.cut_mm = True, 2.5
    base.socket, base.clearance_mm = True, 0.35
    stored.gates.share_percent, stored.gates.most_gates = 3.0, 5
    stored.print.printer, stored.print.scale_master = "resin_small", True
    before = part("task").job_text(bpy.context.scene)
    rim_mm = base.coin.rim_width_mm
    with tempfile.TemporaryDirectory() as folder:
        bpy.ops.wm.save_as_mainfile(filepath=str(Path(folder) / "kept.blend"))
        bpy.ops.wm.read_homefile(use_empty=True)
        assert part("task").job_text(bpy.context.scene) != before
        bpy.ops.wm.open_mainfile(filepath=str(Path(folder) / "kept.blend"))
    assert part("task").job_text(bpy.context.scene) == before
    base = settings().base
    assert base.body == bpy.data.objects["Plank"] and base.coin.rim_width_mm == rim_mm
    assert base.kind == base.picture == "scenic_log"
