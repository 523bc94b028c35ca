"""Settings of the gates, and the gates of the last run."""

from __future__ import annotations

import math
from typing import Any

import bpy

from ..base.settings import angle, length
from ..bridge import in_scene
from ..view import select_object


def _select_gate(self: PourwrightGates, context: bpy.types.Context) -> None:
    if 0 <= self.active_gate < len(self.rods):
        obj = self.rods[self.active_gate].object
        if in_scene(obj, context.scene):
            select_object(context, obj)


class PourwrightGate(bpy.types.PropertyGroup):
    """A gate of the last run."""

    object: bpy.props.PointerProperty(
        name="Object", description="The curve that shows the gate", type=bpy.types.Object
    )
    diameter_mm: bpy.props.FloatProperty(name="Diameter", description="Diameter in mm")
    length_mm: bpy.props.FloatProperty(name="Length", description="Length in mm")
    web_mm: bpy.props.FloatProperty(
        name="Web", description="Least rubber beside it, measured up to what was asked for, in mm"
    )
    volume_mm3: bpy.props.FloatProperty(
        name="Feeds", description="Volume of the part that it feeds, in mm³"
    )
    fill_time_s: bpy.props.FloatProperty(
        name="Full After",
        description="Time until its part is full, in s; negative where it is not known",
    )
    reynolds: bpy.props.FloatProperty(
        name="Reynolds Number", description="In the gate's neck under the full head"
    )
    notes: bpy.props.StringProperty(
        name="Notes", description="Where the flow model does not hold"
    )


class PourwrightGates(bpy.types.PropertyGroup):
    """Rules for gates."""

    enabled: bpy.props.BoolProperty(
        name="Gates",
        description="Put up gates to parts that the base does not feed in time; "
        "without them it is only told what fills too slowly",
        default=True,
    )
    share_percent: bpy.props.FloatProperty(
        name="Share of Pot Life",
        description="Share of the resin's pot life in which every part has to be full",
        default=25.0,
        min=1.0,
        max=100.0,
        precision=0,
        subtype="PERCENTAGE",
    )
    least_mm: length("Least Diameter", "Thinnest gate", 1.0, 0.3, 20.0, soft_max=6.0)
    most_mm: length("Most Diameter", "Widest gate", 6.0, 0.3, 20.0, soft_max=12.0)
    most_gates: bpy.props.IntProperty(
        name="Most Gates", description="Gates put up for one figure at most", default=12,
        min=0, max=100,
    )
    web_mm: length("Web", "Rubber to keep between a gate and the figure or another gate",
                   2.0, 0.1, 50.0, soft_max=10.0)
    slope: angle("Slope", "Least angle of a gate above level while resin is poured",
                 20.0, 89.0, low_deg=11.5)
    neck_percent: bpy.props.FloatProperty(
        name="Neck",
        description="Diameter where a gate is broken off the figure, as a share of the gate's",
        default=80.0,
        min=20.0,
        max=100.0,
        precision=0,
        subtype="PERCENTAGE",
    )
    neck_length_mm: length("Neck Length", "Length of the thinner end at the figure",
                           1.0, 0.1, 20.0, soft_max=5.0)
    overlap_mm: length("Overlap", "How deep a gate reaches into what it joins",
                       0.5, 0.05, 10.0, soft_max=3.0)
    grid_mm: length("Grid", "Steps of the search for ways in the figure and past it",
                    0.5, 0.1, 5.0, soft_max=2.0)
    # Results of the last run.
    rods: bpy.props.CollectionProperty(
        name="Gates", description="Rods through which resin reaches parts", type=PourwrightGate
    )
    by_hand: bpy.props.BoolProperty(
        name="By Hand",
        description="Whether the gates are what you made of them, not what was worked out",
    )
    active_gate: bpy.props.IntProperty(
        name="Gate", description="Click a gate to select it in the view", update=_select_gate
    )


def gates_table(gates: PourwrightGates) -> dict[str, Any]:
    """Return the settings as a job file's table."""
    same = ("enabled", "least_mm", "most_mm", "most_gates", "web_mm", "overlap_mm",
            "neck_length_mm", "grid_mm")
    return {name: getattr(gates, name) for name in same} | {
        "pot_life_share": gates.share_percent / 100.0,
        "slope_deg": math.degrees(gates.slope),
        "neck_share": gates.neck_percent / 100.0,
    }


classes = (PourwrightGate, PourwrightGates)
