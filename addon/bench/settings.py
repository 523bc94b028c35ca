"""Settings of the bench, and the entry of the log that is being written."""

from __future__ import annotations

from typing import Any

import bpy

from ..base.settings import length
from ..jobs import JobError
from ..stored import Json, stored_plan

SHOP = ("temperature_c", "altitude_m", "scale_step_g")
MINUTES = ("weigh_min", "mix_min", "degas_min", "fill_min", "vacuum_min", "hold_min",
           "pressure_min", "demould_each_min")
VESSELS = {"pot": "Pressure Pot", "chamber": "Vacuum Chamber"}
WEAR = ("mould_life", "casts_made")
_ALWAYS = ("casts", "moulds", *SHOP, *MINUTES, *WEAR)


def _number(
    name: str, unit: str, description: str, default: float, low: float, high: float,
    soft_high: float, precision: int = 2, step: int = 10,
) -> object:
    """Return a number whose unit Blender has no field for, so that the label says it."""
    return bpy.props.FloatProperty(
        name=f"{name} ({unit})" if unit else name, description=description, default=default,
        min=low, max=high, soft_min=low, soft_max=soft_high, precision=precision, step=step,
    )


def _minutes(name: str, description: str, default: float, low: float = 0.0) -> object:
    return _number(name, "min", f"{description}, in minutes", default, low, 100_000.0, 60.0)


def _count(name: str, description: str, default: int, low: int, high: int, soft: int) -> object:
    return bpy.props.IntProperty(
        name=name, description=description, default=default, min=low, max=high, soft_max=soft
    )


def _switch(name: str, description: str) -> object:
    return bpy.props.BoolProperty(name=name, description=description, default=False)


class PourwrightBubble(bpy.types.PropertyGroup):
    """A bubble found in a cast."""

    place_mm: bpy.props.FloatVectorProperty(
        name="Place", description="Where the bubble is, in mm of the standing figure", size=3
    )
    size_mm: length("Size", "Diameter of the bubble; 0 where it was not measured", 0.0,
                    0.0, 10_000.0, soft_max=20.0)


class PourwrightEntry(bpy.types.PropertyGroup):
    """The next entry of the log."""

    casts: _count("Casts", "Casts made in this pour", 1, 0, 100_000, 100)
    temperature_c: _number("Room", "°C", "Temperature of the room, in °C", 23.0,
                           -50.0, 100.0, 40.0, 1, 100)
    used: bpy.props.StringProperty(
        name="Resin Used", description="What was poured: the product and its batch", maxlen=400
    )
    note: bpy.props.StringProperty(
        name="Note", description="What happened, and what to do otherwise next time", maxlen=4000
    )
    bubbles: bpy.props.CollectionProperty(
        name="Bubbles", description="Bubbles found in the casts of this pour",
        type=PourwrightBubble,
    )
    active_bubble: bpy.props.IntProperty(
        name="Bubble", description="The bubble that Remove Bubble takes off the list"
    )


class PourwrightBench(bpy.types.PropertyGroup):
    """What the shop has, and how long things take there."""

    casts: _count("Casts", "Casts to make in this run", 1, 1, 100_000, 100)
    moulds: _count("Moulds", "Rubber moulds that there are of this master", 1, 1, 100_000, 20)
    temperature_c: _number(
        "Shop", "°C", "Temperature of the shop, in °C; the pot life halves for about ten "
        "more", 23.0, 0.0, 60.0, 40.0, 1, 100,
    )
    altitude_m: _number(
        "Altitude", "m", "Altitude of the shop, in m; gauges count from the air there", 0.0,
        -500.0, 6000.0, 3000.0, 0, 1000,
    )
    scale_step_g: _number(
        "Scale Step", "g", "Smallest difference that the scale shows, in g; masses are rounded "
        "to it", 0.1, 1e-4, 1000.0, 10.0, 3, 1,
    )
    use_cup: _switch("Largest Cup", "Limit what is mixed at once by the largest cup there is")
    cup_ml: _number("Cup", "ml", "What the largest cup holds, in ml; a mix that is degassed "
                    "takes a quarter of it at most", 1000.0, 1.0, 1e6, 5000.0, 0, 1000)
    weigh_min: _minutes("Weigh", "Weighing both parts in two cups", 4.0)
    mix_min: _minutes("Mix", "Stirring the parts together", 0.75, 0.01)
    degas_min: _minutes("Degas", "Degassing the mix in its cup; 0 for none", 0.0)
    fill_min: _minutes("Fill", "Filling one mould", 0.5, 0.01)
    vacuum_min: _minutes("Vacuum", "Until the vacuum is reached and the foam has fallen, of all "
                         "moulds together", 0.75)
    hold_min: _minutes("Hold", "How long the vacuum is held then", 0.0)
    pressure_min: _minutes("Pressure", "Until the pressure is reached", 0.25)
    demould_each_min: _minutes("Demould", "Demoulding one cast", 3.0)
    use_pot: _switch("Pressure Pot", "Say how much room the pressure pot has")
    pot_diameter_mm: length("Width", "Clear width inside the pressure pot", 250.0, 10.0, 10_000.0,
                            soft_max=600.0)
    pot_height_mm: length("Height", "Clear height inside the pressure pot, below the lid", 300.0,
                          10.0, 10_000.0, soft_max=800.0)
    pot_marked_most: bpy.props.StringProperty(
        name="Marked Maximum",
        description="Maximum pressure on the pot's nameplate with unit and label, like "
        "'60 psi gauge' or '4 bar gauge'; empty where it is not known",
        maxlen=100,
    )
    use_chamber: _switch("Vacuum Chamber", "Say how much room the vacuum chamber has")
    chamber_diameter_mm: length("Width", "Clear width inside the vacuum chamber", 250.0, 10.0,
                                10_000.0, soft_max=600.0)
    chamber_height_mm: length("Height", "Clear height inside the vacuum chamber, below the lid",
                              250.0, 10.0, 10_000.0, soft_max=800.0)
    use_resin_price: _switch("Resin Price", "Give the price of the resin; without it that of the "
                             "material counts, where it has one")
    resin_price: _number("Resin for 1 kg", "", "Price of a kilogram of resin, both parts "
                         "together, in your own money", 20.0, 0.0, 1e6, 500.0)
    use_mould_price: _switch("Mould Price", "Share out the price of a mould over its casts")
    mould_price: _number("One Mould", "", "Price of a mould with its rubber and work, in your own "
                         "money", 50.0, 0.0, 1e9, 1000.0)
    mould_life: _count("Mould Life", "Casts that one mould gives", 20, 1, 10_000, 100)
    casts_made: _count("Casts Made", "Casts that each mould has given so far", 0, 0, 100_000, 100)
    entry: bpy.props.PointerProperty(
        name="Pour", description="The next entry of the log", type=PourwrightEntry
    )


def full_table(bench: PourwrightBench) -> Json:
    """Return the settings as a job file's [bench] table, whatever the mark's text says."""
    names = list(_ALWAYS)
    for kind in VESSELS:
        if getattr(bench, f"use_{kind}"):
            names += [f"{kind}_diameter_mm", f"{kind}_height_mm"]
    for switch, name in (("use_cup", "cup_ml"), ("use_mould_price", "mould_price")):
        if getattr(bench, switch):
            names.append(name)
    table = {name: _clean(getattr(bench, name)) for name in names}
    return table | {"pot_marked_most": bench.pot_marked_most.strip()}


def bench_table(bench: PourwrightBench) -> Json:
    """Return the settings as a job file's [bench] table.

    A mark that cannot be read is left out: the panel says so and Export refuses it, but it is no
    reason not to make a master.
    """
    table = full_table(bench)
    if mark_error(bench):
        del table["pot_marked_most"]
    return table


def mark_error(bench: PourwrightBench) -> str:
    """Return why the pot's marked maximum cannot be used; empty when all is well."""
    from pourwright.errors import InputError
    from pourwright.shop.bench import BenchSettings

    try:
        # With a size, for only then is the mark looked at in full.
        sizes = {"pot_diameter_mm": 100.0, "pot_height_mm": 100.0}
        BenchSettings(pot_marked_most=bench.pot_marked_most.strip(), **sizes)
    except InputError as error:
        return error.one_line()
    return ""


def plan_with_bench(scene: bpy.types.Scene, plan: Json | None = None) -> Json:
    """Return the stored plan, or `plan`, with the bench as it is set now, for files.

    The master does not depend on the bench, so that its settings may be newer than the plan.
    Raises JobError for a mark that cannot be read.
    """
    from pourwright.shop.bench import BenchSettings

    plan, bench = plan or stored_plan(scene), scene.pourwright.bench
    wrong = mark_error(bench)
    if wrong:
        raise JobError(f"The pot's Marked Maximum in Bench: {wrong}")
    table = BenchSettings.from_table(full_table(bench)).table()
    return plan | {"job": plan.get("job", {}) | {"bench": table}}


def _clean(value: Any) -> Any:
    """Drop the tail that single precision leaves: 0.1 is kept as 0.10000000149."""
    return float(f"{value:.7g}") if isinstance(value, float) else value


classes = (PourwrightBubble, PourwrightEntry, PourwrightBench)
