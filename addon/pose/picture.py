"""A picture of the directions that were tried, coloured by their points.

A map shows a part of the sphere of directions as seen from outside, in Lambert's azimuthal
projection, which keeps areas: each place is a side of the figure, the one that faces up in the
pour. A search of more than half the sphere takes two maps, about the standing pose and about its
opposite. Colours, and what is up and right on a map, are those of the core's printed picture.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

# From good to bad, sRGB: even steps of lightness, light is good.
RAMP = (
    (0.984, 0.957, 0.812), (0.875, 0.843, 0.608), (0.682, 0.761, 0.576), (0.471, 0.659, 0.573),
    (0.290, 0.529, 0.569), (0.184, 0.392, 0.514), (0.133, 0.263, 0.412), (0.078, 0.110, 0.239),
)
NOT_TRIED = (0.35, 0.35, 0.35)
INK, PAPER, CHOSEN = (0.05, 0.05, 0.05), (1.0, 1.0, 1.0), (1.0, 0.55, 0.15)
AXES = {"X": (0.95, 0.25, 0.32), "Y": (0.52, 0.80, 0.15), "Z": (0.22, 0.55, 0.96)}
# Points beyond this share of all are as dark as it gets, for a few very bad directions would leave
# no colours for the others.
DARK_SHARE = 0.95
DISC_SHARE = 0.82  # of the picture's width; the axes' letters stand outside
GLYPH_SHARE = 62  # squares of a glyph over the picture
ON_RIM = 0.9  # length on the map of the axes that are named on its rim
NEAR_Y = 0.9  # beyond this Y cannot be at the top of the map
GLYPHS = {
    "0": "75557", "1": "26227", "2": "71747", "3": "71717", "4": "55711", "5": "74717",
    "6": "74757", "7": "71222", "8": "75757", "9": "75717", "X": "55255", "Y": "55222",
    "Z": "71247",
}


Vector = tuple[float, float, float]


@dataclass(frozen=True)
class Cap:
    """What a map shows: all directions within `reach` of the one in its middle.

    hole : up to this angle from the middle nothing was tried. Both in radians.
    """

    middle: Vector
    reach: float
    hole: float = 0.0

    @property
    def frame(self) -> tuple[Vector, Vector]:
        """The directions that lie to the right and at the top of the middle."""
        guide = (0.0, 0.0, 1.0) if abs(self.middle[1]) > NEAR_Y else (0.0, 1.0, 0.0)
        along = _dot_product(guide, self.middle)
        rest = [h - along * m for h, m in zip(guide, self.middle, strict=True)]
        length = math.hypot(*rest)
        x, y, z = (c / length for c in rest)
        a, b, c = self.middle
        return (y * c - z * b, z * a - x * c, x * b - y * a), (x, y, z)


def caps(axis: Vector, cone: float) -> tuple[Cap, ...]:
    """Return the maps that a search about `axis`, up to `cone` from it in radians, needs."""
    if cone <= math.pi / 2:
        return (Cap(axis, cone),)
    x, y, z = axis
    half = math.pi / 2
    return Cap(axis, half), Cap((-x, -y, -z), half, max(math.pi - cone, 0.0))


@dataclass(frozen=True)
class Mark:
    """A direction to mark: a disc with a number, or a cross where there is no text."""

    direction: Vector
    text: str = ""
    chosen: bool = False


def pack(directions: Sequence[Sequence[float]], scores: Sequence[float]) -> str:
    """Return directions and their points as one short text, in single precision."""
    import numpy as np

    table = np.column_stack([np.asarray(directions, float).reshape(-1, 3), scores])
    return base64.b64encode(table.astype("<f4").tobytes()).decode("ascii")


def unpack(text: str) -> tuple[Any, Any]:
    """Return directions (n, 3) and points (n,) from a packed text, float64."""
    import numpy as np

    table = np.frombuffer(base64.b64decode(text), dtype="<f4").reshape(-1, 4).astype(np.float64)
    return table[:, :3], table[:, 3]


def picture(sweep: str, cap: Cap, marks: Sequence[Mark], size: int) -> Any:
    """Return a map, (size, size, 4) sRGB with alpha, its first row at the bottom.

    sweep : packed directions and points. marks : in the order they are painted; those outside the
    cap are left out.
    """
    image = _map(sweep, cap, size).copy()
    middle, radius = size / 2.0, size * DISC_SHARE / 2.0
    unit = max(round(size / GLYPH_SHARE), 1)  # a square of a glyph
    rim = middle - 3.5 * unit
    for letter, axis in zip("XYZ", ((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0)), strict=True):
        right, top = (_dot_product(axis, along) for along in cap.frame)
        length = math.hypot(right, top)
        if length > ON_RIM:
            place = (middle + rim * right / length, middle + rim * top / length)
            _letters(image, letter, place, AXES[letter], unit)
    for mark in marks:
        x, y = _project(cap, mark.direction)
        if math.hypot(x, y) > 1.0 + 1e-6:
            continue
        place = (middle + radius * x, middle + radius * y)
        if mark.text:
            disc = unit * (3.6 if len(mark.text) == 1 else 4.6)
            _dot(image, place, disc + 1.0, INK)
            _dot(image, place, disc, CHOSEN if mark.chosen else PAPER)
            _letters(image, mark.text, place, INK, unit)
        else:
            _cross(image, place, 4.0 * unit, 1.5 * unit, INK)
            _cross(image, place, 3.3 * unit, 0.7 * unit, CHOSEN if mark.chosen else PAPER)
    return image


@lru_cache(maxsize=4)
def scale(sweep: str) -> tuple[float, float]:
    """Return the points that are painted lightest and darkest."""
    import numpy as np

    scores = unpack(sweep)[1]
    return float(scores.min()), float(np.quantile(scores, DARK_SHARE))


def _project(cap: Cap, direction: Vector) -> tuple[float, float]:
    """Return where a direction lies in a map, the rim at 1."""
    right, top = (_dot_product(direction, along) for along in cap.frame)
    across = math.hypot(right, top)
    away = math.atan2(across, _dot_product(direction, cap.middle))
    out = math.sin(away / 2.0) / math.sin(cap.reach / 2.0)
    if across < 1e-12:
        return (0.0, 0.0) if away < 1.0 else (0.0, -out)
    return out * right / across, out * top / across


def _dot_product(a: Vector, b: Vector) -> float:
    return sum(p * q for p, q in zip(a, b, strict=True))


@lru_cache(maxsize=4)
def _map(sweep: str, cap: Cap, size: int) -> Any:
    """Return the coloured map without marks."""
    import numpy as np

    directions, scores = unpack(sweep)
    radius = size * DISC_SHARE / 2.0
    steps = (np.arange(size) + 0.5 - size / 2.0) / radius
    x, y = np.meshgrid(steps, steps)
    out = np.hypot(x, y)
    # The rim is smoothed, so pixels a little outside need a colour too.
    inside = out < 1.0 + 1.0 / radius
    away = 2.0 * np.arcsin(np.minimum(out[inside], 1.0) * math.sin(cap.reach / 2.0))
    across = np.sin(away) / np.maximum(out[inside], 1e-12)
    right, top = (np.array(along) for along in cap.frame)
    looked = np.cos(away)[:, None] * cap.middle + across[:, None] * (
        x[inside][:, None] * right + y[inside][:, None] * top
    )
    best, worst = scale(sweep)
    # The root spreads the colours of those that are nearly the best.
    share = np.sqrt(np.clip((scores - best) / max(worst - best, 1e-9), 0.0, 1.0))
    stops = np.linspace(0.0, 1.0, len(RAMP))
    colors = np.stack([np.interp(share, stops, [c[i] for c in RAMP]) for i in range(3)], axis=1)
    image = np.zeros((size, size, 4))
    image[inside, :3] = colors[_nearest(directions, looked)]
    if cap.hole > 0.0:
        untried = np.flatnonzero(inside.ravel())[away < cap.hole]
        image.reshape(-1, 4)[untried, :3] = NOT_TRIED
    image[..., 3] = np.clip((1.0 - out) * radius + 0.5, 0.0, 1.0)
    return image


def _nearest(directions: Any, looked: Any) -> list[int]:
    """Return the number of the nearest direction for each that is looked for."""
    from mathutils.kdtree import KDTree

    tree = KDTree(len(directions))
    for i, direction in enumerate(directions):
        tree.insert(direction, i)
    tree.balance()
    return [tree.find(direction)[1] for direction in looked]


def _blend(image: Any, alpha: Any, color: Sequence[float]) -> None:
    """Paint a colour over the picture where alpha (size, size) says so."""
    a = alpha[..., None]
    image[..., :3] = image[..., :3] * (1.0 - a) + a * color
    image[..., 3] = image[..., 3] + (1.0 - image[..., 3]) * alpha


def _offsets(image: Any, place: Sequence[float]) -> tuple[Any, Any]:
    import numpy as np

    centres = np.arange(len(image)) + 0.5
    return np.meshgrid(centres - place[0], centres - place[1])


def _dot(image: Any, place: Sequence[float], radius: float, color: Sequence[float]) -> None:
    import numpy as np

    x, y = _offsets(image, place)
    _blend(image, np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0), color)


def _cross(
    image: Any, place: Sequence[float], reach: float, half: float, color: Sequence[float]
) -> None:
    """Paint a diagonal cross whose arms are 2 `half` wide."""
    import numpy as np

    x, y = _offsets(image, place)
    u, v = np.abs(x + y) / 2**0.5, np.abs(x - y) / 2**0.5
    across, along = np.minimum(u, v), np.maximum(u, v)
    inside = np.minimum(half - across, reach - along) + 0.5
    _blend(image, np.clip(inside, 0.0, 1.0), color)


def _letters(
    image: Any, text: str, place: Sequence[float], color: Sequence[float], unit: int
) -> None:
    """Paint letters of 3 by 5 squares, their middle at `place`."""
    left = round(place[0] - unit * (4 * len(text) - 1) / 2.0)
    top = round(place[1] + unit * 2.5)
    for i, letter in enumerate(text):
        for row, bits in enumerate(GLYPHS[letter]):
            for column in range(3):
                if int(bits) >> (2 - column) & 1:
                    x, y = left + (4 * i + column) * unit, top - (row + 1) * unit
                    image[y : y + unit, x : x + unit] = (*color, 1.0)
