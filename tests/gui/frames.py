"""What drawing costs: the extension's own Python, bytes sent, and whole frames by software.

    blender-gui -t 1200 -o OUT -b blend_demo -z EXTENSION.zip tests/gui/frames.py [DETAIL]

No graphics card is asked for: whole frames are drawn by the processor, so they say how the overlay
compares with the view without it, not how fast a card is.
"""

import statistics
import sys
import time
from types import SimpleNamespace

import bgui
import bpy
import steps
from steps import add_figure, all_again, look, panels, part, wait_for_job

FRAMES = 25
DETAIL = float(sys.argv[-1]) if sys.argv[-1].replace(".", "").isdigit() else 0.3


class Cost:
    """Seconds that the draw handlers take, by their own clock and by this thread's computing."""

    def __init__(self) -> None:
        self.wall: list[float] = []
        self.own: list[float] = []

    def of(self, function):
        """Return the function, timed."""

        def timed():
            wall, own = time.perf_counter(), time.thread_time()
            function()
            self.own.append(time.thread_time() - own)
            self.wall.append(time.perf_counter() - wall)

        return timed


def frames(text: str, costs: dict[str, Cost]) -> None:
    """Draw the window again and again; print medians and the least."""
    for cost in costs.values():
        cost.wall.clear()
        cost.own.clear()
    took, spent = [], []
    for i in range(FRAMES):
        bpy.context.scene.pourwright.rising.level = 40.0 + i
        begin, all_cores = time.perf_counter(), time.process_time()
        bpy.ops.wm.redraw_timer(type="DRAW_WIN", iterations=1)
        took.append(1e3 * (time.perf_counter() - begin))
        spent.append(1e3 * (time.process_time() - all_cores))
    parts = [
        f"{name} {1e3 * statistics.median(c.wall):.2f} (computing {1e3 * min(c.own):.2f})"
        for name, c in costs.items()
        if c.wall
    ]
    print(f"  {text}: frame {statistics.median(took):.0f} ms, least {min(took):.0f}; "
          f"processors' time {statistics.median(spent):.0f} ms, least {min(spent):.0f}; "
          f"handlers ms: {', '.join(parts)}")  # fmt: skip


@bgui.main
def run():
    steps.DETAIL = DETAIL
    add_figure()
    look()
    bgui.sidebar("Pourwright")
    yield 1.5
    assert bgui.op("pourwright.find_air", invoke=True) == {"RUNNING_MODAL"}
    yield from wait_for_job()
    panels("main")
    rising, overlay = part("rising.draw"), part("overlay.draw")
    costs = {"resin": Cost(), "marks": Cost(), "texts": Cost()}
    rising.unregister()
    overlay.unregister()
    rising._draw_cavity = costs["resin"].of(rising._draw_cavity)
    overlay._draw_marks = costs["marks"].of(overlay._draw_marks)
    overlay._draw_texts = costs["texts"].of(overlay._draw_texts)
    rising.register()
    overlay.register()
    settings = bpy.context.scene.pourwright
    space = bgui.view3d()[1].spaces.active
    yield 0.5
    settings.rising.show = True
    begin = time.perf_counter()
    cavity = part("rising.cavities").cavity_of(bpy.context.scene)
    read = time.perf_counter() - begin
    sent = cavity.places.nbytes + cavity.closes.nbytes + cavity.faces.nbytes
    print(f"{len(cavity.faces)} triangles, {len(cavity.places)} vertices: read in "
          f"{1e3 * read:.0f} ms, {sent / 1e6:.2f} MB sent once, 96 bytes a frame")  # fmt: skip
    yield 0.5
    for _ in range(2):
        settings.rising.show = False
        space.overlay.show_overlays = False
        yield 0.3
        frames("no overlays at all", costs)
        space.overlay.show_overlays = True
        settings.overlay.bubbles = settings.overlay.legend = settings.rising.labels = False
        yield 0.3
        frames("Blender's overlays", costs)
        settings.rising.show = True
        yield 0.3
        frames("and the resin", costs)
        settings.overlay.bubbles = settings.overlay.legend = settings.rising.labels = True
        yield 0.3
        frames("and marks, numbers, legend", costs)
    # What of it is Python: the same without the call that draws, which the processor works off.
    kept = rising._made["batch"]
    rising._made["batch"] = SimpleNamespace(draw=lambda shader: None)
    frames("the same, the resin's draw call left out", costs)
    rising._made["batch"] = kept
    # Another level reads and sends nothing anew.
    batch = rising._made["batch"]
    settings.rising.level = 81.0
    yield 0.3
    assert part("rising.cavities").cavity_of(bpy.context.scene) is cavity
    assert rising._made["batch"] is batch
    all_again()
