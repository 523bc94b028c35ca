"""Writing the master and its plan to files."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

import bpy

from ..bench.settings import plan_with_bench
from ..bridge import read_objects
from ..jobs import GRACE_S, JobError, Outcome
from ..quantities.materials import task_folder
from ..results import find
from ..running import JobOperator, Request
from ..stored import stored_plan

# Files by the setting that asks for them; those of a base with a socket where there is one.
FILES = {
    "write_3mf": "master.3mf",
    "write_stl": "master.stl",
    "write_rods": "rods.csv",
    "write_plan": "plan.json",
    "write_sheet": "sheet.html",
}
SOCKET_FILES = {"write_3mf": "base.3mf", "write_stl": "base.stl"}


class POURWRIGHT_OT_export_master(JobOperator, bpy.types.Operator):
    """Write the master as it is in the scene for printing, with its plan"""

    bl_idname = "pourwright.export_master"
    bl_label = "Export Master"
    bl_options: ClassVar[set[str]] = set()  # nothing in the scene changes
    title: ClassVar[str] = "Export Master"
    grace_s: ClassVar[float] = GRACE_S

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs a master, a folder and a kind of file."""
        export = context.scene.pourwright.export
        if not context.scene.pourwright.plan or find(context.scene, "master") is None:
            cls.poll_message_set("Press Make Master first")
            return False
        if not any(getattr(export, name) for name in FILES):
            cls.poll_message_set("Choose at least one kind of file")
            return False
        if not export.folder.strip() or (export.folder.startswith("//") and not bpy.data.filepath):
            cls.poll_message_set("Choose a folder, or save the .blend file first")
            return False
        return True

    def request(self, context: bpy.types.Context) -> Request:
        """Take the master from the scene and the plan that was stored with it."""
        scene = context.scene
        export = scene.pourwright.export
        folder = Path(bpy.path.abspath(export.folder)).resolve()
        names = [name for key, name in FILES.items() if getattr(export, key)]
        printed = [find(scene, "master")]
        if stored_plan(scene)["socket"] is not None:
            socket = find(scene, "socket")
            if socket is None:
                raise JobError("The base with its socket is gone; press Make Master again")
            names += [name for key, name in SOCKET_FILES.items() if getattr(export, key)]
            printed.append(socket)
        there = [n for n in names if (folder / n).exists() and (folder / n).stat().st_size]
        if there and not export.overwrite:
            raise JobError(
                f"Already in {folder}: {', '.join(there)}; "
                "choose another folder, or tick Replace Files"
            )
        task = {
            "task": "export",
            "materials": task_folder(),
            "plan": plan_with_bench(scene),
            "folder": str(folder),
            "files": names,
            "overwrite": export.overwrite,
        }
        return Request(task, read_objects(context, printed), scene.name)

    def apply(self, context: bpy.types.Context, request: Request, outcome: Outcome) -> str:
        """Say what was written."""
        files = [Path(name).name for name in outcome.result["files"]]
        said = f"Wrote {', '.join(files)} to {request.task['folder']}"
        edited = [w for w in outcome.result["warnings"] if w["code"] == "master_edited"]
        return said + (f". {edited[0]['message']}" if edited else "")


classes = (POURWRIGHT_OT_export_master,)
