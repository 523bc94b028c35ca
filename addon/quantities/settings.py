"""Settings of the mix, and the quantities of the last run."""

from __future__ import annotations

import bpy

from pourwright.shop.resin import MARGIN_RANGE, resins

from ..choices import enum_items, number
from . import materials


def _search(self: PourwrightQuantities, context: bpy.types.Context, text: str) -> list[str]:
    return [name for name in materials.names() if text.lower() in name.lower()]


def material(quantities: PourwrightQuantities) -> str:
    """Return the name of the preset that is chosen."""
    return quantities.own_name.strip() if quantities.own else quantities.material


class PourwrightQuantities(bpy.types.PropertyGroup):
    """What is poured, and how much of it."""

    material: bpy.props.EnumProperty(
        name="Material",
        description="Kind of casting resin; the data sheet of your product overrides its numbers",
        items=enum_items({r.name: r.title for r in resins().values()}),
        default=number("polyurethane"),
    )
    own: bpy.props.BoolProperty(
        name="Own Preset",
        description="Take a preset of your own, from a file in the materials folder",
        default=False,
    )
    own_name: bpy.props.StringProperty(
        name="Preset",
        description="Name of the preset, as its table in the file is called",
        search=_search,
        search_options={"SORT"},
    )
    margin_percent: bpy.props.FloatProperty(
        name="Margin",
        description="Resin mixed beyond what is poured, for what stays in the cup",
        default=10.0,
        min=100.0 * MARGIN_RANGE[0],
        max=100.0 * MARGIN_RANGE[1],
        soft_max=50.0,
        precision=0,
        subtype="PERCENTAGE",
    )


classes = (PourwrightQuantities,)
