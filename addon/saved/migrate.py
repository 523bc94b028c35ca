"""Settings of older scenes, moved to where this version keeps them.

A saved setting that has another name now is lost without this, for Blender finds values by name.
So whoever renames a setting, drops it or changes its unit (which its name says) adds a step here,
and raises VERSION with the first step of a release.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, MutableMapping
from dataclasses import dataclass
from typing import Any

import bpy

from .. import messages

VERSION = 1
GROUP = "pourwright"


def _same(value: Any) -> Any:
    return value


@dataclass(frozen=True)
class Moved:
    """A setting that lies elsewhere from a version of the settings on.

    old, new : paths below the scene's settings, as "gates.neck_share"; no new one where the
    setting is gone. convert : from the old value to the new; choices are numbers in a scene.
    """

    version: int
    old: str
    new: str = ""
    convert: Callable[[Any], Any] = _same


# In the order of their versions; never changed once released.
STEPS: tuple[Moved, ...] = ()

Group = MutableMapping[str, Any]


def stored(scene: bpy.types.Scene) -> Group | None:
    """Return what is saved of the scene's settings by name, used or not; None where nothing is."""
    # Blender 5 keeps what extensions define apart from the user's own properties.
    held = getattr(scene, "bl_system_properties_get", None)
    group = scene if held is None else held()
    return None if group is None else group.get(GROUP)


def move(group: Group, steps: Iterable[Moved], version: int) -> list[str]:
    """Move the saved settings of this version to their new places; return what was lost.

    group : mappings in mappings, as a scene stores them. A value that has been set at the new
    place already stays.
    """
    lost = []
    for step in steps:
        if step.version <= version:
            continue
        *folders, name = step.old.split(".")
        holder = group
        for folder in folders:
            holder = holder.get(folder, {}) if hasattr(holder, "get") else {}
        if name not in holder:
            continue
        value = holder[name]
        value = value.to_list() if hasattr(value, "to_list") else value
        del holder[name]
        if not step.new:
            continue
        try:
            value = step.convert(value)
        except (TypeError, ValueError, ArithmeticError, LookupError):
            lost.append(step.old)
            continue
        *folders, name = step.new.split(".")
        holder = group
        for folder in folders:
            if folder not in holder:
                holder[folder] = {}
            holder = holder[folder]
        if name not in holder:
            holder[name] = value
    return lost


def bring_up(scene: bpy.types.Scene) -> list[str]:
    """Bring a scene's settings to this version; return what could not be kept, as texts.

    Scenes of other files are theirs; those without settings stay without. A newer scene keeps its
    version and all that this one has no use for, but a choice that is not known here would leave
    a panel without any, so it goes back to the usual one.
    """
    group = stored(scene)
    if group is None or scene.library is not None:
        return []
    version = int(group.get("version", 0))
    lost = move(group, STEPS, version)
    if version < VERSION:
        scene.pourwright.version = VERSION
    return lost + _unknown_choices(scene.pourwright)


def is_newer(scene: bpy.types.Scene) -> bool:
    """Whether a later version of the extension has saved the scene."""
    return scene.pourwright.version > VERSION


def _unknown_choices(group: bpy.types.PropertyGroup) -> list[str]:
    unset = []
    for name, prop in group.bl_rna.properties.items():
        if prop.type == "POINTER":
            held = getattr(group, name)
            if name != "rna_type" and isinstance(held, bpy.types.PropertyGroup):
                unset += _unknown_choices(held)
        elif prop.type == "ENUM" and not prop.is_skip_save and getattr(group, name) == "":
            group.property_unset(name)
            choice = prop.enum_items[getattr(group, name)].name
            unset.append(f"{prop.name} (now {choice})")
    return unset


@bpy.app.handlers.persistent
def on_file(*_: object) -> None:
    """Look at every scene after a file is opened or appended, and before one is saved."""
    lost = {text: None for scene in bpy.data.scenes for text in bring_up(scene)}
    if lost:
        messages.tell(
            bpy.context, "ERROR",
            "Settings of the file that this version cannot take: " + ", ".join(lost),
        )


def _handlers() -> list[list[Callable[..., None]]]:
    """Appending a scene has a handler of its own from Blender 4.3 on; before, saving does."""
    names = ("load_post", "save_pre", "blend_import_post")
    return [getattr(bpy.app.handlers, n) for n in names if hasattr(bpy.app.handlers, n)]


def register() -> None:
    """Watch files, and bring up what is open: while Blender starts, nothing is yet."""
    for handlers in _handlers():
        handlers.append(on_file)
    if isinstance(bpy.data, bpy.types.BlendData):
        on_file()


def unregister() -> None:
    """Stop watching."""
    for handlers in _handlers():
        handlers.remove(on_file)
