"""Take a picture of every panel of the tab, each alone with the panels in it.

    blender-gui -s 1600x2200 -u 1.2 -o OUT -b blend_demo -z EXTENSION.zip tests/gui/panels.py

The pictures show the sidebar only, cut where the panel ends: OUT/panels/NAME.png.
"""

import struct
import zlib
from pathlib import Path

import bgui
import bpy
import numpy as np
from steps import all_again, all_panels, panels, planned_heron

MARGIN_PX, BORDER_PX = 14, 6
TABS_PX = 26  # at a resolution scale of 1


def picture(name: str) -> np.ndarray:
    """Take a picture of the screen and return its pixels, top row first."""
    path = bgui.shot(name)
    image = bpy.data.images.load(path)
    width, height = image.size
    held = np.empty(width * height * 4, dtype=np.float32)
    image.pixels.foreach_get(held)
    bpy.data.images.remove(image)
    Path(path).unlink()
    return np.rint(held.reshape(height, width, 4)[::-1, :, :3] * 255).astype(np.uint8)


def write(path: Path, pixels: np.ndarray) -> None:
    """Write pixels as a PNG file."""
    height, width, _ = pixels.shape
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)
    chunks = [(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)),
              (b"IDAT", zlib.compress(rows, 6)), (b"IEND", b"")]  # fmt: skip
    body = b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + body)


def sidebar_of(pixels: np.ndarray) -> np.ndarray:
    """Return the sidebar's part of the screen, without its tabs, down to where the panels end."""
    window, _, _, region = bgui.view3d()
    top = window.height - region.y - region.height
    tabs = round(TABS_PX * bpy.context.preferences.system.ui_scale)
    shown = pixels[top : top + region.height, region.x : region.x + region.width - tabs]
    shown = shown[BORDER_PX:-BORDER_PX, BORDER_PX:]
    ground = shown[-1, 0]
    ends = np.nonzero((shown != ground).any(axis=(1, 2)))[0]
    assert len(ends), "the sidebar is empty"
    assert ends[-1] < len(shown) - 1, "the panel is longer than the screen"
    return shown[: ends[-1] + MARGIN_PX]


@bgui.main
def run():
    yield from planned_heron()
    _, area, _, _ = bgui.view3d()
    area.spaces.active.show_region_ui = True
    found = {cls.__name__.removeprefix("POURWRIGHT_PT_"): cls for cls in all_panels()}
    tops = [name for name, cls in found.items() if not hasattr(cls, "bl_parent_id")]
    for name in tops:
        inside = [other for other, cls in found.items()
                  if getattr(cls, "bl_parent_id", "") == f"POURWRIGHT_PT_{name}"]  # fmt: skip
        panels(name, *inside)
        yield 0.8
        shown = sidebar_of(picture(f"whole_{name}"))
        assert shown.std(axis=(0, 1)).max() > 10.0, f"{name} shows nothing"
        write(Path(bgui.OUT) / "panels" / f"{name}.png", shown)
        print(f"{name}: {shown.shape[1]} x {shown.shape[0]}")
    for name, cls in found.items():
        assert not cls.bl_label or cls.draw, name
    all_again()
