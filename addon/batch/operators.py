"""Filling the list of figures, and making or exporting all of them."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import bpy

from .. import apply, task
from ..base.settings import has_base
from ..bridge import in_scene
from ..export import files
from ..figure.settings import instances, surfaces, usable
from ..jobs import GRACE_S, JobError
from ..running import Request, Said, SeriesOperator, Step, idle
from ..stored import parsed
from . import rows

MAX_NAMED = 6  # reasons in one message


class POURWRIGHT_OT_add_figures(bpy.types.Operator):
    """Add what is selected to the list of figures"""

    bl_idname = "pourwright.add_figures"
    bl_label = "Add Figures"
    bl_options: ClassVar[set[str]] = {"REGISTER", "UNDO"}

    by: bpy.props.EnumProperty(
        name="Figure Is",
        description="What is one figure",
        items=[
            ("OBJECT", "Each Object", "Each selected object is a figure"),
            ("COLLECTION", "Each Collection", "Each collection of a selected object is a figure"),
        ],
    )

    @classmethod
    def description(
        cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties
    ) -> str:
        """Say what becomes a figure."""
        if properties.by == "COLLECTION":
            return (
                "Add a figure for each collection that holds a selected object: "
                "all objects with a surface that it holds, united"
            )
        return "Add a figure for each selected object"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a selected object with a surface."""
        if not idle(cls, context):
            return False
        if not usable(context):
            cls.poll_message_set(
                instances(context) or "Select the figures, or an object of each collection"
            )
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Add those that are not in the list."""
        scene = context.scene
        asked = _by_object(context) if self.by == "OBJECT" else _by_collection(context)
        if not asked:
            self.report({"ERROR"}, "The selected objects are in no collection but the scene's own")
            return {"CANCELLED"}
        have = [set(rows.objects_of(scene, i)) for i in range(len(scene.pourwright.batch.figures))]
        new = [(name, objects) for name, objects in asked if set(objects) not in have]
        for name, objects in new:
            rows.add(scene, name, objects)
        said = f"{_count(len(new))} added"
        if len(new) < len(asked):
            said += f", {len(asked) - len(new)} in the list already"
        self.report({"INFO"}, said)
        return {"FINISHED"} if new else {"CANCELLED"}


def _by_object(context: bpy.types.Context) -> list[tuple[str, list[bpy.types.Object]]]:
    return [(obj.name, [obj]) for obj in sorted(usable(context), key=lambda o: o.name)]


def _by_collection(context: bpy.types.Context) -> list[tuple[str, list[bpy.types.Object]]]:
    """The innermost collections of the selected objects, each with all that it holds."""
    inside = context.scene.collection.children_recursive
    found = {c for obj in usable(context) for c in obj.users_collection if c in inside}
    asked = ((c.name, surfaces(c.all_objects)) for c in sorted(found, key=lambda c: c.name))
    return [(name, [o for o in objects if in_scene(o, context.scene)]) for name, objects in asked]


class POURWRIGHT_OT_remove_figure(bpy.types.Operator):
    """Take this figure off the list; its objects and its results stay in the scene"""

    bl_idname = "pourwright.remove_figure"
    bl_label = "Remove From List"
    bl_options: ClassVar[set[str]] = {"UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a row."""
        if not idle(cls, context):
            return False
        if not context.scene.pourwright.batch.figures:
            cls.poll_message_set("Add figures first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Remove the active row."""
        rows.remove(context.scene, context.scene.pourwright.batch.active)
        return {"FINISHED"}


class POURWRIGHT_OT_make_all(SeriesOperator, bpy.types.Operator):
    """Make the master of every figure in the list."""

    bl_idname = "pourwright.make_all"
    bl_label = "Make All"
    bl_description = (
        "Make the master of every figure in the list, with the settings of the scene. Each is read "
        "when its turn comes; one that fails does not stop the others. All results come into the "
        "scene together at the end, as one undo step, or when you press Esc: those finished by then"
    )
    title: ClassVar[str] = "Make All"

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs a list, and a base."""
        if not context.scene.pourwright.batch.figures:
            cls.poll_message_set("Add figures first")
            return False
        return has_base(cls, context)

    def steps(self, context: bpy.types.Context) -> list[tuple[str, str]]:
        """Every figure, or those that changed."""
        scene = context.scene
        batch = scene.pourwright.batch
        tables = task.job_tables(scene)
        todo = [
            (row.key, row.name)
            for i, row in enumerate(batch.figures)
            if not (batch.skip_unchanged and rows.state(scene, i, tables) in rows.MADE)
        ]
        if not todo:
            raise JobError("No figure has changed; untick Skip Unchanged to make them again")
        return todo

    def step_request(self, context: bpy.types.Context, key: str) -> Request:
        """Take one figure and all settings."""
        index = _row(context.scene, key)
        missing = rows.missing(context.scene, index)
        if missing:
            raise JobError(f"{missing} is gone; choose the figure's objects again")
        figure = rows.objects_of(context.scene, index)
        return replace(task.plan_request(context, [], figure), figure=key)

    def apply_steps(self, scene: bpy.types.Scene, steps: list[Step], stopped: bool) -> Said:
        """Put each into its own collection, and keep the current figure."""
        made, failed = [], {}
        for step in steps:
            index = rows.index_of(scene, step.key)
            if index is None:
                continue
            row = scene.pourwright.batch.figures[index]
            row.failed = step.error or self._put(scene, index, step)
            if row.failed:
                failed[row.name] = row.failed
            else:
                made.append(index)
        open_ = [i for i in made if rows.state(scene, i) == "WARNINGS"]
        said = f"{_count(len(made))} made"
        if stopped:
            said = f"Stopped: {_count(len(made))} finished before, {self._count - len(steps)} left"
        if open_:
            names = ", ".join(scene.pourwright.batch.figures[i].name for i in open_)
            said += f"; see the warnings of {names}"
        return Said(said + _failures(failed), bool(failed), bool(made or failed))

    def _put(self, scene: bpy.types.Scene, index: int, step: Step) -> str:
        """Apply one result; return why not, or nothing."""
        try:
            with rows.as_current(scene, index):
                apply.plan(step.request, step.outcome)
        except JobError as error:
            return error.message
        return ""


class POURWRIGHT_OT_export_all(SeriesOperator, bpy.types.Operator):
    """Write every master of the list, as Export would, each to a folder of its name"""

    bl_idname = "pourwright.export_all"
    bl_label = "Export All"
    bl_options: ClassVar[set[str]] = set()  # nothing in the scene changes
    title: ClassVar[str] = "Export All"
    grace_s: ClassVar[float] = GRACE_S

    @classmethod
    def ready(cls, context: bpy.types.Context) -> bool:
        """Needs a master in the list, a folder and a kind of file."""
        scene = context.scene
        if not any(rows.master(scene, i) for i in range(len(scene.pourwright.batch.figures))):
            cls.poll_message_set("Press Make All first")
            return False
        return files.asked(cls, scene)

    def steps(self, context: bpy.types.Context) -> list[tuple[str, str]]:
        """Every figure that has a master."""
        scene = context.scene
        figures = list(enumerate(scene.pourwright.batch.figures))
        made = [(row.key, row.name) for i, row in figures if rows.master(scene, i)]
        self._without = [row.name for i, row in figures if not rows.master(scene, i)]
        self._folders = files.folder_names(dict(made))
        tables = task.job_tables(scene)
        self._stale = [row.name for i, row in figures if rows.state(scene, i, tables) == "CHANGED"]
        return made

    def step_request(self, context: bpy.types.Context, key: str) -> Request:
        """Take one figure's master and plan."""
        scene = context.scene
        index = _row(scene, key)
        top = rows.results_of(scene, index)
        plan = parsed(rows.stored(scene, index).plan)
        folder = files.folder(scene) / self._folders[key]
        return files.request(context, plan, top, folder)

    def apply_steps(self, scene: bpy.types.Scene, steps: list[Step], stopped: bool) -> Said:
        """Say what was written."""
        failed, names = {}, []
        for step in steps:
            if step.error:
                index = rows.index_of(scene, step.key)
                name = "" if index is None else scene.pourwright.batch.figures[index].name
                failed[name] = step.error
            else:
                names.append(self._folders[step.key])
        said = f"{_count(len(names))} written to {files.folder(scene)}: {', '.join(names)}"
        if stopped:
            said = f"Stopped; {said}"
        if self._stale:
            said += f". Changed since they were made: {', '.join(self._stale)}"
        if self._without:
            said += f". Without a master: {', '.join(self._without)}"
        return Said(said + _failures(failed), bool(failed), bool(names))


def _row(scene: bpy.types.Scene, key: str) -> int:
    index = rows.index_of(scene, key)
    if index is None:
        raise JobError("The figure was taken off the list meanwhile")
    return index


def _failures(failed: dict[str, str]) -> str:
    told = [f"{name}: {reason}" for name, reason in list(failed.items())[:MAX_NAMED]]
    if len(failed) > MAX_NAMED:
        told.append(f"and {len(failed) - MAX_NAMED} more")
    return f". Failed: {'; '.join(told)}" if failed else ""


def _count(number: int) -> str:
    return f"{number} figure{'' if number == 1 else 's'}"


classes = (
    POURWRIGHT_OT_add_figures,
    POURWRIGHT_OT_remove_figure,
    POURWRIGHT_OT_make_all,
    POURWRIGHT_OT_export_all,
)
