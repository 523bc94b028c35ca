"""Tables of settings as TOML; light, for Blender writes its settings so at every run."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from pourwright.errors import InputError

_MOST_WHOLE = 2.0**53
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f",
            "\r": "\\r"}  # fmt: skip


def tables_text(tables: Mapping[str, Mapping[str, Any]]) -> str:
    """Return tables as TOML: numbers, truth values, texts, lists of these, and tables in tables.

    Names of tables and keys have to be bare keys, or such with dots between them. Raises
    InputError for a number or a text that a file cannot hold.
    """
    lines = [line for name, table in tables.items() for line in _lines(name, f"[{name}]", table)]
    return "\n".join(lines)


def _lines(name: str, header: str, table: Mapping[str, Any]) -> list[str]:
    """Return a table, and the tables in it after its own keys, a blank line after each."""
    own, deeper = [header], []
    for key, value in table.items():
        path = f"{name}.{key}"
        if isinstance(value, Mapping):
            deeper += _lines(path, f"[{path}]", value)
        elif isinstance(value, list | tuple) and value and isinstance(value[0], Mapping):
            for one in value:
                deeper += _lines(path, f"[[{path}]]", one)
        else:
            own.append(f"{key} = {value_text(path, value)}")
    return [*own, "", *deeper]


def value_text(path: str, value: Any) -> str:
    """Return a value as TOML writes it; path : what it is called in a complaint."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(path, value)
    if isinstance(value, Sequence):
        return "[" + ", ".join(value_text(path, one) for one in value) + "]"
    number = float(value)
    if not math.isfinite(number):
        raise InputError(f"{path} is {number}", hint="give a number that is finite")
    # 12.0 is written as 12; beyond this size not every whole number is one of these.
    whole = number.is_integer() and abs(number) < _MOST_WHOLE
    return str(int(number)) if whole else repr(number)


def _quoted(path: str, text: str) -> str:
    """Return a basic string. JSON's escapes would not do: it writes some characters as two."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise InputError(f"{path} holds half a character", hint="type that text again") from None
    return '"' + "".join(_ESCAPES.get(c) or _plain(c) for c in text) + '"'


def _plain(character: str) -> str:
    code = ord(character)
    return f"\\u{code:04X}" if code < 0x20 or code == 0x7F else character
