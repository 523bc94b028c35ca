"""Range checks of settings, shared by every room that takes numbers from people."""

from __future__ import annotations

import json
import reprlib
import tomllib
from collections.abc import Iterable
from numbers import Real
from typing import Any

from pourwright.errors import InputError

# Deeper keys take the parser time that grows with the square of their depth.
_MOST_DOTS = 200


def parse_toml(text: str) -> dict[str, Any]:
    """Return the tables of a TOML text; ValueError or RecursionError says why there are none."""
    for number, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > _MOST_DOTS and line.split("#")[0].count(".") > _MOST_DOTS:
            raise ValueError(f"more than {_MOST_DOTS} dots (at line {number})")
    return tomllib.loads(text)


def parse_json(data: bytes, **options: Any) -> Any:
    """Return what a JSON text says; ValueError or RecursionError says why it says nothing.

    Half of a character, which JSON can name and no file can hold, is refused. options : of
    `json.loads`.
    """
    found = json.loads(data.decode("utf-8"), **options)
    if b"\\u" in data:
        try:
            json.dumps(found, ensure_ascii=False).encode("utf-8")
        except UnicodeEncodeError as error:
            raise ValueError("it names half of a character") from error
    return found


def check_number(name: str, value: object, low: float, high: float) -> float:
    """Return `value` as a float if it is a number from `low` to `high`, both inclusive.

    `name` is what the user calls the setting, e.g. "vents.diameter_mm". Raises InputError that
    names it and says what is allowed; NaN, infinities, truth values and texts are refused.
    """
    hint = f"give a number from {low:g} to {high:g}"
    if not _is_within(value, low, high):
        raise InputError(f"{name} is {reprlib.repr(value)}", hint=hint)
    return float(value)  # type: ignore[arg-type]


def _is_within(value: Any, low: float, high: float) -> bool:
    is_number = isinstance(value, Real) and not isinstance(value, bool)
    # Comparing before converting: NaN fails it, and an integer too big for a float does too.
    return is_number and bool(low <= value <= high)


def check_switch(name: str, value: object) -> bool:
    """Return `value` if it is a truth value; else raise InputError that names the setting."""
    if not isinstance(value, bool):
        raise InputError(f"{name} is {reprlib.repr(value)}", hint="give true or false")
    return value


def check_text(name: str, value: object) -> str:
    """Return `value` if it is a text that is not blank; else raise InputError."""
    if not isinstance(value, str) or not value.strip():
        raise InputError(f"{name} is {reprlib.repr(value)}", hint="give a text in quotes")
    return value


def check_choice(name: str, value: object, choices: Iterable[str]) -> str:
    """Return `value` if it is one of `choices` (an iterable of texts); else raise InputError."""
    allowed = list(choices)
    if not isinstance(value, str) or value not in allowed:
        raise InputError(
            f"{name} is {reprlib.repr(value)}", hint="choose one of " + ", ".join(allowed)
        )
    return value


def check_direction(name: str, value: object) -> tuple[float, float, float]:
    """Return `value` as three floats that have a direction; else raise InputError.

    Any length will do, but components beyond 1e9 or all under 1e-9 are refused, since their
    squares lose digits.
    """
    hint = "give three numbers, not all zero, e.g. 0,0,-1"
    try:
        parts = list(value)  # type: ignore[call-overload]
    except TypeError:
        parts = []
    if len(parts) != 3 or not all(_is_within(part, -1e9, 1e9) for part in parts):
        raise InputError(f"{name} is {reprlib.repr(value)}", hint=hint)
    x, y, z = (float(part) for part in parts)
    if max(abs(x), abs(y), abs(z)) < 1e-9:
        raise InputError(f"{name} is ({x:g}, {y:g}, {z:g}), which points nowhere", hint=hint)
    return x, y, z


def check_table(name: str, value: object, allowed: Iterable[str]) -> dict[str, object]:
    """Return `value` if it is a table whose keys are all in `allowed`; else raise InputError.

    `name` is the table's name, or "" for the top of a file.
    """
    keys = list(allowed)
    if not isinstance(value, dict):
        raise InputError(f"{name} is {reprlib.repr(value)}", hint=f"make it a table: [{name}]")
    for key in value:
        if key not in keys:
            where = f"{name}.{key}" if name else str(key)
            raise InputError(f"{where} is not known", hint="known here are " + ", ".join(keys))
    return value
