"""Settings of the print: the printer's room, and the scale for shrinkage."""

from __future__ import annotations

from typing import Any

import bpy

from pourwright.shop.printer import DEFAULT_PRINTER, PRINTERS
from pourwright.shop.shrinkage import LINEAR_RANGE, RUBBER_LINEAR

from ..base.settings import length
from ..choices import enum_items, number

NOT_CHOSEN = "not_chosen"
_NOT_CHOSEN = {
    NOT_CHOSEN: f"What is printed is measured against a {DEFAULT_PRINTER.title.lower()}"
}
SIZES = ("build_x_mm", "build_y_mm", "build_z_mm", "smallest_wall_mm", "layer_mm")


def _percent(name: str, description: str, default: float) -> object:
    """Return a share of length, in percent."""
    low, high = LINEAR_RANGE
    return bpy.props.FloatProperty(
        name=name, description=f"{description}, in percent of the length", default=100 * default,
        min=100 * low, max=100 * high, soft_min=0.0, soft_max=5.0, precision=2, step=5,
        subtype="PERCENTAGE",
    )


class PourwrightPrint(bpy.types.PropertyGroup):
    """What prints the master, and how large it is made."""

    printer: bpy.props.EnumProperty(
        name="Printer",
        description="Kind of printer; the manual of yours overrides its numbers",
        items=enum_items(_NOT_CHOSEN | {p.name: p.title for p in PRINTERS.values()}),
        default=number(NOT_CHOSEN),
    )
    own_sizes: bpy.props.BoolProperty(
        name="Own Sizes",
        description="Give the sizes of your own printer",
        default=False,
    )
    build_x_mm: length("Build Width", "Room of the printer along X",
                       DEFAULT_PRINTER.build_x_mm, 5.0, 5000.0, soft_max=500.0)
    build_y_mm: length("Build Depth", "Room of the printer along Y",
                       DEFAULT_PRINTER.build_y_mm, 5.0, 5000.0, soft_max=500.0)
    build_z_mm: length("Build Height", "Room of the printer along Z",
                       DEFAULT_PRINTER.build_z_mm, 5.0, 5000.0, soft_max=500.0)
    smallest_wall_mm: length("Smallest Wall", "Thinnest wall that the printer draws",
                             DEFAULT_PRINTER.smallest_wall_mm, 0.02, 20.0, soft_max=2.0)
    layer_mm: length("Layer", "Height of a layer",
                     DEFAULT_PRINTER.layer_mm, 0.005, 5.0, soft_max=0.5)
    scale_master: bpy.props.BoolProperty(
        name="Scale for Shrinkage",
        description="Make the master larger by what resin and rubber shrink, so that casts come "
        "out at the figure's size; never done to a figure that exists already",
        default=False,
    )
    own_resin: bpy.props.BoolProperty(
        name="Own Resin Shrinkage",
        description="Give the shrinkage of your resin; without it that of the material counts",
        default=False,
    )
    resin_percent: _percent("Resin Shrinks", "What the resin shrinks while it sets", 0.003)
    rubber_percent: _percent("Rubber Shrinks", "What the mould shrinks while it sets",
                             RUBBER_LINEAR)


def print_tables(settings: PourwrightPrint) -> dict[str, dict[str, Any]]:
    """Return the settings as tables of a job file; no printer where none is chosen."""
    shrinkage: dict[str, Any] = {
        "scale_master": settings.scale_master,
        "rubber": settings.rubber_percent / 100.0,
    }
    if settings.own_resin:
        shrinkage["resin"] = settings.resin_percent / 100.0
    tables = {"shrinkage": shrinkage}
    chosen = {} if settings.printer == NOT_CHOSEN else {"name": settings.printer}
    if settings.own_sizes:
        chosen |= {name: getattr(settings, name) for name in SIZES}
    return tables | ({"printer": chosen} if chosen else {})


classes = (PourwrightPrint,)
