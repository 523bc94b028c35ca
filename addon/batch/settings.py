"""The list of figures of a scene."""

from __future__ import annotations

import bpy

from . import kept
from .kept import PourwrightKept


def _switch(self: PourwrightBatch, context: bpy.types.Context) -> None:
    """Make the figure whose row was clicked the current one."""
    from . import rows

    rows.clicked(context, self.id_data)


class PourwrightBatchFigure(bpy.types.PropertyGroup):
    """One figure of several; its name is the one that the user sees."""

    name: bpy.props.StringProperty(
        name="Name", description="Name of the figure, and of its folder when all are exported"
    )
    key: bpy.props.StringProperty(
        name="Key", description="What tells the figure from the others, also when it is renamed"
    )
    failed: bpy.props.StringProperty(
        name="Failed", description="Why the last Make All made nothing of it"
    )
    kept: bpy.props.PointerProperty(
        name="Kept", description="Its results while another figure is the current one",
        type=PourwrightKept,
    )


class PourwrightBatch(bpy.types.PropertyGroup):
    """Figures that are made and exported in one go."""

    figures: bpy.props.CollectionProperty(
        name="Figures", description="Figures that are cast, each by itself",
        type=PourwrightBatchFigure,
    )
    active: bpy.props.IntProperty(
        name="Figure",
        description="Click a figure to make it the current one, that all panels work on; "
        "double-click to rename it",
        update=_switch,
    )
    loaded: bpy.props.IntProperty(
        name="Current", description="Row of the figure whose results the panels show"
    )
    skip_unchanged: bpy.props.BoolProperty(
        name="Skip Unchanged",
        description="Leave figures as they are whose master still matches figure and settings",
        default=True,
    )


classes = (*kept.classes, PourwrightBatchFigure, PourwrightBatch)
