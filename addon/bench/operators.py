"""Writing the log of pours."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import ClassVar

import bpy

from .. import messages
from ..bridge import mm_per_unit
from ..stored import stored_plan
from . import log
from .settings import PourwrightEntry


class POURWRIGHT_OT_add_bubble(bpy.types.Operator):
    """Add a bubble to the pour, at the 3D cursor"""

    bl_idname = "pourwright.add_bubble"
    bl_label = "Add Bubble at Cursor"
    bl_options: ClassVar[set[str]] = {"UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Add a row with the cursor's place in mm."""
        scene = context.scene
        entry = scene.pourwright.bench.entry
        entry.bubbles.add().place_mm = scene.cursor.location * mm_per_unit(scene)
        entry.active_bubble = len(entry.bubbles) - 1
        return {"FINISHED"}


class POURWRIGHT_OT_remove_bubble(bpy.types.Operator):
    """Take the active bubble off the list"""

    bl_idname = "pourwright.remove_bubble"
    bl_label = "Remove Bubble"
    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a row."""
        entry = context.scene.pourwright.bench.entry
        if not 0 <= entry.active_bubble < len(entry.bubbles):
            cls.poll_message_set("Choose a bubble in the list")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Remove the row."""
        entry = context.scene.pourwright.bench.entry
        index = entry.active_bubble
        entry.bubbles.remove(index)
        entry.active_bubble = max(0, min(index, len(entry.bubbles) - 1))
        return {"FINISHED"}


class POURWRIGHT_OT_record_pour(bpy.types.Operator):
    """Add what happened at a pour to the log, with the date and time of now"""

    bl_idname = "pourwright.record_pour"
    bl_label = "Record Pour"
    bl_description = (
        "Add this pour, with the date and time of now, to the log beside the .blend file. The log "
        "only grows: Undo brings the fields back but takes nothing out of it"
    )
    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a place for the log."""
        if log.path() is None:
            cls.poll_message_set("Save the .blend file first: the log lies beside it")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Append the entry; only what is on the disk is taken out of the fields."""
        from pourwright.errors import PourwrightError
        from pourwright.files.log import append_pour

        entry, file = context.scene.pourwright.bench.entry, log.path()
        try:
            append_pour(file, _pour(context.scene, entry))
        except PourwrightError as error:
            messages.tell(context, "ERROR", error.one_line())
            self.report({"ERROR"}, error.one_line())
            return {"CANCELLED"}
        entry.note = ""
        entry.bubbles.clear()
        entry.active_bubble = 0
        said = f"Recorded in {file.name}"
        messages.tell(context, "INFO", said)
        self.report({"INFO"}, said)
        return {"FINISHED"}


def _pour(scene: bpy.types.Scene, entry: PourwrightEntry) -> object:
    from pourwright.files.log import Bubble, Pour

    plan = stored_plan(scene)
    name = None if plan is None else plan["figure"].get("name")
    used = entry.used.strip()
    return Pour(
        when=datetime.now().astimezone().isoformat(timespec="seconds"),
        figure=name or Path(bpy.data.filepath).stem,
        materials={"resin": used} if used else {},
        temperature_c=round(entry.temperature_c, 2),
        casts=entry.casts,
        bubbles=tuple(
            Bubble(
                tuple(round(c, 3) for c in bubble.place_mm), round(bubble.size_mm, 3) or None
            )
            for bubble in entry.bubbles
        ),
        note=entry.note.strip(),
    )


classes = (POURWRIGHT_OT_add_bubble, POURWRIGHT_OT_remove_bubble, POURWRIGHT_OT_record_pour)
