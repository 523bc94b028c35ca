"""The shop's own materials: files in the extension's folder of the user."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import bpy

if TYPE_CHECKING:
    from pourwright.shop.resin import Resin

ROOT = __package__.rpartition(".")[0]
_known: dict[str, tuple[object, dict[str, Resin] | str]] = {}


def folder(create: bool = False) -> Path | None:
    """Return where files resin*.toml are looked for; it need not exist.

    None where the source runs without being installed, as for the demo's pictures.
    """
    try:
        return Path(bpy.utils.extension_path_user(ROOT, path="materials", create=create))
    except ValueError:
        return None


def known() -> dict[str, Resin] | str:
    """Return the shop's own presets by name, or what is wrong with them, as a text."""
    place = folder()
    if place is None or not place.is_dir():
        return {}
    files = sorted(p for p in place.iterdir() if p.suffix.lower() == ".toml")
    stamp = tuple((p.name, p.stat().st_mtime_ns, p.stat().st_size) for p in files)
    held = _known.get("own")
    if held is None or held[0] != stamp:
        held = _known["own"] = (stamp, _read(place))
    return held[1]


def names() -> list[str]:
    """Return the names of the shop's own presets."""
    own = known()
    return [] if isinstance(own, str) else list(own)


def task_folder() -> str | None:
    """Return the folder as a job names it; None where there is none."""
    place = folder()
    return None if place is None or not place.is_dir() else str(place)


def _read(place: Path) -> dict[str, Resin] | str:
    from pourwright.errors import InputError
    from pourwright.shop.materials import read_materials
    from pourwright.shop.resin import resins

    try:
        generic, every = resins(), read_materials(place)
    except InputError as error:
        return f"{error}"
    return {name: resin for name, resin in every.items() if generic.get(name) != resin}
