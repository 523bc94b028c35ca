"""Presets, job files and a scene of a newer version in a windowed Blender.

    blender-gui -o OUT -u 1.2 -b blend_demo -z EXTENSION.zip tests/gui/presets.py

Every check is an assertion; the pictures are for people to look at.
"""

import tempfile
from pathlib import Path

import bgui
import bpy
from steps import add_figure, look, panels, part

# From the top right corner of the sidebar to the button in the header of the first panel after
# the top one with its three lines, and from there to the first row of its menu; in pixels at this
# scale.
BUTTON_PX, ROW_PX = (80, 144), (-60, -58)


def _click_button() -> tuple[int, int]:
    """Press the button of the first panel's menu of presets; return where it is."""
    _, _, _, sidebar = bgui.view3d()
    x = sidebar.x + sidebar.width - BUTTON_PX[0]
    y = sidebar.y + sidebar.height - BUTTON_PX[1]
    bgui.click(x, y)
    return x, y


@bgui.main
def run():
    message = bpy.context.window_manager.pourwright_message
    add_figure()
    look()
    bgui.sidebar("Pourwright")
    settings = bpy.context.scene.pourwright
    settings.print.printer, settings.print.own_sizes = "resin_small", True
    settings.print.build_z_mm, settings.air.own_pressures = 165.0, True
    yield 1.5
    panels("main", "print", "air", "job")
    yield 1.0
    for name in ("Bench Printer", "Loft Printer"):
        assert bgui.op("pourwright.printer_preset_add", name=name) == {"FINISHED"}
    settings.print.build_z_mm, settings.print.printer = 99.0, "resin_large"
    panels("main", "print", "job")
    yield 1.0
    with bgui.override():
        bpy.ops.ed.undo_push(message="Before the Preset")  # what a script sets pushes nothing
    x, y = _click_button()
    yield 1.5
    bgui.shot("presets_menu")
    bgui.click(x + ROW_PX[0], y + ROW_PX[1])
    yield 1.5
    bgui.key("ESC", x - 600, y - 200)
    yield 0.8
    settings = bpy.context.scene.pourwright
    assert (settings.print.build_z_mm, settings.print.printer) == (165.0, "resin_small")
    assert message.text == "Applied the preset 'Bench Printer'"
    files = Path(bpy.utils.user_resource("SCRIPTS")).rglob("Bench_Printer.py")
    assert [path.parent.parts[-3:] for path in files] == [("presets", "pourwright", "printer")]
    bgui.undo()  # one step
    settings = bpy.context.scene.pourwright
    assert (settings.print.build_z_mm, settings.print.printer) == (99.0, "resin_large")
    yield 0.5
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "heron.toml"
        job.write_text("mine", encoding="utf-8")
        assert bgui.op("pourwright.save_job", invoke=True, filepath=str(job)) == {"RUNNING_MODAL"}
        yield 3.0
        browser = next(
            area for window in bpy.context.window_manager.windows
            for area in window.screen.areas if area.type == "FILE_BROWSER"
        )  # fmt: skip
        window = next(
            w for w in bpy.context.window_manager.windows if browser in w.screen.areas[:]
        )
        region = next(r for r in browser.regions if r.type == "WINDOW")
        with bpy.context.temp_override(window=window, area=browser, region=region):
            bpy.ops.file.execute()
        yield 2.0
        assert "[vents]" in job.read_text(encoding="utf-8"), message.text
        assert message.text.startswith("Wrote")
        job.write_text(
            "[vents]\nweb_mm = 1.75\n[bench]\nday_h = 9\n[mould.box]\nrim_mm = 12\n", "utf-8"
        )
        assert bgui.op("pourwright.open_job", filepath=str(job)) == {"FINISHED"}
        assert bpy.context.scene.pourwright.vents.web_mm == 1.75
        yield 0.8
        bgui.shot("job_left_out")
        bgui.undo()
        assert bpy.context.scene.pourwright.vents.web_mm == 2.0
        job.write_text("[vents]\nweb_mm = -1\n", "utf-8")
        with bgui.override():
            try:
                bpy.ops.pourwright.open_job(filepath=str(job))
            except RuntimeError as error:
                assert "line 2: vents.web_mm is -1" in str(error)
            else:
                raise AssertionError("a wrong file was opened")
        yield 0.8
    bpy.context.scene.pourwright.version = part("saved.migrate").VERSION + 1
    panels("newer", "main", "figure")
    yield 1.0
    with bgui.override():
        assert bpy.types.POURWRIGHT_PT_newer.poll(bpy.context)
