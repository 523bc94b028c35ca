"""Switches of all that the extension shows in the view; saved with the scene."""

from __future__ import annotations

import bpy

from .. import switches


def _objects(self: PourwrightOverlay, context: bpy.types.Context) -> None:
    switches.follow(self.id_data)


def _switch(name: str, description: str, update: object = None) -> object:
    return bpy.props.BoolProperty(
        name=name, description=description, default=True, update=update
    )


class PourwrightOverlay(bpy.types.PropertyGroup):
    """What is shown in the view."""

    bubbles: _switch(
        "Bubbles",
        "Mark where air stays by the bubble that it leaves in the cast, after vacuum and pressure",
    )
    bubble_scale: bpy.props.FloatProperty(
        name="Drawn Larger",
        description="How many times their true size bubbles are drawn",
        default=4.0,
        min=1.0,
        max=50.0,
        soft_max=20.0,
        precision=1,
        step=50,
        subtype="FACTOR",
    )
    shapes: _switch("Air Pockets", "Show the shapes of trapped air", _objects)
    rods: _switch("Vents and Gates", "Show the rods", _objects)
    box: _switch("Mould Box", "Show the box that the rubber is poured into", _objects)
    cut: _switch("Cut Line", "Show where the mould is cut, its hinge and its way points", _objects)
    rubber_air: _switch("Air in Rubber", "Show the air that the rubber traps", _objects)
    protected: _switch("Protected Surface", "Hatch the surface that vents keep off")
    legend: _switch("Legend", "Say in the view what its colours and marks mean")


classes = (PourwrightOverlay,)
