"""Operators that run a worker process: modal with progress, Esc to stop, applied at the end.

In a window the button returns at once and a timer watches the worker; from a script without a
window the same job runs to its end. Nothing in the scene changes before the result is applied,
which is one undo step. REGISTER is left off: the redo panel would run the job again, blocking.

A series is several jobs, one after the other, whose results are applied together.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

import bpy

from . import making, messages
from .bridge import MeshArrays, in_scene
from .jobs import JobError, Outcome, WorkerJob

TIMER_S = 0.05
REDRAW_S = 0.2


@dataclass(frozen=True)
class Request:
    """What a job needs from the scene; objects are kept by name, for they may be deleted.

    figure : key of the figure's row in the list of several, or empty without a list.
    """

    task: dict[str, Any]
    meshes: Sequence[MeshArrays]
    scene: str
    objects: tuple[str, ...] = ()
    notes: dict[str, Any] = field(default_factory=dict)
    figure: str = ""


class _Current:
    """The one running job, for panels and the status bar; of a series, how far each one is."""

    job: WorkerJob | None = None
    title: str = ""
    stop_asked: bool = False
    series: dict[str, str]

    def __init__(self) -> None:
        self.series = {}


current = _Current()


def busy() -> bool:
    """Whether a job is running."""
    return current.job is not None


def idle(operator: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Whether nothing runs and no mode hides the true mesh; sets the poll message if not."""
    if busy():
        operator.poll_message_set("Pourwright is working; press Esc to stop it")
        return False
    if context.mode != "OBJECT":
        operator.poll_message_set("Switch to Object Mode first")
        return False
    return True


def launch(request: Request, title: str) -> WorkerJob:
    """Start the worker for `request` and make it the current job."""
    arrays: dict[str, Any] = {}
    for i, mesh in enumerate(request.meshes):
        arrays[f"vertices_{i}"] = mesh.vertices
        arrays[f"faces_{i}"] = mesh.faces
        if mesh.protect is not None:
            arrays[f"protect_{i}"] = mesh.protect
    task = {**request.task, "names": [mesh.name for mesh in request.meshes]}
    current.job = WorkerJob(task, arrays, temp_root=bpy.app.tempdir)
    current.title = title
    current.stop_asked = False
    return current.job


def stop(grace_s: float = 0.0) -> None:
    """Stop the current job, if any."""
    job, current.job = current.job, None
    if job is not None:
        making.drop()
        job.stop(grace_s)


def target_scene(request: Request) -> bpy.types.Scene:
    """Return the scene the job was started in, with all of its objects; raises JobError."""
    scene = bpy.data.scenes.get(request.scene)
    if scene is None:
        raise JobError(f"Scene '{request.scene}' was deleted or renamed meanwhile; run again")
    if request.figure != current_key(scene):
        raise JobError(
            "Another figure became the current one while Pourwright was working; "
            "nothing was changed; run again"
        )
    for name in request.objects:
        if not in_scene(bpy.data.objects.get(name), scene):
            raise JobError(
                f"'{name}' was deleted or renamed while Pourwright was working; "
                "nothing was changed; run again"
            )
    return scene


def current_key(scene: bpy.types.Scene) -> str:
    """Return what tells the current figure from others in the list; empty without a list."""
    batch = scene.pourwright.batch
    return batch.figures[batch.loaded].key if batch.figures else ""


class JobOperator:
    """Mix-in of an operator that runs one job. Subclasses give, and both may raise JobError:

    request(context) -> Request : read what the job needs from the scene.
    apply(context, request, outcome) -> str : put the result into it and return a message.
    """

    title: ClassVar[str] = "Working"
    grace_s: ClassVar[float] = 0.0
    stepwise: ClassVar[bool] = True  # large meshes are made at the timer's ticks
    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Grey while a job runs or a mode hides the true mesh; the tooltip says so."""
        return idle(cls, context) and cls.ready(context)

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Whether the scene has what the job needs; sets the poll message otherwise."""
        return True

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Start the job and return at once."""
        if bpy.app.background or context.window is None:
            return self.execute(context)
        ended = self._start(context)
        if ended is not None:
            return ended
        self._drawn = 0.0
        manager = context.window_manager
        self._timer = manager.event_timer_add(TIMER_S, window=context.window)
        manager.modal_handler_add(self)
        redraw(context)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Run the job to its end: for scripts."""
        ended = self._start(context)
        while ended is None:
            try:
                while current.job.running:
                    time.sleep(TIMER_S)
            except BaseException:
                stop(self.grace_s)
                raise
            ended = self._finish(context)
        return ended

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Watch the worker; every event goes on to Blender."""
        job = current.job
        esc = event.type == "ESC" and event.value == "PRESS"
        if job is None or esc or current.stop_asked:
            self._end_timer(context)
            stop(self.grace_s)
            return self._stopped(context)
        if event.type == "TIMER":
            scene = bpy.data.scenes.get(self._request.scene, context.scene)
            if self.stepwise and not job.running and making.step(job, scene):
                return {"RUNNING_MODAL"}  # nothing may come between, see there
            if not job.running:
                ended = self._finish(context)
                if ended is not None:
                    self._end_timer(context)
                    return ended
            if time.monotonic() - self._drawn > REDRAW_S:
                self._drawn = time.monotonic()
                redraw(context)
        return {"PASS_THROUGH"} if job.running else {"RUNNING_MODAL"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Called by Blender when it ends the operator itself, as when a file is opened."""
        self._end_timer(context)
        stop(self.grace_s)

    def _start(self, context: bpy.types.Context) -> set[str] | None:
        """Launch the job; what this and `_finish` return ends the operator, None does not."""
        messages.clear(context)
        try:
            self._request = self.request(context)
            launch(self._request, self.title)
        except JobError as error:
            self._fail(context, error)
            return {"CANCELLED"}
        return None

    def _stopped(self, context: bpy.types.Context) -> set[str]:
        """Say that the user stopped it."""
        messages.tell(context, "INFO", f"{self.title} was stopped; nothing was changed")
        self.report({"INFO"}, "Stopped; nothing was changed")
        redraw(context)
        return {"CANCELLED"}

    def _finish(self, context: bpy.types.Context) -> set[str] | None:
        job, current.job = current.job, None
        try:
            said = self.apply(context, self._request, job.outcome())
        except JobError as error:
            self._fail(context, error)
            return {"CANCELLED"}
        finally:
            making.drop()
            job.close()
            redraw(context)
        messages.tell(context, "INFO", said)
        self.report({"INFO"}, said)
        return {"FINISHED"}

    def _fail(self, context: bpy.types.Context, error: JobError) -> None:
        messages.tell(context, "ERROR", error.message, error.at_mm)
        # Without a window an ERROR report would be raised as an exception, which also is right.
        self.report({"ERROR"}, error.message)
        redraw(context)

    def _end_timer(self, context: bpy.types.Context) -> None:
        timer = getattr(self, "_timer", None)
        if timer is not None:
            context.window_manager.event_timer_remove(timer)
            self._timer = None


@dataclass(frozen=True)
class Step:
    """One job of a series that has ended: what it made, or why it made nothing."""

    key: str
    request: Request | None = None
    outcome: Outcome | None = None
    error: str = ""


@dataclass(frozen=True)
class Said:
    """What a series has to say at its end; `changed` if there is something to undo."""

    text: str
    failed: bool
    changed: bool


class SeriesOperator(JobOperator):
    """Mix-in of an operator that runs several jobs. One that fails does not stop the others.

    Nothing changes until all have ended or the user stops it; then what was finished is applied
    together, as one undo step. Subclasses give:

    steps(context) -> [(key, name)] : what to do, in order; may raise JobError.
    step_request(context, key) -> Request : read what one job needs, when its turn comes; may raise.
    apply_steps(scene, steps, stopped) -> Said : put what was made into the scene of the start.
    """

    stepwise: ClassVar[bool] = False  # results wait for the others, and are applied all at once

    def _start(self, context: bpy.types.Context) -> set[str] | None:
        messages.clear(context)
        try:
            self._left = self.steps(context)
        except JobError as error:
            self._fail(context, error)
            return {"CANCELLED"}
        self._scene = context.scene.name  # another may be the current one before the end
        self._count, self._ended = len(self._left), []
        current.series = dict.fromkeys((key for key, _ in self._left), "WAITING")
        return None if self._next(context) else self._settle(context, stopped=False)

    def _next(self, context: bpy.types.Context) -> bool:
        """Launch the next job that can be; whether there was one."""
        while self._left:
            self._key, name = self._left.pop(0)
            number = self._count - len(self._left)
            try:
                if context.scene.name != self._scene:
                    raise JobError("Another scene was opened before its turn; run again")
                self._request = self.step_request(context, self._key)
                launch(self._request, f"{self.title}: {name} ({number} of {self._count})")
            except JobError as error:
                self._end_step(error=error.message)
                continue
            current.series[self._key] = "WORKING"
            return True
        return False

    def _end_step(self, outcome: Outcome | None = None, error: str = "") -> None:
        request = None if outcome is None else self._request
        self._ended.append(Step(self._key, request, outcome, error))
        current.series[self._key] = "FAILED" if error else "READY"

    def _finish(self, context: bpy.types.Context) -> set[str] | None:
        job, current.job = current.job, None
        try:
            self._end_step(job.outcome())
        except JobError as error:
            self._end_step(error=error.message)
        finally:
            job.close()
            redraw(context)
        return None if self._next(context) else self._settle(context, stopped=False)

    def _stopped(self, context: bpy.types.Context) -> set[str]:
        if any(step.outcome is not None for step in self._ended):
            return self._settle(context, stopped=True)
        current.series = {}
        return super()._stopped(context)

    def cancel(self, context: bpy.types.Context) -> None:
        """Called by Blender when it ends the operator itself, as when a file is opened."""
        current.series = {}
        super().cancel(context)

    def _settle(self, context: bpy.types.Context, stopped: bool) -> set[str]:
        current.series = {}
        scene = bpy.data.scenes.get(self._scene)
        if scene is None:
            gone = f"Scene '{self._scene}' was deleted or renamed meanwhile; nothing was changed"
            said = Said(gone, failed=True, changed=False)
        else:
            said = self.apply_steps(scene, self._ended, stopped)
        messages.tell(context, "ERROR" if said.failed else "INFO", said.text)
        # No ERROR report: without a window that is an exception, and others were made.
        self.report({"WARNING" if said.failed else "INFO"}, said.text)
        redraw(context)
        return {"FINISHED"} if said.changed else {"CANCELLED"}


def redraw(context: bpy.types.Context) -> None:
    """Ask for new drawing of the sidebars and the status bars of all windows.

    Not of the views, for a large figure takes long to draw.
    """
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            for region in area.regions if area.type == "VIEW_3D" else ():
                if region.type == "UI":
                    region.tag_redraw()
        # The status bar is a global area that the screen does not list.
        window.workspace.status_text_set_internal(None)


def draw_status_bar(self: Any, context: bpy.types.Context) -> None:
    """Progress in the status bar while a job runs."""
    job = current.job
    if job is not None:
        row = self.layout.row(align=True)
        row.ui_units_x = 16
        row.progress(factor=job.fraction, text=f"{current.title}: {job.text}")
        row.operator("pourwright.stop", text="", icon="CANCEL")


class POURWRIGHT_OT_stop(bpy.types.Operator):
    """Stop the running job; the scene stays as it is"""

    bl_idname = "pourwright.stop"
    bl_label = "Stop"
    bl_options: ClassVar[set[str]] = {"INTERNAL"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only while a job runs."""
        if not busy():
            cls.poll_message_set("Nothing is running")
        return busy()

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Ask the watching operator to stop."""
        current.stop_asked = True
        return {"FINISHED"}


classes = (POURWRIGHT_OT_stop,)
