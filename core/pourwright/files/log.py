"""The pour log: what happened at each pour, a line of JSON each, in a file beside the job.

The file only ever grows, by one write of one line that is brought to the disk. A machine that stops
in the middle of it leaves a torn last line; that is kept and reported, and the next entry begins on
a line of its own, so nothing written before or after it is lost.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from pourwright.checks import check_number, check_table, check_text, parse_json
from pourwright.errors import InputError, OutputError, Point

SCHEMA = 1
LOG_SUFFIX = ".pours.jsonl"
MAX_LOG_BYTES = 200_000_000
_MAX_LINE_BYTES = 1_000_000
_SIZE_MM = (0.0, 10_000.0)


@dataclass(frozen=True)
class Bubble:
    """A bubble found in a cast.

    at_mm : where, in the standing frame. diameter_mm : None where it was not measured.
    """

    at_mm: Point
    diameter_mm: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        try:
            x, y, z = (check_number("A bubble's place in mm", c, -1e7, 1e7) for c in self.at_mm)
        except (TypeError, ValueError):
            raise InputError("A bubble has no place", hint="give three numbers, mm") from None
        object.__setattr__(self, "at_mm", (x, y, z))
        if self.diameter_mm is not None:
            check_number("A bubble's diameter in mm", self.diameter_mm, *_SIZE_MM)


@dataclass(frozen=True)
class Pour:
    """What happened at one pour.

    when : date and time with its offset, ISO 8601. figure : what was cast. materials : what was
    used, by part ("resin", "part A batch", ...). temperature_c : of the room, None unknown.
    minutes : times that were taken, by step. casts : made. bubbles : found, of all casts.

    Raises InputError for numbers out of range and for a time that is none.
    """

    when: str
    figure: str
    materials: Mapping[str, str] = field(default_factory=dict)
    temperature_c: float | None = None
    minutes: Mapping[str, float] = field(default_factory=dict)
    casts: int = 1
    bubbles: tuple[Bubble, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        check_text("The time of a pour", self.when)
        try:
            datetime.fromisoformat(self.when)
        except ValueError:
            raise InputError(
                f"'{self.when}' is no date and time", hint="write it like 2026-11-25T14:30+00:00"
            ) from None
        check_text("What was cast", self.figure)
        if self.temperature_c is not None:
            check_number("The temperature in C", self.temperature_c, -50.0, 100.0)
        check_number("The number of casts", self.casts, 0, 100_000)
        texts = [self.note, *self.materials, *self.materials.values(), *self.minutes]
        if not all(isinstance(text, str) for text in texts):
            raise InputError("A note or a material is no text", hint="give a text in quotes")
        for step, minutes in self.minutes.items():
            check_number(f"The minutes of '{step}'", minutes, 0.0, 1e6)


@dataclass(frozen=True)
class Damaged:
    """A line that is no entry: its number from 1, its text as far as it can be read, and why."""

    line: int
    text: str
    why: str


@dataclass(frozen=True)
class PourLog:
    """The entries of a log, oldest first, and the lines that are none."""

    pours: tuple[Pour, ...]
    damaged: tuple[Damaged, ...]

    @property
    def casts(self) -> int:
        """Casts of all pours: what the mould has given so far."""
        return sum(p.casts for p in self.pours)


def log_path(job: Path) -> Path:
    """Return where the log of a job file, a plan or a .blend lies: beside it, by its name."""
    return job.with_name(job.stem + LOG_SUFFIX)


def append_pour(path: Path, pour: Pour) -> None:
    """Add one entry at the end of the log and bring it to the disk; the file is made if need be.

    What is there is never touched. Raises OutputError where it cannot be written.
    """
    line = json.dumps({"schema": SCHEMA, **asdict(pour)}, ensure_ascii=True, allow_nan=False)
    try:
        new = not path.exists()
        with path.open("ab+", buffering=0) as stream:
            if not stream.seekable():
                raise OutputError(f"{path} is no plain file", hint="choose another name")
            torn = False
            if stream.seek(0, os.SEEK_END) > 0:
                stream.seek(-1, os.SEEK_END)
                torn = stream.read(1) != b"\n"
            # In one write, so that two entries at once do not mix.
            data = b"\n" * torn + line.encode("ascii") + b"\n"
            if stream.write(data) != len(data):
                raise OutputError(f"Cannot write all of an entry to {path}", hint="free space")
            os.fsync(stream.fileno())
        if new:
            _sync_folder(path.parent)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise OutputError(f"Cannot write {path}: {reason}", hint="choose another place") from error


def read_log(path: Path) -> PourLog:
    """Return the log; a file that is not there is an empty one.

    Lines that are no entry, torn ones or those of a later schema, are reported and skipped.
    Raises InputError where the file cannot be read.
    """
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder", hint="give a pour log")
        if not path.exists():
            return PourLog((), ())
        if path.stat().st_size > MAX_LOG_BYTES:
            raise InputError(f"{path} is too big for a pour log", hint="begin a new one")
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"{path} cannot be read: {reason}") from error
    pours: list[Pour] = []
    damaged: list[Damaged] = []
    # Only the line feed ends a line: other separators may stand inside a note.
    for number, line in enumerate(data.split(b"\n"), start=1):
        if not line.strip():
            continue
        try:
            pours.append(_pour(line))
        except (InputError, ValueError, RecursionError) as error:
            why = error.one_line() if isinstance(error, InputError) else "torn or not JSON"
            damaged.append(Damaged(number, line[:200].decode("utf-8", "replace"), why))
    return PourLog(tuple(pours), tuple(damaged))


def _pour(line: bytes) -> Pour:
    if len(line) > _MAX_LINE_BYTES:
        raise InputError("The line is too long for an entry")
    data = parse_json(line)
    if not isinstance(data, dict):
        raise InputError("The line is no entry")
    if data.pop("schema", None) != SCHEMA:
        raise InputError("The entry was written by another version")
    names = ("when", "figure", "materials", "temperature_c", "minutes", "casts", "bubbles", "note")
    given: dict[str, Any] = check_table("", data, names)
    missing = [key for key in ("when", "figure") if key not in given]
    if missing:
        raise InputError(f"The entry lacks {', '.join(missing)}")
    given["bubbles"] = tuple(_bubble(b) for b in _list(given.get("bubbles", [])))
    for key in ("materials", "minutes"):
        if not isinstance(given.get(key, {}), dict):
            raise InputError(f"{key} is no table")
    return Pour(**given)


def _list(value: object) -> Sequence[Any]:
    if not isinstance(value, list):
        raise InputError("bubbles is no list")
    return value


def _bubble(data: object) -> Bubble:
    given: dict[str, Any] = check_table("bubbles", data, ("at_mm", "diameter_mm", "note"))
    return Bubble(given.get("at_mm", ()), given.get("diameter_mm"), str(given.get("note", "")))


def _sync_folder(folder: Path) -> None:
    """Bring a new file's name to the disk, where the system can do that."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        return
    finally:
        os.close(handle)


def all_bubbles(pours: Iterable[Pour]) -> tuple[Bubble, ...]:
    """Return the bubbles of some pours, in order."""
    return tuple(b for p in pours for b in p.bubbles)
