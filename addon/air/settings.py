"""Settings of the air analysis, and the pockets of the last run."""

from __future__ import annotations

import math
from collections.abc import Sequence

import bpy

from pourwright.shop.process import PROCESSES

from ..choices import enum_items, number
from ..view import frame_result, quiet, select_result

UPSIDE_DOWN = (0.0, 0.0, -1.0)
FIXED = {"UPSIDE_DOWN": UPSIDE_DOWN, "STANDING": (0.0, 0.0, 1.0)}
SAME_DIRECTION = 1e-4  # distance of unit vectors, for they come in single precision


def _select_pocket(self: PourwrightAir, context: bpy.types.Context) -> None:
    select_result(context, "pocket", self.active_pocket)
    if not quiet() and 0 <= self.active_pocket < len(self.pockets):
        place, up = self.pockets[self.active_pocket].place_mm, self.id_data.pourwright.rising.up
        frame_result(context, "pocket", self.active_pocket, place, up)


def _pressure(name: str, description: str, default: float) -> object:
    """Return an absolute pressure, whose unit Blender has no field for."""
    return bpy.props.FloatProperty(
        name=f"{name} (kPa)",
        description=f"{description}, in kPa absolute: a gauge's reading and the air of the day, "
        "about 101, together",
        default=default, min=0.001, max=5000.0, soft_max=1000.0, precision=1, step=100,
    )


class PourwrightPocket(bpy.types.PropertyGroup):
    """An air pocket of the last run."""

    volume_mm3: bpy.props.FloatProperty(name="Volume", description="Air trapped, in mm³")
    bubble_mm: bpy.props.FloatProperty(
        name="Bubble", description="Diameter of the bubble left in the cast, in mm"
    )
    matters: bpy.props.BoolProperty(
        name="Matters", description="Whether the bubble is bigger than the visible defect"
    )
    vented: bpy.props.BoolProperty(name="Vented", description="Whether a vent drains the pocket")
    sealed: bpy.props.BoolProperty(
        name="Sealed", description="Whether this part of the cavity has no opening at all"
    )
    place_mm: bpy.props.FloatVectorProperty(
        name="Place", description="Highest point, in millimetres", size=3
    )


class PourwrightAir(bpy.types.PropertyGroup):
    """How the mould is turned, and how the resin is poured."""

    direction: bpy.props.EnumProperty(
        name="Pour Direction",
        description="How the mould is turned while resin is poured",
        items=[
            ("UPSIDE_DOWN", "Upside Down", "The figure hangs head down and is poured at its base"),
            ("STANDING", "As It Stands", "The figure stands as in the scene"),
            ("CUSTOM", "Custom", "A direction of your own"),
        ],
        default="UPSIDE_DOWN",
    )
    # Not a DIRECTION widget: its ball cannot be set to an exact axis.
    up: bpy.props.FloatVectorProperty(
        name="Up",
        description="Direction in the scene that points up while resin is poured",
        size=3,
        default=UPSIDE_DOWN,
        soft_min=-1.0,
        soft_max=1.0,
        subtype="XYZ",
    )
    process: bpy.props.EnumProperty(
        name="Process",
        description="How the resin is poured and cured; pressure shrinks trapped air",
        items=enum_items({p.name: p.title for p in PROCESSES.values()}),
        default=number("vacuum_pressure"),
    )
    own_pressures: bpy.props.BoolProperty(
        name="Own Pressures",
        description="Give the pressures of your own process; the clock on the bench reads from "
        "them whether there is a vacuum and a pressure pot",
        default=False,
    )
    trap_kpa: _pressure("Pour", "Pressure of the air when the resin closes round it", 3.1)
    cure_kpa: _pressure("Cure", "Pressure while the resin sets", 515.0)
    visible_defect_mm: bpy.props.FloatProperty(
        name="Visible Defect",
        description="Smallest bubble that counts as a defect, as a diameter in mm",
        default=0.3,
        min=0.001,
        max=50.0,
        soft_min=0.05,
        soft_max=5.0,
        precision=2,
        step=5,
        subtype="DISTANCE_CAMERA",
    )
    # Results of the last run.
    source: bpy.props.StringProperty(name="Source", description="What the pockets were found in")
    pockets: bpy.props.CollectionProperty(
        name="Air Pockets", description="Places where air is trapped", type=PourwrightPocket
    )
    active_pocket: bpy.props.IntProperty(
        name="Air Pocket",
        description="Click a pocket to select it and turn the view to it",
        update=_select_pocket,
    )


def process_table(air: PourwrightAir) -> dict[str, float]:
    """Return how it is poured as a job file's [process] table."""
    own = {"trap_kpa": air.trap_kpa, "cure_kpa": air.cure_kpa} if air.own_pressures else {}
    return own | {"visible_defect_mm": air.visible_defect_mm}


def up_vector(scene: bpy.types.Scene) -> tuple[float, float, float]:
    """Return the direction that points up while resin is poured."""
    air = scene.pourwright.air
    return FIXED.get(air.direction) or tuple(air.up)


def set_up(scene: bpy.types.Scene, up: Sequence[float]) -> str:
    """Set the direction that points up in the pour; return what the panel calls it now."""
    air = scene.pourwright.air
    same = (name for name, fixed in FIXED.items() if math.dist(fixed, up) < SAME_DIRECTION)
    air.up = up
    air.direction = next(same, "CUSTOM")
    return air.bl_rna.properties["direction"].enum_items[air.direction].name


classes = (PourwrightPocket, PourwrightAir)
