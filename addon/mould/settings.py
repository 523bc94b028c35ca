"""Settings of the mould."""

from __future__ import annotations

import json
import math
from typing import Any

import bpy

from pourwright.shop.silicone import silicones

from ..base.settings import angle, length
from ..choices import enum_items, number

SHAPES = {
    "auto": "Whichever takes less rubber",
    "rectangular": "Four walls on a board",
    "round": "A tube on a board",
}
PANELS = {
    "card": "Stiff card, good for one pour of rubber",
    "foam board": "Foam between two sheets of card, easy to cut with a knife",
    "acrylic": "Sheets of acrylic, good for many boxes",
}
REGISTERS = {
    "none": "The cut leaves smooth faces",
    "wavy cut": "The knife swings from side to side on its way in",
    "keys": "Half balls on the box walls leave dents in the rubber",
}
GUIDES = {
    "none": "No line on the master",
    "raised": "A line that stands out of the master and leaves a groove in the rubber",
    "engraved": "A line cut into the master that leaves a ridge in the rubber",
}


VESSELS = (
    "cup_ml", "pot_diameter_mm", "pot_height_mm", "chamber_diameter_mm", "chamber_height_mm",
)


class PourwrightMould(bpy.types.PropertyGroup):
    """The box round the master, the rubber in it, and the cut."""

    silicone: bpy.props.EnumProperty(
        name="Silicone",
        description="Kind of mould rubber; the data sheet of your product overrides its numbers",
        items=enum_items({s.name: s.title for s in silicones().values()}),
        default=number("condensation"),
    )
    margin_percent: bpy.props.FloatProperty(
        name="Margin", description="Rubber mixed beyond the volume", default=15.0,
        min=0.0, max=100.0, soft_max=50.0, precision=0, subtype="PERCENTAGE",
    )
    shape: bpy.props.EnumProperty(
        name="Box", description="Shape of the mould box", items=enum_items(SHAPES),
        default=number("auto"),
    )
    wall_mm: length("Wall", "Least rubber beside the master", 10.0, 1.0, 200.0, soft_max=30.0)
    cover_mm: length("Cover", "Rubber over the master's highest point", 10.0, 1.0, 200.0,
                     soft_max=30.0)
    panel_material: bpy.props.EnumProperty(
        name="Panels", description="What the walls of the box are cut from",
        items=enum_items(PANELS), default=number("foam board"),
    )
    thickness_mm: length("Thickness", "Thickness of the panels", 5.0, 0.1, 50.0, soft_max=20.0)
    own_opening: bpy.props.BoolProperty(
        name="Own Opening",
        description="Choose the direction in which the mould opens; without it the direction "
        "that locks the least rubber is taken",
        default=False,
    )
    opening: angle("Opening", "Direction in which the mould opens, turned from the front, -Y, "
                   "towards the right", 0.0, 180.0, low_deg=-180.0)
    from_front: bpy.props.BoolProperty(
        name="Seen From the Front",
        description="Keep the cut off the side that faces the front, -Y; without it the figure "
        "is seen from all round",
        default=True,
    )
    hinge_mm: length("Hinge", "Rubber left uncut, measured up from the base along the cut",
                     15.0, 0.0, 1000.0, soft_max=60.0)
    register: bpy.props.EnumProperty(
        name="Registration", description="How the halves of the mould find each other again",
        items=enum_items(REGISTERS), default=number("wavy cut"),
    )
    amplitude_mm: length("Amplitude", "How far the knife swings at the outside of the block",
                         3.0, 0.1, 50.0, soft_max=10.0)
    wavelength_mm: length("Wavelength", "From swing to swing", 20.0, 1.0, 500.0, soft_max=60.0)
    diameter_mm: length("Key Diameter", "Diameter of the half balls", 8.0, 1.0, 50.0,
                        soft_max=15.0)
    guide: bpy.props.EnumProperty(
        name="Guide Line",
        description="The cut as a line on the master that leads the knife; Make Master draws it",
        items=enum_items(GUIDES), default=number("none"),
    )
    guide_width_mm: length("Line Width", "Width of the guide line", 0.6, 0.1, 5.0, soft_max=2.0)
    guide_on_figure: bpy.props.BoolProperty(
        name="On the Figure Too",
        description="Draw the guide line on the figure as well; without it only on base and funnel",
        default=True,
    )
    # Results of the last run.
    made_with: bpy.props.StringProperty(
        name="Made With", description="The settings and the plan that the last mould was made with"
    )


def mould_tables(mould: PourwrightMould) -> dict[str, dict[str, Any]]:
    """Return the settings as tables of a job file; no mould where the master needs none of it.

    A guide line is drawn on the master, so with one the mould is planned together with it.
    """
    cut: dict[str, Any] = {"hinge_mm": mould.hinge_mm}
    if not mould.from_front:
        cut["viewer"] = []
    if mould.own_opening:
        cut["opening_deg"] = math.degrees(mould.opening)
    return {
        "mould": {"enabled": mould.guide != "none", "silicone": mould.silicone},
        "mould.box": {
            "shape": mould.shape,
            "wall_mm": mould.wall_mm,
            "cover_mm": mould.cover_mm,
            "panel_material": mould.panel_material,
            "thickness_mm": mould.thickness_mm,
            "margin": mould.margin_percent / 100.0,
        },
        "mould.cut": cut,
        "mould.registration": {
            "kind": mould.register,
            "amplitude_mm": mould.amplitude_mm,
            "wavelength_mm": mould.wavelength_mm,
            "diameter_mm": mould.diameter_mm,
        },
        "mould.guide": {
            "kind": mould.guide,
            "width_mm": mould.guide_width_mm,
            "figure_too": mould.guide_on_figure,
        },
    }


def mould_key(mould: PourwrightMould, vessels: dict[str, Any], plan: dict[str, Any]) -> str:
    """Return a text that changes when the mould would come out otherwise.

    vessels : the [bench] table, of which cup, pot and chamber count.
    """
    counts = {key: vessels.get(key) for key in VESSELS}
    made_of = [mould_tables(mould), counts, plan["master"], plan["up"], plan["vents"]]
    return json.dumps(made_of)


classes = (PourwrightMould,)
