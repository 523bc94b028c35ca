"""The air pockets of the list as arrays, read at every drawing and kept while they are the same."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from ..bridge import mm_per_unit
from ..colors import MATTERS, SEALED, VANISHES, VENTED


@dataclass(frozen=True, eq=False)
class Pockets:
    """places : (n, 3) float32 in Blender units. bubbles : (n,) float32, the diameter of what is
    left in the cast in Blender units, 0 where a vent drains it. kinds : (n,) numbers of KINDS.
    """

    places: Any
    bubbles: Any
    kinds: Any

    def count(self, kind: int) -> int:
        """Return how many pockets are of a kind."""
        return int((self.kinds == kind).sum())


_known: dict[int, tuple[Any, Pockets]] = {}


def pockets_of(scene: bpy.types.Scene) -> Pockets | None:
    """Return the pockets, the very same object while nothing about them changed."""
    import numpy as np

    rows = scene.pourwright.air.pockets
    if not rows:
        return None
    # A tenth of a millisecond for hundreds of rows; whatever changes them, undo too, is seen.
    places = np.empty(3 * len(rows), dtype=np.float32)
    bubbles = np.empty(len(rows), dtype=np.float32)
    flags = np.empty((3, len(rows)), dtype=bool)
    rows.foreach_get("place_mm", places)
    rows.foreach_get("bubble_mm", bubbles)
    for name, flag in zip(("matters", "vented", "sealed"), flags, strict=True):
        rows.foreach_get(name, flag)
    scale = mm_per_unit(scene)
    key = (places.tobytes(), bubbles.tobytes(), flags.tobytes(), scale)
    known = _known.get(scene.session_uid)
    if known is not None and known[0] == key:
        return known[1]
    matters, vented, sealed = flags
    kinds = np.select([sealed, vented, matters], [SEALED, VENTED, MATTERS], VANISHES)
    made = Pockets(
        (places / scale).reshape(-1, 3), np.where(vented, 0.0, bubbles / scale), kinds
    )
    _known[scene.session_uid] = (key, made)
    return made


def forget() -> None:
    """Drop what is kept."""
    _known.clear()
