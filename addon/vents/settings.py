"""Settings of the vents, and the vents of the last run."""

from __future__ import annotations

import bpy

from ..base.settings import angle, length
from ..bridge import in_scene
from ..view import select_object


def _select_vent(self: PourwrightVents, context: bpy.types.Context) -> None:
    if 0 <= self.active_vent < len(self.rods):
        obj = self.rods[self.active_vent].object
        if in_scene(obj, context.scene):
            select_object(context, obj)


class PourwrightVent(bpy.types.PropertyGroup):
    """A vent of the last run, or one that was added since."""

    object: bpy.props.PointerProperty(
        name="Object", description="The curve that shows the vent", type=bpy.types.Object
    )
    checked: bpy.props.BoolProperty(
        name="Checked", description="Whether the vent was there when the air was last looked at"
    )
    kind: bpy.props.StringProperty(name="Kind", description="Rod to the open air, or bridge")
    pieces: bpy.props.IntProperty(name="Pieces", description="Straight pieces that it is made of")
    length_mm: bpy.props.FloatProperty(name="Length", description="Length in mm")
    diameter_mm: bpy.props.FloatProperty(name="Diameter", description="Diameter in mm")
    web_mm: bpy.props.FloatProperty(
        name="Web", description="Least rubber beside it, measured up to what was asked for, in mm"
    )
    serves: bpy.props.StringProperty(name="Drains", description="Air pockets that it drains")


class PourwrightWarning(bpy.types.PropertyGroup):
    """Something to know or to decide."""

    code: bpy.props.StringProperty(name="Code", description="What kind of warning it is")
    text: bpy.props.StringProperty(name="Warning", description="What to know or to decide")
    open: bpy.props.BoolProperty(name="Open", description="Whether something is left undone")
    has_place: bpy.props.BoolProperty(name="Has a Place", description="Whether it is at one place")
    place_mm: bpy.props.FloatVectorProperty(
        name="Place", description="Where it is, in millimetres", size=3
    )


class PourwrightVents(bpy.types.PropertyGroup):
    """Rules for vent rods."""

    diameter_mm: length("Diameter", "Diameter of the vent rods", 1.5, 0.3, 20.0,
                        soft_max=5.0)
    least_diameter_mm: length("Least Diameter", "Thinnest rod, used where no thicker one fits",
                              1.0, 0.3, 20.0, soft_max=5.0)
    web_mm: length("Web", "Rubber to keep between a rod and the figure or another rod",
                   2.0, 0.1, 50.0, soft_max=10.0)
    overlap_mm: length("Overlap", "How deep a rod reaches into what it joins",
                       0.5, 0.05, 10.0, soft_max=3.0)
    slope: angle("Slope", "Least angle of a rod above level while resin is poured",
                 20.0, 89.0, low_deg=11.5)
    neck_mm: length("Neck", "Diameter of a rod where it is broken off the figure",
                    1.0, 0.3, 20.0, soft_max=5.0)
    neck_length_mm: length("Neck Length", "Length of the thinner end at the figure",
                           1.5, 0.1, 20.0, soft_max=5.0)
    grid_mm: length("Grid", "Steps of the search for a way past the figure",
                    0.5, 0.1, 5.0, soft_max=2.0)
    # Results of the last run.
    rods: bpy.props.CollectionProperty(
        name="Vents", description="Rods that let trapped air out", type=PourwrightVent
    )
    active_vent: bpy.props.IntProperty(
        name="Vent", description="Click a vent to select it in the view", update=_select_vent
    )
    left: bpy.props.IntProperty(
        name="Air Left", description="Pockets of the finished master that matter"
    )
    warnings: bpy.props.CollectionProperty(
        name="Warnings", description="What to know or to decide", type=PourwrightWarning
    )
    active_warning: bpy.props.IntProperty(
        name="Warning", description="Click a warning to read all of it"
    )


classes = (PourwrightVent, PourwrightWarning, PourwrightVents)
