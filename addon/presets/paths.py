"""Which settings a preset keeps, as paths below the scene's settings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import bpy

from ..bench.settings import MINUTES, SHOP, VESSELS
from ..printer.settings import SIZES

# What is no choice for a job to come: the figure, results, views, and what is written where.
_LEFT_OUT = {
    "figure", "rising", "export", "version", "plan", "made_with", "vents_made_with",
    "gates_made_with", "batch", "overlay",
    "air.source", "air.active_pocket",
    "base.source", "base.picture",  # a source goes with an object; the picture shows the kind
    "bench.entry", "bench.casts_made",
    "gates.by_hand", "gates.active_gate",
    "mould.made_with",
    "pose.active_pose", "pose.sweep", "pose.swept_axis", "pose.swept_cone", "pose.found_in",
    "pose.made_with", "pose.previewing", "pose.preview_of",
    "vents.active_vent", "vents.left", "vents.active_warning",
}  # fmt: skip

PARTS: dict[str, tuple[str, ...]] = {
    "shop": tuple(
        f"bench.{name}"
        for name in (
            *SHOP, *MINUTES, "use_cup", "cup_ml", "pot_marked_most",
            *(f"use_{kind}" for kind in VESSELS),
            *(f"{kind}_{size}_mm" for kind in VESSELS for size in ("diameter", "height")),
            "use_mould_price", "mould_price", "mould_life",
        )
    ),
    "printer": tuple(f"print.{name}" for name in ("printer", "own_sizes", *SIZES)),
    "process": (
        "air.process", "air.own_pressures", "air.trap_kpa", "air.cure_kpa",
        "air.visible_defect_mm",
    ),
    "materials": (
        "quantities.material", "quantities.own", "quantities.own_name",
        "quantities.margin_percent", "mould.silicone", "mould.margin_percent",
        "print.own_resin", "print.resin_percent", "print.rubber_percent",
        "bench.use_resin_price", "bench.resin_price",
    ),
}  # fmt: skip


def paths(kind: str) -> tuple[str, ...]:
    """Return the settings of a kind of preset; those of a "job" are all there are."""
    return PARTS[kind] if kind in PARTS else tuple(_settings(_root(), ""))


def _root() -> bpy.types.Struct:
    return bpy.types.Scene.bl_rna.properties["pourwright"].fixed_type


def _settings(group: bpy.types.Struct, prefix: str) -> Iterator[str]:
    for name, prop in group.properties.items():
        path = prefix + name
        if name in {"rna_type", "name"} or path in _LEFT_OUT or prop.type == "COLLECTION":
            continue
        if prop.type != "POINTER":
            yield path
        elif prop.fixed_type.base and prop.fixed_type.base.identifier == "PropertyGroup":
            yield from _settings(prop.fixed_type, path + ".")


def read(settings: bpy.types.PropertyGroup, wanted: Iterable[str]) -> dict[str, Any]:
    """Return the values of settings by path."""
    values = {}
    for path in wanted:
        value = settings.path_resolve(path)
        values[path] = value if isinstance(value, str | int | float) else tuple(value)
    return values


def write(settings: bpy.types.PropertyGroup, values: dict[str, Any]) -> None:
    """Set settings by path, all or none; ValueError names the one that cannot be set."""
    before = read(settings, values)
    for path, value in values.items():
        try:
            _set(settings, path, value)
        except (AttributeError, OverflowError, TypeError, ValueError) as error:
            for done, old in before.items():
                _set(settings, done, old)
            raise ValueError(f"{path} cannot be {value!r}") from error


def _set(settings: bpy.types.PropertyGroup, path: str, value: Any) -> None:
    group, _, name = path.rpartition(".")
    setattr(settings.path_resolve(group) if group else settings, name, value)
