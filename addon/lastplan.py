"""What the last plan of a figure left in the scene."""

from __future__ import annotations

import bpy


class LastPlan:
    """Properties of the last plan, for the groups that hold one."""

    results: bpy.props.PointerProperty(
        name="Results", description="The collection of the results", type=bpy.types.Collection
    )
    plan: bpy.props.StringProperty(
        name="Plan", description="The last plan, in the form of plan.json"
    )
    made_with: bpy.props.StringProperty(
        name="Made With", description="The settings that the last plan was made with"
    )
    vents_made_with: bpy.props.StringProperty(
        name="Vents Made With", description="The shapes of the vents that the last plan holds"
    )
    gates_made_with: bpy.props.StringProperty(
        name="Gates Made With", description="The shapes of the gates that the last plan holds"
    )
