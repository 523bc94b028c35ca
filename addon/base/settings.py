"""Settings of the sprue base and its funnel."""

from __future__ import annotations

import math

import bpy

from ..choices import enum_items, number

# Kinds and defaults are those of the core, which is too heavy to import when Blender starts; a
# test keeps them the same.
KINDS = {
    "round_plinth": "Round plinth with sloping sides",
    "rectangular_plinth": "Rectangular plinth with sloping sides",
    "stepped_plinth": "Stepped plinth, like the foot of a monument",
    "name_plate": "Name plate with a slanted front",
    "coin": "Coin with a raised rim and milled edge",
    "keyring_tag": "Keyring tag with an eye",
    "plant_marker": "Plant marker: a label on a stake",
    "brush_rest": "Brush rest with grooves beside the figure",
    "wall_hook": "Wall hook under a shelf",
    "scenic_rock": "Scenic rock, another for every seed",
    "scenic_log": "Scenic log with bark, another for every seed",
}
ROUND = ("round_plinth", "coin")
SEEDED = ("scenic_rock", "scenic_log")
TEXT_STYLES = {
    "cut": "Letters cut into the face",
    "raised": "Letters standing on the face",
}


def length(name: str, description: str, default: float, low: float, high: float, **more: float):
    """Return a length in mm.

    A LENGTH unit would be read in scene units, so that 1.5 showed as 1.5 m at a unit scale of 1
    and as 1.5 mm at 0.001. Camera lengths are always mm, and take "2 cm" when typed.
    """
    return bpy.props.FloatProperty(
        name=name,
        description=f"{description}, in mm",
        default=default,
        min=low,
        max=high,
        soft_min=more.get("soft_min", low),
        soft_max=more.get("soft_max", high),
        precision=2,
        step=10,
        subtype="DISTANCE_CAMERA",
    )


def angle(
    name: str, description: str, default_deg: float, high_deg: float, low_deg: float = 0.0
):
    """Return an angle, kept in radians and shown in degrees as everywhere in Blender."""
    return bpy.props.FloatProperty(
        name=name,
        description=description,
        default=math.radians(default_deg),
        min=math.radians(low_deg),
        max=math.radians(high_deg),
        step=100,
        subtype="ANGLE",
    )


class PourwrightBase(bpy.types.PropertyGroup):
    """The base the figure stands on, and the pour opening under it."""

    kind: bpy.props.EnumProperty(
        name="Kind",
        description="Shape of the sprue base",
        items=enum_items(KINDS),
        default=number("round_plinth"),
    )
    size: bpy.props.EnumProperty(
        name="Size",
        description="Where the size of the base's top comes from",
        items=[
            ("AUTOMATIC", "Automatic", "Big enough for the figure's feet and steady to stand on"),
            ("CUSTOM", "Custom", "A size of your own"),
        ],
        default="AUTOMATIC",
    )
    width_mm: length("Width", "Size of the top along X, or its diameter", 40.0, 1.0, 2000.0,
                     soft_max=300.0)
    depth_mm: length("Depth", "Size of the top along Y", 30.0, 1.0, 2000.0, soft_max=300.0)
    margin_mm: length("Margin", "Top kept free round the figure's feet", 4.0,
                      0.0, 200.0, soft_max=30.0)
    own_height: bpy.props.BoolProperty(
        name="Own Height",
        description="Choose the height of the base; without it the kind has its usual one",
        default=False,
    )
    height_mm: length("Height", "From the top to the rim of the underside", 6.0,
                      0.5, 500.0, soft_max=50.0)
    embed_mm: length("Embed", "How deep the figure's lowest point sinks into the base",
                     1.0, 0.05, 100.0, soft_max=10.0)
    rounding_mm: length("Rounding", "Radius of the upper edges, as far as there is room for it",
                        0.8, 0.0, 50.0, soft_max=10.0)
    seed: bpy.props.IntProperty(
        name="Seed", description="Which of its shapes a scenic base takes", default=0, min=0,
    )
    text: bpy.props.StringProperty(
        name="Text", description="What is written on the base; empty for nothing", maxlen=200,
    )
    text_style: bpy.props.EnumProperty(
        name="Letters", description="How the text is made", items=enum_items(TEXT_STYLES),
        default=number("cut"),
    )
    draft: angle("Draft", "How far the sides lean in towards the top", 5.0, 30.0)
    crown: angle("Crown", "Slope of the underside towards the funnel, so that air runs there",
                 5.0, 30.0)
    funnel: bpy.props.BoolProperty(
        name="Funnel",
        description="Pour through a funnel; without it the whole underside is open",
        default=True,
    )
    mouth_mm: length("Mouth", "Diameter of the funnel where resin is poured in",
                     25.0, 1.0, 500.0, soft_max=100.0)
    neck_mm: length("Neck", "Diameter where the funnel is broken off the base",
                    12.0, 1.0, 500.0, soft_max=50.0)
    funnel_height_mm: length("Funnel Height", "From the base's rim to the funnel's mouth",
                             15.0, 0.5, 500.0, soft_max=100.0)


classes = (PourwrightBase,)
