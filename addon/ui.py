"""What the panels share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

import blf
import bpy

CATEGORY = "Pourwright"
MARGIN_PX, ICON_PX, BUTTON_PX = 60, 20, 50  # at a resolution scale of 1


class SidebarPanel:
    """Mix-in of a panel in the extension's sidebar tab."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = CATEGORY
    bl_options: ClassVar[set[str]] = set()


def column(layout: bpy.types.UILayout) -> bpy.types.UILayout:
    """Return a column with Blender's property alignment."""
    layout.use_property_split = True
    layout.use_property_decorate = False
    return layout.column()


def wrapped(
    context: bpy.types.Context,
    layout: bpy.types.UILayout,
    text: str,
    icon: str = "NONE",
    place_mm: Sequence[float] | None = None,
) -> None:
    """Draw a text over as many lines as the sidebar's width needs.

    place_mm : adds a button that turns the view to this place.
    """
    scale = context.preferences.system.ui_scale
    width = context.region.width / scale - MARGIN_PX - (ICON_PX if icon != "NONE" else 0)
    if place_mm is not None:
        width -= BUTTON_PX
        layout = layout.row()
    blf.size(0, 11.0)
    lines, line = [], ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if line and blf.dimensions(0, longer)[0] > max(width, 80):
            lines.append(line)
            line = word
        else:
            line = longer
    lines.append(line)
    rows = layout.column(align=True)
    rows.scale_y = 0.8
    if place_mm is not None:
        place_button(layout.column(), place_mm)
    for i, one in enumerate(lines):
        rows.label(text=one, icon=icon if i == 0 else ("BLANK1" if icon != "NONE" else "NONE"))


def stale(context: bpy.types.Context, layout: bpy.types.UILayout, text: str) -> None:
    """Draw what the results no longer match, if anything."""
    if text:
        box = layout.box()
        box.alert = True
        wrapped(context, box, text, "ERROR")


def place_button(layout: bpy.types.UILayout, place_mm: Sequence[float]) -> None:
    """Draw the button that turns the view to a place."""
    layout.operator("pourwright.show_place", text="", icon="VIEWZOOM").place_mm = place_mm


def value(layout: bpy.types.UILayout, label: str, text: str) -> None:
    """Draw a result as a row: what it is, and how much."""
    row = layout.split(factor=0.5)
    row.label(text=label)
    cell = row.row()
    cell.alignment = "RIGHT"
    cell.label(text=text)


def length(mm: float) -> str:
    """Return a length for people."""
    return f"{mm:.2f} mm" if mm < 10 else f"{mm:.1f} mm"


def volume(mm3: float) -> str:
    """Return a volume for people, in the unit that suits it."""
    if mm3 >= 1000:
        return f"{mm3 / 1000:.1f} ml"
    return f"{mm3:.1f} mm³" if mm3 >= 1 else f"{mm3:.2g} mm³"
