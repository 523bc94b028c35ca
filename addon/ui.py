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


def presets(layout: bpy.types.UILayout, kind: str) -> None:
    """Draw the button that opens a menu of presets, as in the headers of Blender's own panels."""
    layout.emboss = "NONE"
    layout.popover(panel=f"POURWRIGHT_PT_{kind}_presets", icon="PRESET", text="")


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
    share: float = 1.0,
) -> None:
    """Draw a text over as many lines as the sidebar's width needs.

    place_mm : adds a button that turns the view to this place. share : of the sidebar's width.
    """
    scale = context.preferences.system.ui_scale
    width = context.region.width * share / scale - MARGIN_PX * share
    width -= ICON_PX if icon != "NONE" else 0
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
        shown = icon if i == 0 or icon == "NONE" else "BLANK1"
        rows.label(text=one, icon=shown, translate=False)


def stale(context: bpy.types.Context, layout: bpy.types.UILayout, text: str) -> None:
    """Draw what the results no longer match, if anything."""
    if text:
        box = layout.box()
        box.alert = True
        wrapped(context, box, text, "ERROR")


def place_button(layout: bpy.types.UILayout, place_mm: Sequence[float]) -> None:
    """Draw the button that turns the view to a place."""
    layout.operator("pourwright.show_place", text="", icon="VIEWZOOM").place_mm = place_mm


def optional(layout: bpy.types.UILayout, data: object, switch: str, name: str) -> None:
    """Draw a setting that counts only while its switch is on, and is worked out otherwise."""
    row = layout.row(align=True, heading=data.bl_rna.properties[name].name)
    row.prop(data, switch, text="")
    cell = row.row(align=True)
    cell.active = getattr(data, switch)
    cell.prop(data, name, text="")


def cells(layout: bpy.types.UILayout, shares: Sequence[float], texts: Sequence[str]) -> None:
    """Draw a row of a table: the first cell left, the others right; shares of the width."""
    left = 1.0
    for i, (share, text) in enumerate(zip(shares, texts, strict=True)):
        layout = layout.split(factor=share / left) if i < len(texts) - 1 else layout
        left -= share
        cell = layout.row()
        cell.alignment = "RIGHT" if i else "LEFT"
        cell.label(text=text)


def value(layout: bpy.types.UILayout, label: str, text: str, icon: str = "NONE") -> None:
    """Draw a result as a row: what it is, and how much."""
    row = layout.split(factor=0.5)
    row.label(text=label, icon=icon)
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
