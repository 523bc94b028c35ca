"""Opening and saving job files."""

from __future__ import annotations

import importlib
import threading
from pathlib import Path
from typing import ClassVar

import bpy
from bpy_extras.io_utils import ExportHelper, ImportHelper

from .. import messages
from ..running import busy
from . import scene_job

EXTENSION = ".toml"
CORE = "pourwright.plan.job_text"


class _JobFile:
    """Mix-in of what reads or writes one job file."""

    filename_ext = EXTENSION
    filter_glob: bpy.props.StringProperty(
        name="Filter", description="Which files are shown", default=f"*{EXTENSION}",
        options={"HIDDEN"},
    )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Ask for the file; meanwhile the core is imported, which would hold up the click after."""
        threading.Thread(target=importlib.import_module, args=(CORE,), daemon=True).start()
        return super().invoke(context, event)

    def _fail(self, context: bpy.types.Context, said: str) -> set[str]:
        messages.tell(context, "ERROR", said)
        self.report({"ERROR"}, said)
        return {"CANCELLED"}

    def _done(self, context: bpy.types.Context, said: str, level: str = "INFO") -> set[str]:
        messages.tell(context, "INFO", said)
        self.report({level}, said)
        return {"FINISHED"}


class POURWRIGHT_OT_open_job(_JobFile, ImportHelper, bpy.types.Operator):
    """Set everything that a job file says; figure, results and an own object for the base stay"""

    bl_idname = "pourwright.open_job"
    bl_label = "Open Job File"
    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Not while a job runs: its results would be marked with other settings."""
        return _idle(cls)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Read the file, then set all of it or nothing."""
        from pourwright.errors import PourwrightError
        from pourwright.plan.job_file import read_job

        path = Path(bpy.path.abspath(self.filepath))
        try:
            left = scene_job.take(context.scene, read_job(path, scene_job.presets()))
        except PourwrightError as error:
            return self._fail(context, error.one_line().replace(str(path), path.name))
        if not left:
            return self._done(context, f"Opened {path.name}")
        said = f"Opened {path.name}. Blender has no setting for this, and leaves it out: "
        return self._done(context, said + "; ".join(left), "WARNING")


class POURWRIGHT_OT_save_job(_JobFile, ExportHelper, bpy.types.Operator):
    """Write all settings to a job file, for 'pourwright plan --job' and for other scenes"""

    bl_idname = "pourwright.save_job"
    bl_label = "Save Job File"
    bl_options: ClassVar[set[str]] = set()  # nothing in the scene changes

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """As for opening one."""
        return _idle(cls)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Ask for the file; the file selector shows in red which names are taken."""
        self._was_shown = True
        return super().invoke(context, event)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write the file whole or not at all; a script has to say that it may replace one."""
        from pourwright.errors import PourwrightError
        from pourwright.files.atomic import write_files
        from pourwright.plan.job_text import job_text

        path = Path(bpy.path.abspath(self.filepath))
        if self.check_existing and not getattr(self, "_was_shown", False) and path.exists():
            return self._fail(context, f"{path} is there already; choose another name")
        try:
            text = job_text(scene_job.job_of(context.scene))
            write_files({path: text.encode("utf-8")}, force=True)
        except PourwrightError as error:
            return self._fail(context, error.one_line())
        return self._done(context, f"Wrote {path}")


def _idle(operator: type[bpy.types.Operator]) -> bool:
    if busy():
        operator.poll_message_set("Pourwright is working; press Esc to stop it")
        return False
    return True


classes = (POURWRIGHT_OT_open_job, POURWRIGHT_OT_save_job)
