"""What all JSON results share: the schema's number, rounding, and how it is written."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from pourwright.errors import GeometryError, Point
from pourwright.shop.process import Process

SCHEMA = 1
PA_PER_KPA = 1000.0
_LENGTH_DECIMALS = 6
_DIRECTION_DECIMALS = 12
_ANGLE_DECIMALS = 4
_DIGITS = 12

Json = dict[str, Any]


def to_json(data: object) -> bytes:
    """Return strict JSON, UTF-8, indented; GeometryError for a number that is not finite."""
    try:
        written = json.dumps(data, indent=2, allow_nan=False)
    except ValueError as error:
        raise GeometryError(
            "A result is not a finite number", hint="check the model for extreme coordinates"
        ) from error
    return (written + "\n").encode("ascii")


def process_data(process: Process) -> Json:
    """Return a process with all that it says of trapped air."""
    return {
        "residual_factor": number(process.residual_factor),
        "visible_defect_mm": length(process.visible_defect_mm),
        "name": text(process.name),
        "title": text(process.title),
        "trap_kpa_absolute": number(process.trap_pa / PA_PER_KPA),
        "cure_kpa_absolute": number(process.cure_pa / PA_PER_KPA),
    }


def length(value: float) -> float:
    """Return mm, or anything of their size, to a millionth."""
    return round(float(value), _LENGTH_DECIMALS) + 0.0  # + 0.0 turns -0.0 into 0.0


def angle(value: float) -> float:
    """Return degrees to a ten-thousandth."""
    return round(float(value), _ANGLE_DECIMALS) + 0.0


def point(place: Iterable[float]) -> list[float]:
    """Return a point or a size, mm."""
    return [length(c) for c in place]


def direction(up: Point) -> list[float]:
    """Return a unit vector, or any direction of its size."""
    return [round(float(c), _DIRECTION_DECIMALS) + 0.0 for c in up]


def number(value: float) -> float:
    """Round to 12 digits: tiny pockets keep theirs, and sums still come out."""
    return float(f"{float(value):.{_DIGITS}g}")


def text(value: str) -> str:
    """Replace what came out of a file name that is no Unicode, for JSON cannot carry it."""
    return value.encode("utf-8", "replace").decode("utf-8")
