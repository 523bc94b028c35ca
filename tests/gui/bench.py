"""Pictures of the bench and its log in a windowed Blender.

    blender-gui -o OUT -u 1.2 -b blend_demo -z EXTENSION.zip tests/gui/bench.py

Every check is an assertion; the pictures are for people to look at.
"""

import tempfile
from pathlib import Path

import bgui
import bpy
from steps import add_figure, look, panels, part, wait_for_job


@bgui.main
def run():
    message = bpy.context.window_manager.pourwright_message
    settings = bpy.context.scene.pourwright
    add_figure()
    look()
    bgui.sidebar("Pourwright")
    bench = settings.bench
    bench.casts, bench.moulds, bench.pot_marked_most = 12, 4, "80 psi gauge"
    bench.use_mould_price, bench.use_resin_price = True, True
    yield 1.5
    assert bgui.op("pourwright.make_master", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    panels("main", "bench")
    yield 0.8
    bgui.shot("panel_bench")
    with tempfile.TemporaryDirectory() as folder:
        bpy.ops.wm.save_as_mainfile(filepath=str(Path(folder) / "heron.blend"))
        settings = bpy.context.scene.pourwright
        stored = part("stored").stored_plan(bpy.context.scene)
        scene = bpy.context.scene
        for i, size in ((0, 1.2), (1, 0.0)):
            scene.cursor.location = stored["vents"][i]["path_mm"][0]
            assert bgui.op("pourwright.add_bubble") == {"FINISHED"}
            settings.bench.entry.bubbles[-1].size_mm = size
        scene.cursor.location = (0, 0, 30)
        bgui.op("pourwright.add_bubble")
        settings.bench.entry.used = "Fast white, batch 7"
        settings.bench.entry.note = "Pot held 58 psi"
        assert bgui.op("pourwright.record_pour") == {"FINISHED"}
        assert message.kind == "INFO", message.text
        logs = [path for path in Path(folder).iterdir() if path.suffix != ".blend"]
        assert any("Fast white" in path.read_text("utf-8") for path in logs)
