"""Stepping the resin to where the next air is closed in."""

from __future__ import annotations

from typing import ClassVar

import bpy

from . import cavities
from .settings import cavity


class POURWRIGHT_OT_next_closing(bpy.types.Operator):
    """Raise the resin to where it closes in air next; after the last such level, start again"""

    bl_idname = "pourwright.next_closing"
    bl_label = "Next Pocket"
    bl_options: ClassVar[set[str]] = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a cavity that closes in some air."""
        if cavity(context.scene) is None:
            cls.poll_message_set("Find Air or Make Master first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Move the level just over the next closing level."""
        rising = context.scene.pourwright.rising
        levels = cavities.closing_percent(context.scene)
        if not levels:
            self.report({"INFO"}, "No air is closed in anywhere")
            return {"CANCELLED"}
        higher = [p for p in levels if p > rising.level + 1e-3]
        rising.level = min(min(higher, default=levels[0]) + 0.05, 100.0)
        rising.show = True
        return {"FINISHED"}


classes = (POURWRIGHT_OT_next_closing,)
