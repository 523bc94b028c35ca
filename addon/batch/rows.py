"""Rows of the list of figures: added, taken off, and made the current one.

While the list is empty the scene has one figure, as ever. Otherwise one row, `loaded`, is the
current figure: its results are in the scene's settings, those of the others in their rows.
"""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Iterator

import bpy

from .. import messages, results, task
from ..bridge import in_scene
from ..figure.settings import chosen, set_chosen
from ..pose import preview
from ..running import busy
from ..running import current as working
from ..view import selection_kept
from .kept import put_aside, put_back
from .settings import PourwrightBatchFigure

# How far a row is, and its icon.
STATES = {
    "NONE": ("Not Made", "RADIOBUT_OFF"),
    "WAITING": ("Waiting", "SORTTIME"),
    "WORKING": ("Working", "PLAY"),
    "READY": ("Finished", "CHECKMARK"),
    "DONE": ("Done", "CHECKMARK"),
    "WARNINGS": ("Warnings", "ERROR"),
    "CHANGED": ("Changed", "FILE_REFRESH"),
    "FAILED": ("Failed", "CANCEL"),
}
MADE = ("DONE", "WARNINGS")


def current(scene: bpy.types.Scene) -> PourwrightBatchFigure | None:
    """Return the row of the current figure, None while the list is empty."""
    batch = scene.pourwright.batch
    return batch.figures[batch.loaded] if batch.figures else None


def index_of(scene: bpy.types.Scene, key: str) -> int | None:
    """Return the row with that key, or None if it was taken off the list."""
    rows = scene.pourwright.batch.figures
    return next((i for i, row in enumerate(rows) if row.key == key), None)


def objects_of(scene: bpy.types.Scene, index: int) -> list[bpy.types.Object]:
    """Return the objects of a row's figure that are still in the scene."""
    batch = scene.pourwright.batch
    if index == batch.loaded:
        return chosen(scene)
    parts = batch.figures[index].kept.figure_parts
    return [part.object for part in parts if in_scene(part.object, scene)]


def add(scene: bpy.types.Scene, name: str, objects: list[bpy.types.Object]) -> int:
    """Put a figure at the end of the list and return its row.

    A figure that the scene has already becomes the first row, so that nothing of it is lost.
    """
    settings = scene.pourwright
    batch = settings.batch
    if not batch.figures:
        if settings.plan or settings.results is not None or chosen(scene):
            _adopt(scene)
        else:
            _new_row(scene, name)
            set_chosen(scene, objects)
            return 0
    row = _new_row(scene, name)
    for obj in objects:
        row.kept.figure_parts.add().object = obj
    return len(batch.figures) - 1


def _new_row(scene: bpy.types.Scene, name: str) -> PourwrightBatchFigure:
    row = scene.pourwright.batch.figures.add()
    row.name, row.key = name, uuid.uuid4().hex
    return row


def _adopt(scene: bpy.types.Scene) -> None:
    """Make the one figure that the scene had the first row."""
    objects, top = chosen(scene), results.collection(scene)
    row = _new_row(scene, objects[0].name if objects else "Figure")
    scene.pourwright.batch.loaded = scene.pourwright.batch.active = 0
    if top is not None:
        scene.pourwright.results = top
        if top.name == results.COLLECTION:
            top.name = results.title(row.name)


def remove(scene: bpy.types.Scene, index: int) -> None:
    """Take a row off the list; objects and results stay in the scene."""
    batch = scene.pourwright.batch
    if len(batch.figures) > 1 and index == batch.loaded:
        switch(scene, index + 1 if index + 1 < len(batch.figures) else index - 1)
    batch.figures.remove(index)
    if batch.loaded > index:
        batch.loaded -= 1
    with selection_kept():
        batch.active = batch.loaded


def switch(scene: bpy.types.Scene, index: int) -> None:
    """Make a row's figure the current one."""
    settings = scene.pourwright
    batch = settings.batch
    if index != batch.loaded:
        preview.end(scene)
        with selection_kept():
            put_aside(settings, batch.figures[batch.loaded].kept)
            put_back(batch.figures[index].kept, settings)
        batch.loaded = index
    with selection_kept():
        batch.active = index


def turn_to(scene: bpy.types.Scene, objects: list[bpy.types.Object]) -> None:
    """Make the row current that has one of these objects, or a new one that has none yet.

    Objects of a new figure would otherwise take the place of the current one, and its results.
    """
    batch, wanted = scene.pourwright.batch, set(objects)
    if not batch.figures:
        return
    order = sorted(range(len(batch.figures)), key=lambda i: i != batch.loaded)
    for index in order:
        have = objects_of(scene, index)
        if wanted & set(have) or (not have and index == batch.loaded):
            switch(scene, index)
            return
    switch(scene, add(scene, objects[0].name, objects))


@contextlib.contextmanager
def as_current(scene: bpy.types.Scene, index: int) -> Iterator[None]:
    """Make a row's figure the current one for a while."""
    before = scene.pourwright.batch.loaded
    switch(scene, index)
    try:
        yield
    finally:
        switch(scene, before)


def clicked(context: bpy.types.Context, scene: bpy.types.Scene) -> None:
    """Follow a click on a row, and select the figure in the view."""
    batch = scene.pourwright.batch
    if batch.active == batch.loaded or not 0 <= batch.active < len(batch.figures):
        return
    if busy():  # the result of what is running belongs to the current figure
        messages.tell(context, "INFO", "Pourwright is working; press Esc to stop it")
        with selection_kept():
            batch.active = batch.loaded
        return
    switch(scene, batch.active)
    if scene == context.scene and context.mode == "OBJECT":
        _select(context, chosen(scene))


def _select(context: bpy.types.Context, objects: list[bpy.types.Object]) -> None:
    seen = [obj for obj in objects if obj.visible_get()]
    if seen:
        for other in context.selected_objects:
            other.select_set(False)
        for obj in seen:
            obj.select_set(True)
        context.view_layer.objects.active = seen[0]


def stored(scene: bpy.types.Scene, index: int) -> bpy.types.PropertyGroup:
    """Return what holds the plan of a row's figure: the scene's settings, or what was kept."""
    batch = scene.pourwright.batch
    return scene.pourwright if index == batch.loaded else batch.figures[index].kept


def results_of(scene: bpy.types.Scene, index: int) -> bpy.types.Collection | None:
    """Return the collection of a row's results, None before the first run."""
    if index == scene.pourwright.batch.loaded:
        return results.collection(scene)
    top = scene.pourwright.batch.figures[index].kept.results
    return top if top is not None and top in scene.collection.children_recursive else None


def master(scene: bpy.types.Scene, index: int) -> bpy.types.Object | None:
    """Return the master of a row's figure, None where there is none."""
    if not stored(scene, index).plan:
        return None
    return results.find_in(results_of(scene, index), "master")


def missing(scene: bpy.types.Scene, index: int) -> str:
    """Return what of a row's figure is not in the scene any more, as text; empty if nothing."""
    batch = scene.pourwright.batch
    held = scene.pourwright.figure.parts
    parts = held if index == batch.loaded else batch.figures[index].kept.figure_parts
    gone = [part.object for part in parts if not in_scene(part.object, scene)]
    if not parts:
        return "Every object"
    named = next((f"'{obj.name}'" for obj in gone if obj is not None), "An object of the figure")
    return named if gone else ""


def state(scene: bpy.types.Scene, index: int, tables: task.Tables | None = None) -> str:
    """Return one of STATES for a row; `tables` are the scene's settings, if known."""
    row, held = scene.pourwright.batch.figures[index], stored(scene, index)
    if row.key in working.series:
        return working.series[row.key]
    if row.failed:
        return "FAILED"
    if not held.plan:
        return "NONE"
    if held.made_with != task.fingerprint(scene, objects_of(scene, index), tables):
        return "CHANGED"
    if master(scene, index) is None:  # deleted or renamed by the user
        return "CHANGED"
    here = index == scene.pourwright.batch.loaded
    vents = scene.pourwright.vents if here else None
    left = vents.left if here else held.vents_left
    warnings = vents.warnings if here else held.vents_warnings
    return "WARNINGS" if left or any(w.open for w in warnings) else "DONE"
