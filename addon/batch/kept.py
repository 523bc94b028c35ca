"""What a figure of several keeps while another one is the current figure.

All panels work on the scene's current figure. Its results lie in the scene's own settings, among
the settings of how to pour, which all figures share; when another figure becomes the current one
the results, and only they, are put aside here. Their properties are made from the ones in the
scene, so there is one definition of each.
"""

from __future__ import annotations

from typing import Any, get_type_hints

import bpy

from ..air.settings import PourwrightAir
from ..figure.settings import PourwrightFigure
from ..gates.settings import PourwrightGates
from ..lastplan import LastPlan
from ..mould.settings import PourwrightMould
from ..pose.settings import PourwrightPose
from ..rising.settings import PourwrightRising
from ..vents.settings import PourwrightVents

# Of each room, what belongs to the figure: the last run found it, or it says what the figure is.
ROOMS: dict[str, tuple[Any, tuple[str, ...]]] = {
    "figure": (PourwrightFigure, ("parts", "checked", "volume_mm3", "shells", "findings")),
    "pose": (
        PourwrightPose,
        ("poses", "active_pose", "sweep", "swept_axis", "swept_cone", "found_in", "made_with"),
    ),
    "air": (PourwrightAir, ("pockets", "active_pocket", "source")),
    "rising": (PourwrightRising, ("up",)),
    "vents": (PourwrightVents, ("rods", "active_vent", "left", "warnings", "active_warning")),
    "gates": (PourwrightGates, ("rods", "active_gate", "by_hand")),
    "mould": (PourwrightMould, ("made_with",)),
}
OWN = tuple(LastPlan.__annotations__)


class PourwrightKept(LastPlan, bpy.types.PropertyGroup):
    """The results of a figure that is not the current one."""


def _quiet(deferred: Any) -> Any:
    """The same property without what happens when it is set."""
    told = {key: value for key, value in deferred.keywords.items() if key != "update"}
    return deferred.function(**told)


for _room, (_group, _names) in ROOMS.items():
    _hints = get_type_hints(_group)
    for _name in _names:
        PourwrightKept.__annotations__[f"{_room}_{_name}"] = _quiet(_hints[_name])


def put_aside(settings: bpy.types.PropertyGroup, kept: PourwrightKept) -> None:
    """Keep the results that are in the scene's settings."""
    for group, name, aside in _pairs(settings):
        _copy(group, name, kept, aside)


def put_back(kept: PourwrightKept, settings: bpy.types.PropertyGroup) -> None:
    """Put kept results, or none, in the place of those in the scene's settings."""
    for group, name, aside in _pairs(settings):
        _copy(kept, aside, group, name)


def _pairs(settings: bpy.types.PropertyGroup) -> list[tuple[Any, str, str]]:
    pairs = [(settings, name, name) for name in OWN]
    for room, (_, names) in ROOMS.items():
        pairs += [(getattr(settings, room), name, f"{room}_{name}") for name in names]
    return pairs


def _copy(source: Any, name: str, target: Any, other: str) -> None:
    """Copy one property, a list with all that its rows hold."""
    if source.bl_rna.properties[name].type != "COLLECTION":
        setattr(target, other, getattr(source, name))
        return
    rows = getattr(target, other)
    rows.clear()
    for row in getattr(source, name):
        made = rows.add()
        for prop in row.bl_rna.properties:
            if not prop.is_readonly:
                _copy(row, prop.identifier, made, prop.identifier)


classes = (PourwrightKept,)
