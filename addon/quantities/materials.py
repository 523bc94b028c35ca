"""The shop's own materials: files in the extension's folder of the user."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import bpy

if TYPE_CHECKING:
    from pourwright.shop.resin import Resin

ROOT = __package__.rpartition(".")[0]
_known: dict[str, tuple[object, dict[str, Resin] | str]] = {}


def folder(create: bool = False) -> Path:
    """Return where files resin*.toml are looked for; it need not exist."""
    return Path(bpy.utils.extension_path_user(ROOT, path="materials", create=create))


def known() -> dict[str, Resin] | str:
    """Return the shop's own presets by name, or what is wrong with them, as a text."""
    place = folder()
    if not place.is_dir():
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
    return str(folder()) if folder().is_dir() else None


def _read(place: Path) -> dict[str, Resin] | str:
    from pourwright.errors import InputError
    from pourwright.shop.materials import read_materials
    from pourwright.shop.resin import resins

    try:
        generic, every = resins(), read_materials(place)
    except InputError as error:
        return f"{error}"
    return {name: resin for name, resin in every.items() if generic.get(name) != resin}
