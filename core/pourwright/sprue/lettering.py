"""Letters as outlines, and lines of text laid out from them.

The letters are baked into `fonts/lettering.npz` beforehand (see fonts/README.md), so that no font
library is needed where bases are made, and so that the thinnest line and gap of each is known.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from pourwright.errors import InputError
from pourwright.solid.mesh import Floats

# Least room between letters and lines, and from line to line, in em.
_APART_EM = 0.1
_LINE_EM = 1.3
_SPACES = {"\t": " ", "\u00a0": " ", "\u202f": " ", "\r": ""}


@dataclass(frozen=True, eq=False)
class Glyph:
    """One character in em: closed outlines (k, 2), outer ones anticlockwise, holes clockwise.

    advance : from its origin to the next one's. line, gap : its thinnest line and gap.
    """

    loops: tuple[Floats, ...]
    advance: float
    line: float
    gap: float


@dataclass(frozen=True, eq=False)
class Layout:
    """Text laid out in em about the middle of its own bounds.

    loops : outlines of all letters, none touching another. width, height : of the bounds.
    finest : thinnest line or gap of any of its letters.
    """

    loops: tuple[Floats, ...]
    width: float
    height: float
    finest: float


class Letters:
    """The baked letters."""

    def __init__(self) -> None:
        with (
            (files("pourwright.sprue") / "fonts" / "lettering.npz").open("rb") as stream,
            np.load(stream, allow_pickle=False) as data,
        ):
            self._data = {name: data[name] for name in data.files}
        self._units = float(self._data["units"])
        self._number = {int(code): i for i, code in enumerate(self._data["codes"])}
        self._loop_ends = np.cumsum(self._data["loop_counts"].astype(np.int64))
        self._point_ends = np.cumsum(self._data["point_counts"].astype(np.int64))
        self.capital = float(self._data["capital"]) / self._units

    @property
    def characters(self) -> str:
        """Every character there is, in the order of Unicode."""
        return "".join(chr(code) for code in self._number)

    def glyph(self, character: str) -> Glyph:
        """Return one character; InputError names it where there is none."""
        i = self._number.get(ord(character))
        if i is None:
            name = unicodedata.name(character, "without a name")
            raise InputError(
                f"There is no letter for {character!r} (U+{ord(character):04X}, {name})",
                hint="Latin, Greek and Cyrillic letters, digits and punctuation can be written",
            )
        loops = []
        first = self._loop_ends[i] - int(self._data["loop_counts"][i])
        for loop in range(first, self._loop_ends[i]):
            end = self._point_ends[loop]
            steps = self._data["steps"][end - int(self._data["point_counts"][loop]) : end]
            loops.append(np.cumsum(steps.astype(np.float64), axis=0) / self._units)
        numbers = (float(self._data[n][i]) / self._units for n in ("advances", "lines", "gaps"))
        return Glyph(tuple(loops), *numbers)


@lru_cache(maxsize=1)
def letters() -> Letters:
    """Return the baked letters, read once."""
    return Letters()


def lines_of(text: str) -> tuple[str, ...]:
    """Return the lines of a text, composed (Unicode NFC), without blanks round them."""
    for given, taken in _SPACES.items():
        text = text.replace(given, taken)
    lines = unicodedata.normalize("NFC", text).strip().split("\n")
    return tuple(" ".join(line.split()) for line in lines)


def lay_out(lines: tuple[str, ...]) -> Layout:
    """Lay lines of text out, each in the middle; InputError for a character there is none of."""
    loops: list[Floats] = []
    finest, base, foot = 0.3, 0.0, np.inf
    for number, line in enumerate(lines):
        made, line_finest = _line(line)
        finest = min(finest, line_finest)
        if number:
            base -= _LINE_EM
        if made:
            points = np.vstack(made)
            # Accents keep clear of what hangs down from the line above.
            base = min(base, foot - _APART_EM - float(points[:, 1].max()))
            foot = base + float(points[:, 1].min())
            middle = float(points[:, 0].min() + points[:, 0].max()) / 2
            loops += [loop + [-middle, base] for loop in made]
    if not loops:
        return Layout((), 0.0, 0.0, finest)
    low = np.min([loop.min(axis=0) for loop in loops], axis=0)
    high = np.max([loop.max(axis=0) for loop in loops], axis=0)
    centred = tuple(loop - (low + high) / 2 for loop in loops)
    return Layout(centred, float(high[0] - low[0]), float(high[1] - low[1]), finest)


def _line(line: str) -> tuple[list[Floats], float]:
    """Outlines of one line, and the thinnest line or gap in it."""
    placed: list[Floats] = []
    pen, end, finest = 0.0, -np.inf, 0.3
    for character in line:
        glyph = letters().glyph(character)
        if glyph.loops:
            start = pen + min(float(loop[:, 0].min()) for loop in glyph.loops)
            pen += max(0.0, end + _APART_EM - start)
            placed += [loop + [pen, 0.0] for loop in glyph.loops]
            end = max(float(loop[:, 0].max()) for loop in placed[-len(glyph.loops) :])
            finest = min(finest, glyph.line, glyph.gap)
        pen += glyph.advance
    return placed, finest
