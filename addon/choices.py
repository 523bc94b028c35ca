"""Items of drop-downs, taken from the core's own lists."""

from __future__ import annotations

import zlib
from collections.abc import Mapping

LABELS = {
    "as_is": "As It Stands",
    "open": "Open Pour",
    "pressure": "Pressure Pot",
    "under": "Under the Feet",
    "vacuum_pressure": "Vacuum + Pot",
}


def enum_items(titles: Mapping[str, str]) -> list[tuple[str, str, str, str, int]]:
    """Return enum items for names and their titles.

    A .blend file stores an item's number, so the number comes from the name and not from its
    place in a list that may grow.
    """
    return [
        (name, LABELS.get(name, name.replace("_", " ").title()), title, "NONE", number(name))
        for name, title in titles.items()
    ]


def number(name: str) -> int:
    """Return the lasting number of a name, from 1 to 2**31 - 1."""
    return zlib.crc32(name.encode("utf-8")) % (2**31 - 1) + 1
