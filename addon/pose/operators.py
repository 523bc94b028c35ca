"""Searching the way up, looking at the poses found, and using one of them."""

from __future__ import annotations

from typing import ClassVar

import bpy
from mathutils import Vector

from .. import apply, messages, task
from ..air.settings import UPSIDE_DOWN, set_up
from ..figure.hints import has_figure
from ..figure.settings import chosen, set_chosen, usable
from ..jobs import JobError, Outcome
from ..running import JobOperator, Request, idle
from ..view import selection_kept
from . import preview
from .settings import PourwrightPoseRow, active, names_of
from .turned import base_down, copies, extent, name_after, stand

COPY_COLLECTION = "Turned Figure"
GAP_SHARE = 0.15  # between figure and copy, of their width


class POURWRIGHT_OT_find_pose(JobOperator, bpy.types.Operator):
    """Try the figure every way up, and rank the poses by the rods they need and the air left"""

    bl_idname = "pourwright.find_pose"
    bl_label = "Find Pose"
    title: ClassVar[str] = "Find Pose"

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs a figure, chosen or selected."""
        return has_figure(cls, context)

    def request(self, context: bpy.types.Context) -> Request:
        """Take the figure, the process and what poses are judged by."""
        return task.pose_request(context, usable(context))

    def apply(self, context: bpy.types.Context, request: Request, outcome: Outcome) -> str:
        """Put the ranking into the list."""
        return apply.pose(request, outcome)


class _PoseOperator:
    """Mix-in of an operator on the ranked poses.

    Subclasses give work(context) -> str, which changes the scene and returns a message or none;
    it may raise JobError first.
    """

    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a ranking."""
        if not idle(cls, context):
            return False
        if active(context.scene) is None:
            cls.poll_message_set("Press Find Pose first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Do the work, or say why not."""
        messages.clear(context)
        try:
            said = self.work(context)
        except JobError as error:
            messages.tell(context, "ERROR", error.message, error.at_mm)
            self.report({"ERROR"}, error.message)
            return {"CANCELLED"}
        if said:
            messages.tell(context, "INFO", said)
            self.report({"INFO"}, said)
        return {"FINISHED"}


class POURWRIGHT_OT_preview_pose(_PoseOperator, bpy.types.Operator):
    """Show the figure turned as it would be poured, in place of the figure itself"""

    bl_idname = "pourwright.preview_pose"
    bl_label = "Preview"

    def work(self, context: bpy.types.Context) -> str:
        """Show the active pose."""
        preview.show(context, active(context.scene).up)
        return ""


class POURWRIGHT_OT_step_pose(_PoseOperator, bpy.types.Operator):
    """Show the figure in the next pose of the list"""

    bl_idname = "pourwright.step_pose"
    bl_label = "Next Pose"

    step: bpy.props.IntProperty(
        name="Step", description="How many rows to go on, or back if negative", default=1
    )

    @classmethod
    def description(
        cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties
    ) -> str:
        """Say which way the button goes."""
        which = "next" if properties.step > 0 else "previous"
        return f"Show the figure in the {which} pose of the list"

    def work(self, context: bpy.types.Context) -> str:
        """Go on, from the last row to the first, and show that pose."""
        pose = context.scene.pourwright.pose
        row = (pose.active_pose + self.step) % len(pose.poses)
        preview.show(context, pose.poses[row].up)
        with selection_kept():
            pose.active_pose = row
        return ""


class POURWRIGHT_OT_end_preview(bpy.types.Operator):
    """Show the figure again as it stands"""

    bl_idname = "pourwright.end_preview"
    bl_label = "End Preview"
    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs an open preview."""
        if not context.scene.pourwright.pose.previewing:
            cls.poll_message_set("No pose is shown")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Remove the copies, show what was hidden."""
        preview.end(context.scene)
        return {"FINISHED"}


class POURWRIGHT_OT_use_pose(_PoseOperator, bpy.types.Operator):
    """Set the pour direction in Air to this pose; the figure stays as it stands"""

    bl_idname = "pourwright.use_pose"
    bl_label = "Use Pose"

    def work(self, context: bpy.types.Context) -> str:
        """Set the direction and end the preview."""
        scene = context.scene
        row = _pose_of(scene)
        name = set_up(scene, row.up)
        preview.end(scene)
        return f"Pour Direction is {name} now, as in {_title(row)}"


class POURWRIGHT_OT_rotate_copy(_PoseOperator, bpy.types.Operator):
    """Copy the figure beside itself, turned so that this pose is poured upside down."""

    bl_idname = "pourwright.rotate_copy"
    bl_label = "Rotate Copy"
    bl_description = (
        "Make a copy of the figure beside it, turned so that it is poured upside down in this "
        "pose. The copies are plain meshes with modifiers applied; the figure stays as it is"
    )
    bl_options: ClassVar[set[str]] = {"REGISTER", "UNDO"}

    use_as_figure: bpy.props.BoolProperty(
        name="Use as Figure",
        description="Make the copy the figure, and its pour direction Upside Down",
        default=True,
    )

    def work(self, context: bpy.types.Context) -> str:
        """Make the copies in a collection of their own and select them."""
        scene, figure = context.scene, chosen(context.scene)
        row = _pose_of(scene)
        made = copies(context, figure)
        for copy in made:
            copy.object.location = copy.place
        low, high = extent(made)
        foot = Vector(((low.x + high.x) / 2.0, (low.y + high.y) / 2.0, low.z))
        stand(made, base_down(row.up), foot)
        turned_low, turned_high = extent(made)
        gap = GAP_SHARE * max(high.x - low.x, turned_high.x - turned_low.x)
        for copy in made:
            copy.object.location.x += high.x - turned_low.x + gap
        preview.end(scene)
        home = bpy.data.collections.new(COPY_COLLECTION)
        scene.collection.children.link(home)
        for other in context.selected_objects:
            other.select_set(False)
        for copy, obj in zip(made, figure, strict=True):
            home.objects.link(copy.object)
            name_after(copy, obj)  # the preview may have had the name until now
        objects = [copy.object for copy in made]
        context.view_layer.update()
        for obj in objects:
            obj.select_set(True)
        context.view_layer.objects.active = objects[0]
        if self.use_as_figure:
            set_chosen(scene, objects)
            set_up(scene, UPSIDE_DOWN)
            return f"The turned copy in '{home.name}' is the figure now, poured upside down"
        return f"Turned copy made in '{home.name}'"


def _pose_of(scene: bpy.types.Scene) -> PourwrightPoseRow:
    """Return the active pose; raises JobError if it was found for another figure."""
    row = active(scene)
    if row is None or scene.pourwright.pose.found_in != names_of(chosen(scene)):
        raise JobError(
            "The poses were found for other objects than the figure has now; press Find Pose, "
            "or choose those objects again by Use Selected"
        )
    return row


def _title(row: bpy.types.PropertyGroup) -> str:
    return f"pose {row.rank}" if row.rank else "the standing pose"


classes = (
    POURWRIGHT_OT_find_pose,
    POURWRIGHT_OT_preview_pose,
    POURWRIGHT_OT_step_pose,
    POURWRIGHT_OT_end_preview,
    POURWRIGHT_OT_use_pose,
    POURWRIGHT_OT_rotate_copy,
)
