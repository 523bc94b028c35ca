"""The last plan, as the scene keeps it."""

from __future__ import annotations

import json
from typing import Any

import bpy

Json = dict[str, Any]


def stored_plan(scene: bpy.types.Scene) -> Json | None:
    """Return the data of the last plan, or None."""
    text = scene.pourwright.plan
    if not text:
        return None
    known = _parsed.get("plan")
    if known is None or known[0] != text:
        known = _parsed["plan"] = (text, parsed(text))
    return known[1]


def parsed(text: str) -> Json:
    """Return the data of a plan that was stored as a text."""
    return _LACKING | json.loads(text)


# What a plan that was saved by an earlier version does not have.
_LACKING: Json = {"gates": [], "socket": None, "mould": None, "silicone": None}
_parsed: dict[str, tuple[str, Json]] = {}
