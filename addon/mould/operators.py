"""Planning the mould, and solving its cut again through way points that were moved."""

from __future__ import annotations

from typing import ClassVar

import bpy

from .. import apply, task
from ..figure.hints import has_figure
from ..figure.settings import usable
from ..jobs import Outcome
from ..results import find
from ..running import JobOperator, Request
from . import scene as objects


class _MouldOperator(JobOperator):
    """What both operators have in common."""

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs a master, and the figure in it."""
        if not context.scene.pourwright.plan or find(context.scene, "master") is None:
            cls.poll_message_set("Press Make Master first")
            return False
        return has_figure(cls, context)

    def apply(self, context: bpy.types.Context, request: Request, outcome: Outcome) -> str:
        """Put box, cut and numbers into the scene."""
        return apply.mould(request, outcome)


class POURWRIGHT_OT_plan_mould(_MouldOperator, bpy.types.Operator):
    """Plan the box, the rubber and the cut for the master as it is, and find the air it traps"""

    bl_idname = "pourwright.plan_mould"
    bl_label = "Plan Mould"
    title: ClassVar[str] = "Plan Mould"

    def request(self, context: bpy.types.Context) -> Request:
        """Take the master from the scene, the figure and the plan."""
        return task.mould_request(context, usable(context), [])


class POURWRIGHT_OT_solve_cut(_MouldOperator, bpy.types.Operator):
    """Lay the cut through the way points as they stand now; each goes to the nearest surface"""

    bl_idname = "pourwright.solve_cut"
    bl_label = "Solve Cut"
    title: ClassVar[str] = "Solve Cut"

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs way points."""
        if len(objects.way_points(context.scene)) < 3:
            cls.poll_message_set("Press Plan Mould first; the cut needs three way points")
            return False
        return super().ready(context)

    def request(self, context: bpy.types.Context) -> Request:
        """Take the way points along."""
        return task.mould_request(
            context, usable(context), objects.way_points(context.scene)
        )


classes = (POURWRIGHT_OT_plan_mould, POURWRIGHT_OT_solve_cut)
