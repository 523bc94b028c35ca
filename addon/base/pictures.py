"""Pictures of the kinds of base: loaded when they are first drawn, freed with the extension."""

from __future__ import annotations

from pathlib import Path

import bpy
import bpy.utils.previews

from ..choices import LABELS, number
from .kinds import KINDS

FOLDER = Path(__file__).resolve().parent / "pictures"

Item = tuple[str, str, str, int, int]

_loaded: bpy.utils.previews.ImagePreviewCollection | None = None
_items: list[Item] = []  # Blender keeps no texts of such lists: somebody else has to


def items() -> list[Item]:
    """Return the kinds of base as enum items, each with its picture."""
    global _loaded
    if _loaded is None:
        _loaded = bpy.utils.previews.new()
        for kind, title in KINDS.items():
            picture = _loaded.load(kind, str(FOLDER / f"{kind}.png"), "IMAGE")
            _items.append((kind, label(kind), title, picture.icon_id, number(kind)))
    return _items


def label(kind: str) -> str:
    """Return what a kind of base is called in menus."""
    return LABELS.get(kind, kind.replace("_", " ").title())


def forget() -> None:
    """Free the pictures, when the extension is disabled."""
    global _loaded
    _items.clear()
    if _loaded is not None:
        bpy.utils.previews.remove(_loaded)
        _loaded = None
