"""Writing the master and its plan to files."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

import bpy

from ..jobs import GRACE_S, Outcome
from ..results import collection, find
from ..running import JobOperator, Request
from ..stored import stored_plan
from . import files


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
        if not context.scene.pourwright.plan or find(context.scene, "master") is None:
            cls.poll_message_set("Press Make Master first")
            return False
        return files.asked(cls, context.scene)

    def request(self, context: bpy.types.Context) -> Request:
        """Take the master from the scene and the plan that was stored with it."""
        scene = context.scene
        return files.request(context, stored_plan(scene), collection(scene), files.folder(scene))

    def apply(self, context: bpy.types.Context, request: Request, outcome: Outcome) -> str:
        """Say what was written."""
        written = [Path(name).name for name in outcome.result["files"]]
        said = f"Wrote {', '.join(written)} to {request.task['folder']}"
        edited = [w for w in outcome.result["warnings"] if w["code"] == "master_edited"]
        return said + (f". {edited[0]['message']}" if edited else "")


classes = (POURWRIGHT_OT_export_master,)
