"""What PLY and OBJ files must be before they are read: whole, and with numbers that can be meant.

The reader behind takes what its header counts and leaves the rest, or sets memory aside for any
number that stands there.
"""

from __future__ import annotations

import re
from pathlib import Path

from pourwright.errors import InputError

_HINT = "export the model again"
_MOST_HEADER_BYTES = 100_000
_FLOATS = {"float", "double", "float32", "float64"}


def check_ply(path: Path, data: bytes) -> None:
    """Raise InputError for a text PLY of other length than its header says or of whole numbers.

    What a binary one lacks its reader sees.
    """
    head, mark, body = data.partition(b"end_header")
    if not mark or len(head) > _MOST_HEADER_BYTES:
        raise InputError(f"{path} is no PLY file, or its header has no end", hint=_HINT)
    rows = [line.split() for line in head.decode("latin-1").splitlines()]
    if not any(row[:2] == ["format", "ascii"] for row in rows):
        return
    promised = 0
    for row in rows:
        if row[:1] == ["element"]:
            promised += int(row[2]) if len(row) == 3 and row[2].isdecimal() else 0
        if len(row) == 3 and row[0] == "property" and row[2] in "xyz" and row[1] not in _FLOATS:
            raise InputError(
                f"{path} says that {row[2]} is of type {row[1]}", hint="export it as float"
            )
    lines = body.partition(b"\n")[2].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    found = sum(1 for line in lines.split(b"\n") if line.strip())
    if found != promised:
        raise InputError(
            f"{path} has {found} lines of data, where its header promises {promised}", hint=_HINT
        )


def check_obj(path: Path, data: bytes) -> None:
    """Raise InputError for an OBJ whose faces name points far beyond those it can have."""
    most = data.count(b"\n") + data.count(b"\r") + 1
    beyond = re.compile(rb"(?:\A|[\n\r])[ \t]*f[ \t][^\n\r]*?(\d{%d,})" % (len(str(most)) + 1))
    far = beyond.search(data)
    if far is not None:
        raise InputError(
            f"{path}: a face names point {far[1][:20].decode()}, where there can be no more than "
            f"{most}",
            hint=_HINT,
        )
