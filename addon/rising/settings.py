"""What is shown of the rising resin, and between which heights it rises."""

from __future__ import annotations

import bpy

from .. import switches
from ..results import find

ROLE = "rising"
SURFACES = {"BEFORE": 0, "AFTER": 1}


def _toggle(self: PourwrightRising, context: bpy.types.Context) -> None:
    switches.show_shapes(self.id_data)


class PourwrightRising(bpy.types.PropertyGroup):
    """The level of the resin in the view."""

    show: bpy.props.BoolProperty(
        name="Show Rising Resin",
        description="Colour the cavity by what resin fills, traps and still drives out",
        default=False,
        update=_toggle,
    )
    surface: bpy.props.EnumProperty(
        name="Cavity",
        description="Which cavity is filled",
        items=[
            ("BEFORE", "Before Venting", "The cavity without vents, as the air was found in it"),
            ("AFTER", "With Vents", "The cavity of the finished master"),
        ],
    )
    level: bpy.props.FloatProperty(
        name="Level",
        description="How far resin has risen, from the lowest place of the cavity to its highest",
        default=60.0,
        min=0.0,
        max=100.0,
        precision=1,
        step=50,
        subtype="PERCENTAGE",
    )
    labels: bpy.props.BoolProperty(
        name="Pocket Numbers",
        description="Write the numbers of the air pockets that matter beside them",
        default=True,
    )
    # Results of the last run.
    up: bpy.props.FloatVectorProperty(
        name="Up", description="Direction that points up in the pour", size=3
    )


def cavity(scene: bpy.types.Scene) -> bpy.types.Object | None:
    """Return the cavity that is to be coloured, or None where there is none."""
    return find(scene, ROLE, SURFACES[scene.pourwright.rising.surface])


classes = (PourwrightRising,)
