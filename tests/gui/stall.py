"""How long Blender's window stands still while a million triangles are worked on.

    blender-gui -t 1800 -o OUT -b blend_demo -z EXTENSION.zip tests/gui/stall.py

A timer that should come every 5 ms writes down when it came. Printed are the longest gaps: at the
start, where the figure is read and the job written; while the worker runs; and at the end, where
meshes are made and put into the scene, the one long step of which Blender's own undo is a part.
The figure is shown as its bounds: what a graphics card takes for a million triangles is not meant.
"""

import time
from collections.abc import Callable

import bgui
import bpy
from steps import all_again, look, panels, part, running

STEP_S, PATIENCE_S = 0.005, 1500.0
SUBDIVISIONS = 8  # of an icosphere: 327 680 triangles


class Watch:
    """The gaps between the calls of a timer, by what the extension was doing in them."""

    def __init__(self) -> None:
        self.gaps: list[tuple[str, float, float]] = []
        self.phase = "idle"
        self.last = (time.perf_counter(), time.thread_time())
        bpy.app.timers.register(self.tick)

    def tick(self) -> float:
        now = (time.perf_counter(), time.thread_time())
        self.gaps.append((self.phase, now[0] - self.last[0], now[1] - self.last[1]))
        job = running().current.job
        self.phase = "idle" if job is None else "run" if job.running else "end"
        self.last = (time.perf_counter(), time.thread_time())
        return STEP_S

    def longest(self, phase: str) -> str:
        """Return the longest gap of a phase, in ms, and what of it this thread computed."""
        found = [(wall, own) for name, wall, own in self.gaps if name == phase]
        if not found:
            return "none"
        wall, own = max(found)
        over = sum(w > 0.1 for w, _ in found)
        most = 1e3 * max(own for _, own in found)
        return (f"{1e3 * wall:.0f} ms, computing {1e3 * own:.0f} ms; most computing {most:.0f} ms; "
                f"{over} of {len(found)} over 100 ms")  # fmt: skip


def timed(module: str, name: str) -> None:
    """Print how long every call of a function of the extension takes."""
    held = part(module)
    for inner in name.split(".")[:-1]:
        held = getattr(held, inner)
    last = name.split(".")[-1]
    was: Callable = getattr(held, last)

    def measured(*given, **named):
        wall, own = time.perf_counter(), time.thread_time()
        result = was(*given, **named)
        wall, own = time.perf_counter() - wall, time.thread_time() - own
        print(f"    {module}.{name}: {1e3 * wall:.0f} ms, computing {1e3 * own:.0f} ms")
        return result

    setattr(held, last, measured)


def add_large_figure() -> int:
    """Put three spheres that overlap, like a snowman, into the scene; return their triangles."""
    scene = bpy.context.scene
    scene.unit_settings.scale_length = 0.001
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    made = []
    for i in range(3):
        bpy.ops.mesh.primitive_ico_sphere_add(
            subdivisions=SUBDIVISIONS, radius=15.0, location=(0.0, 4.0 * i, 15.0 + 20.0 * i)
        )
        made.append(bpy.context.object)
        made[-1].display_type = "BOUNDS"
    for obj in made:
        obj.select_set(True)
    return sum(len(obj.data.polygons) for obj in made)


@bgui.main
def run():
    triangles = add_large_figure()
    look()
    bgui.sidebar("Pourwright")
    panels("main", "figure")
    yield 2.0
    bpy.ops.ed.undo_push(message="figure")
    for module, name in (
        ("task", "read_objects"), ("task", "job_text"), ("jobs", "WorkerJob._write"),
        ("jobs", "WorkerJob._launch"), ("jobs", "WorkerJob.outcome"), ("making", "step"),
        ("apply", "air"), ("apply", "plan"), ("results", "replace"), ("results", "replace_rods"),
    ):  # fmt: skip
        timed(module, name)
    watch = Watch()
    yield 1.0
    print(f"{triangles} triangles; idle: {watch.longest('idle')}")
    # What the screen alone takes when the sidebar is drawn as often as for progress.
    watch.gaps.clear()
    for _ in range(25):
        running().redraw(bpy.context)
        yield 0.2
    print(f"idle, sidebar drawn again and again: {watch.longest('idle')}")
    for name in ("find_air", "make_master"):
        watch.gaps.clear()
        print(name)
        wall, own = time.perf_counter(), time.thread_time()
        # Not by bgui.op, which pushes an undo step of its own first.
        with bgui.override():
            assert getattr(bpy.ops.pourwright, name)("INVOKE_DEFAULT", True) == {"RUNNING_MODAL"}
        wall, own = time.perf_counter() - wall, time.thread_time() - own
        print(f"  start: {1e3 * wall:.0f} ms, computing {1e3 * own:.0f} ms")
        watch.last = (time.perf_counter(), time.thread_time())
        begin = time.monotonic()
        while running().busy():
            assert time.monotonic() - begin < PATIENCE_S, "the job did not end"
            yield 0.05
        took = time.monotonic() - begin
        yield 1.0
        message = bpy.context.window_manager.pourwright_message
        print(f"  worker and all: {took:.0f} s; {message.kind} {message.text}")
        print(f"  while the worker runs: {watch.longest('run')}")
        print(f"  meshes made, result applied: {watch.longest('end')}")
        print(f"  afterwards: {watch.longest('idle')}")
    wall = time.perf_counter()
    bpy.ops.ed.undo_push(message="again")
    print(f"Blender's undo step of the whole scene: {1e3 * (time.perf_counter() - wall):.0f} ms")
    all_again()
