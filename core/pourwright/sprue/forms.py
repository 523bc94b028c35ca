"""Outlines and solids that bases are put together from.

Bodies are unions of convex hulls wherever they can be. A convex piece poured upside down fills
without trapping air, for every point of it sees its lowest point (in the standing frame) along a
line that never turns back. So does a union of such pieces in which the lowest point of each lies
in another one nearer to the pour opening, down to the opening itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, Ints, TriMesh

SEGMENTS = 96
# Overlap of pieces that are united, so that they never merely touch.
OVERLAP_MM = 0.5
_CORNER_STEPS = 12
_ROUNDING_STEPS = 5

Outline = Callable[[float], Floats]
"""Outline (k, 2) of a body, grown by so many mm."""


def circle(radius: float, count: int = SEGMENTS, x: float = 0.0, y: float = 0.0) -> Floats:
    """Regular polygon with corners on a circle, (count, 2), anticlockwise from +X."""
    angle = np.arange(count) * (2 * np.pi / count)
    return np.stack([x + radius * np.cos(angle), y + radius * np.sin(angle)], axis=1)


def rectangle(
    half_x: float,
    half_y: float,
    radius: float = 0.0,
    x: float = 0.0,
    y: float = 0.0,
    steps: int = _CORNER_STEPS,
) -> Floats:
    """Rectangle with rounded corners, (k, 2), anticlockwise; the radius gives way to the size."""
    radius = min(radius, half_x, half_y)
    inner = np.array([half_x - radius, half_y - radius])
    turn = np.linspace(0, np.pi / 2, steps + 1 if radius > 0 else 1)
    corners = []
    for quarter, sign in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        angle = turn + quarter * np.pi / 2
        arc = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        corners.append(arc + inner * sign + [x, y])
    return np.vstack(corners)


def at(outline: Floats, z: float | Floats) -> Floats:
    """Points (k, 3) of an outline at a height."""
    return np.column_stack([outline, np.broadcast_to(z, len(outline))])


def rounded_profile(height: float, draft_deg: float, rounding: float) -> list[tuple[float, float]]:
    """Growth and height of the rings of a drafted side with a rounded upper edge, bottom first.

    The side, prolonged to the top, meets it at growth 0. The rounding touches side and top.
    """
    lean = np.radians(draft_deg)
    foot = (height * float(np.tan(lean)), 0.0)
    if rounding <= 0:
        return [foot, (0.0, height)]
    middle = rounding * (np.tan(lean) - 1 / np.cos(lean))
    turn = np.linspace(lean, np.pi / 2, _ROUNDING_STEPS + 1)
    arc = zip(
        middle + rounding * np.cos(turn), height - rounding + rounding * np.sin(turn), strict=True
    )
    return [foot, *((float(g), float(z)) for g, z in arc)]


def fitting_rounding(wanted: float, height: float, narrowest: float) -> float:
    """Return the rounding a body has room for: not half its height, nor a third of its width."""
    return min(wanted, 0.45 * height, narrowest / 3)


def rings(outline: Outline, profile: Sequence[tuple[float, float]], lift: float = 0.0) -> Floats:
    """Points of an outline grown and placed as a profile says, (k, 3)."""
    return np.vstack([at(outline(growth), z + lift) for growth, z in profile])


def hull(name: str, *points: Floats) -> TriMesh:
    """Convex body over sets of points, (k, 3) each."""
    return boolean.convex_hull(np.vstack(points), name)


def loft(levels: Sequence[Floats], name: str, flat: tuple[int, int] = (0, 1)) -> TriMesh:
    """Closed body through rings of equally many points, (k, 3) each, with both ends filled.

    Rings run anticlockwise seen from the last one, which the side grows towards. flat : the two
    axes in which the first and last ring are seen to be filled.
    """
    count = len(levels[0])
    i = np.arange(count)
    j = np.roll(i, -1)
    faces: list[Ints] = []
    for level in range(len(levels) - 1):
        low, high = level * count, (level + 1) * count
        faces.append(np.column_stack([low + i, low + j, high + j]))
        faces.append(np.column_stack([low + i, high + j, high + i]))
    first, last = levels[0][:, list(flat)], levels[-1][:, list(flat)]
    faces.append(boolean.triangulate([first])[:, ::-1])
    faces.append(boolean.triangulate([last]) + (len(levels) - 1) * count)
    return TriMesh(np.vstack(levels), np.vstack(faces).astype(np.int64), name)


def prism(loops: Sequence[Floats], low: float, high: float, name: str) -> TriMesh:
    """Upright body over plane outlines that do not cross: outer ones anticlockwise, holes not."""
    flat = np.vstack(loops)
    n = len(flat)
    lid = boolean.triangulate(loops)
    i = np.arange(n)
    ends = np.cumsum([len(p) for p in loops])
    j = i + 1
    j[ends - 1] = ends - [len(p) for p in loops]
    faces = [
        lid[:, ::-1],
        lid + n,
        np.column_stack([i, j, j + n]),
        np.column_stack([i, j + n, i + n]),
    ]
    return TriMesh(np.vstack([at(flat, low), at(flat, high)]), np.vstack(faces), name)


def box(low: Sequence[float], high: Sequence[float]) -> TriMesh:
    """Box between two corners."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    return prism([np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], dtype=np.float64)], z0, z1,
                 "box")  # fmt: skip


def drain(
    outline: Floats, ring: Floats, depth: float, *, inset: float = 0.0
) -> tuple[Floats, ...]:
    """Points of a crowned underside: an outline at height 0 and the neck's ring below it.

    inset : how far the body above leans in over OVERLAP_MM of height; with it comes a lid that
    reaches up into the body, so that the two overlap.
    """
    middle = ring.mean(axis=0)
    parts = [at(outline, 0.0), at(ring, -depth)]
    if inset > 0:
        away = outline - middle
        reach = np.linalg.norm(away, axis=1)
        shrunk = middle + away * ((reach - inset) / reach)[:, None]
        parts.append(at(shrunk, OVERLAP_MM))
    return tuple(parts)


def inscribed_radius(outline: Floats, point: Floats) -> float:
    """Distance from a point to the nearest edge of an outline; negative outside it."""
    a, b = outline, np.roll(outline, -1, axis=0)
    along = b - a
    length = (along**2).sum(axis=1)
    share = np.clip(((point - a) * along).sum(axis=1) / np.maximum(length, 1e-300), 0, 1)
    near = float(np.linalg.norm(a + share[:, None] * along - point, axis=1).min())
    crosses = (a[:, 1] > point[1]) != (b[:, 1] > point[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        x = a[:, 0] + (point[1] - a[:, 1]) * along[:, 0] / along[:, 1]
    inside = bool((crosses & (x > point[0])).sum() % 2)
    return near if inside else -near


def area_mm2(outline: Floats) -> float:
    """Area inside a closed outline (k, 2), whichever way it runs."""
    x, y = outline.T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def convex_outline(points: Floats) -> Floats:
    """Corners of the convex hull of plane points, (k, 2), anticlockwise (Andrew's chains)."""
    order = np.unique(points, axis=0)
    half: list[list[Floats]] = []
    for run in (order, order[::-1]):
        chain: list[Floats] = []
        for p in run:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], p) <= 0:
                chain.pop()
            chain.append(p)
        half.append(chain[:-1])
    return np.array(half[0] + half[1])


def _turn(a: Floats, b: Floats, c: Floats) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
