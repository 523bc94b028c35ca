"""The log of pours beside the .blend file, and what was predicted where bubbles were found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import bpy

from ..stored import stored_plan

if TYPE_CHECKING:
    from pourwright.errors import Point
    from pourwright.files.log import PourLog


@dataclass(frozen=True)
class Shown:
    """A log as read, or why it cannot be."""

    log: PourLog | None
    error: str = ""


def path() -> Path | None:
    """Return where the log lies, None while the .blend file is not saved."""
    from pourwright.files.log import log_path

    return log_path(Path(bpy.data.filepath)) if bpy.data.filepath else None


def shown() -> Shown:
    """Return the log of the open file, read again only when the file has changed."""
    from pourwright.errors import InputError
    from pourwright.files.log import PourLog, read_log

    file = path()
    if file is None:
        return Shown(PourLog((), ()))
    try:
        state = file.stat()
        key = (str(file), state.st_mtime_ns, state.st_size)
    except OSError:
        key = (str(file), 0, 0)
    known = _known.get("log")
    if known is None or known[0] != key:
        try:
            found = Shown(read_log(file))
        except InputError as error:
            found = Shown(None, error.one_line())
        known = _known["log"] = (key, found)
    return known[1]


def near(scene: bpy.types.Scene, places_mm: Sequence[Point]) -> list[str]:
    """Return what the plan predicted at each place, in words; empty words without a plan."""
    from pourwright.shop.found import compare, predicted_places

    plan = stored_plan(scene)
    if plan is None:
        return [""] * len(places_mm)
    return [
        "Nothing was predicted here"
        if match.place is None
        else f"{match.place.name[0].upper()}{match.place.name[1:]}, {match.distance_mm:.1f} mm away"
        for match in compare(places_mm, predicted_places(plan)).matches
    ]


_known: dict[str, tuple[object, Shown]] = {}
