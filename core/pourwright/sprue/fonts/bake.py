"""Make lettering.npz from a TrueType font; needs fontTools, which nothing else does.

    python core/pourwright/sprue/fonts/bake.py DejaVuSansCondensed.ttf core/.../lettering.npz

Letters for small moulds are not letters for paper: every outline is thickened by the same amount
all round, which strengthens the thin places most and rounds the corners, and dots and accents are
set apart from their letters, so that neither lines nor gaps get too thin to print. What is left
as the thinnest line and gap of each character is measured and stored with it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import Any

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.mesh import Floats

UNITS = 2048
# Tried in this order until lines and gaps are both as wide as they should be.
THICKENED_EM = (0.021, 0.017, 0.013, 0.009, 0.005)
GOOD_EM = 0.08
APART_EM = 0.095
_FLAT_EM = 0.0006
_SIMPLE_EM = 0.0009
_RANGES = (
    (0x20, 0x7E), (0xA1, 0xAC), (0xAE, 0x17F), (0x18F, 0x18F), (0x192, 0x192), (0x1A0, 0x1A1),
    (0x1AF, 0x1B0), (0x1CD, 0x1DC), (0x1E2, 0x1EF), (0x1F4, 0x1F5), (0x1F8, 0x21B), (0x21E, 0x21F),
    (0x226, 0x233), (0x259, 0x259), (0x386, 0x3CE), (0x401, 0x45F), (0x490, 0x491),
    (0x1E02, 0x1E1F), (0x1E20, 0x1EF9), (0x2010, 0x2015), (0x2018, 0x201E), (0x2020, 0x2022),
    (0x2026, 0x2026), (0x2030, 0x2030), (0x2032, 0x2033), (0x2039, 0x203A), (0x20AC, 0x20AC),
    (0x2116, 0x2116), (0x2122, 0x2122), (0x2190, 0x2193), (0x2212, 0x2212), (0x2605, 0x2605),
    (0x2640, 0x2642), (0x2665, 0x2665),
)  # fmt: skip


def main(source: str, target: str) -> None:
    """Bake the font in `source` and write it to `target`."""
    from fontTools.ttLib import TTFont  # type: ignore[import-not-found,import-untyped,unused-ignore]

    font = TTFont(source)
    names, em = font.getBestCmap(), font["head"].unitsPerEm
    codes, advances, lines, gaps, loop_counts, point_counts, points = [], [], [], [], [], [], []
    for code in (c for low, high in _RANGES for c in range(low, high + 1) if c in names):
        outline, wider, line, gap = best(flat_outline(font, names[code], em))
        codes.append(code)
        advances.append(font["hmtx"][names[code]][0] / em + wider)
        lines.append(line)
        gaps.append(gap)
        loop_counts.append(len(outline))
        for loop in outline:
            point_counts.append(len(loop))
            points.append(np.diff(loop, axis=0, prepend=[[0, 0]]))
    capital = max(float(p[:, 1].max()) for p in best(flat_outline(font, names[ord("H")], em))[0])
    np.savez_compressed(
        target,
        codes=np.array(codes, dtype=np.uint16),
        advances=np.round(np.array(advances) * UNITS).astype(np.int16),
        lines=np.floor(np.array(lines) * UNITS).astype(np.int16),
        gaps=np.floor(np.array(gaps) * UNITS).astype(np.int16),
        loop_counts=np.array(loop_counts, dtype=np.uint8),
        point_counts=np.array(point_counts, dtype=np.uint16),
        steps=np.vstack(points).astype(np.int16),
        capital=np.array(round(capital), dtype=np.int16),
        units=np.array(UNITS, dtype=np.int16),
    )


def flat_outline(font: Any, name: str, em: int) -> list[Floats]:
    """Return the closed outlines of a glyph, flattened, in em."""
    from fontTools.pens.recordingPen import (  # type: ignore[import-not-found,import-untyped,unused-ignore]
        DecomposingRecordingPen,
    )
    from fontTools.pens.basePen import decomposeQuadraticSegment  # type: ignore[import-not-found,import-untyped,unused-ignore] # fmt: skip # isort: skip

    glyphs = font.getGlyphSet()
    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    loops: list[Floats] = []
    run: list[Floats] = []
    for step, given in pen.value:
        if step == "moveTo":
            run = [np.array(given[0], dtype=np.float64)]
        elif step == "lineTo":
            run.append(np.array(given[0], dtype=np.float64))
        elif step == "qCurveTo":
            if given[-1] is None:  # a loop without any point on the curve
                start = (np.array(given[-2], dtype=np.float64) + given[0]) / 2
                run, given = [start], (*given[:-1], tuple(start))
            for control, end in decomposeQuadraticSegment(given):
                run += _curve(run[-1], np.array(control), np.array(end), em * _FLAT_EM)
        else:
            if len(run) > 1 and np.allclose(run[0], run[-1]):
                run.pop()
            loops.append(np.array(run) / em)
    return loops


def _curve(a: Floats, b: Floats, c: Floats, tolerance: float) -> list[Floats]:
    """Points of a quadratic curve after its start; the chords stay within the tolerance."""
    count = max(1, int(np.ceil(np.sqrt(np.linalg.norm(a - 2 * b + c) / 4 / tolerance))))
    return [
        (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t * t * c
        for t in np.linspace(0, 1, count + 1)[1:]
    ]


def best(outline: list[Floats]) -> tuple[list[Floats], float, float, float]:
    """Return the baked outline, by how much it is wider, and its finest line and gap, in em."""
    tried = []
    for thicker in THICKENED_EM:
        loops, wider = baked(outline, thicker)
        line, gap = (finest(loops, sign) for sign in (-1, 1))
        tried.append((loops, wider, line, gap))
        if min(line, gap) >= GOOD_EM:
            break
    return max(tried, key=lambda one: min(one[2], one[3]))


def baked(outline: list[Floats], thicker: float) -> tuple[list[Floats], float]:
    """Thicken an outline, set its parts apart, and return whole units and how much it widened."""
    if not outline:
        return [], 0.0
    # TrueType fills what runs clockwise.
    whole = boolean.offset_outlines([p[::-1] for p in outline], thicker)
    parts = _spread(_parts(whole))
    parts.sort(key=lambda p: float(p[0][:, 1].mean()))
    body = max(range(len(parts)), key=lambda i: _area(parts[i][0]))
    placed = {body: parts[body]}
    for order, way in ((range(body + 1, len(parts)), 1.0), (range(body - 1, -1, -1), -1.0)):
        shifted = 0.0
        for i in order:
            shifted = _shift_apart(parts[i], list(placed.values()), way, shifted)
            placed[i] = [loop + [0.0, way * shifted] for loop in parts[i]]
    loops = [loop for i in sorted(placed) for loop in placed[i]]
    # The room beside the letter stays as it was drawn.
    low, high = (
        getattr(np.vstack(loops)[:, 0], side)() - getattr(np.vstack(outline)[:, 0], side)()
        for side in ("min", "max")
    )
    loops = [np.round(_simple(loop - [low, 0.0]) * UNITS) for loop in loops]
    return loops, float(high - low)


def _spread(parts: list[list[Floats]]) -> list[list[Floats]]:
    """Move parts that stand side by side apart, each side as far."""
    parts = sorted(parts, key=lambda p: float(p[0][:, 0].mean()))
    for i in range(len(parts) - 1):
        left, right = parts[i], parts[i + 1]
        (_, ly0), (lx1, ly1) = left[0].min(axis=0), left[0].max(axis=0)
        (rx0, ry0), (_, ry1) = right[0].min(axis=0), right[0].max(axis=0)
        beside = min(ly1, ry1) - max(ly0, ry0) > 0.5 * min(ly1 - ly0, ry1 - ry0)
        if beside and rx0 > left[0][:, 0].mean() and lx1 < right[0][:, 0].mean():
            need = _shift_apart(right, [left], 0.0, 0.0) / 2
            parts[: i + 1] = [[q - [need, 0.0] for q in p] for p in parts[: i + 1]]
            parts[i + 1 :] = [[q + [need, 0.0] for q in p] for p in parts[i + 1 :]]
    return parts


def _shift_apart(
    part: list[Floats], others: list[list[Floats]], way: float, least: float
) -> float:
    """How far up (or down, `way` -1; or right, 0) a part must go to keep clear of others."""
    for shift in np.arange(least, 0.4, 0.0025):
        moved = [loop + ([0.0, way * shift] if way else [shift, 0.0]) for loop in part]
        grown = boolean.offset_outlines(moved, APART_EM)
        together = [loop for other in others for loop in other]
        before = sum(_area(p) for p in together) + sum(_area(p) for p in grown)
        after = sum(_area(p) for p in boolean.offset_outlines([*together, *grown]))
        if before - after < 1e-6:
            return float(shift)
    return least


def _parts(loops: list[Floats]) -> list[list[Floats]]:
    """Group loops into parts: an outer outline and the holes in it."""
    outer = [loop for loop in loops if _area(loop) > 1e-6]
    parts = [[loop] for loop in outer]
    for hole in (loop for loop in loops if _area(loop) < -1e-6):
        inside = [i for i, loop in enumerate(outer) if _holds(loop, hole[0])]
        parts[min(inside, key=lambda i: _area(outer[i]))].append(hole)
    return parts


def _holds(loop: Floats, point: Floats) -> bool:
    a, b = loop, np.roll(loop, -1, axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = a[:, 0] + (point[1] - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    return bool((((a[:, 1] > point[1]) != (b[:, 1] > point[1])) & (x > point[0])).sum() % 2)


def _area(loop: Floats) -> float:
    x, y = loop.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def _simple(loop: Floats) -> Floats:
    """Leave out points that lie on the way between others (Ramer, Douglas, Peucker)."""
    far = int(np.argmax(((loop - loop[0]) ** 2).sum(axis=1)))
    closed = np.vstack([loop, loop[:1]])
    keep = np.zeros(len(closed), dtype=bool)
    keep[[0, far, -1]] = True
    stack = [(0, far), (far, len(closed) - 1)]
    while stack:
        a, b = stack.pop()
        if b - a < 2:
            continue
        along = closed[b] - closed[a]
        off = closed[a + 1 : b] - closed[a]
        away = np.abs(along[0] * off[:, 1] - along[1] * off[:, 0]) / np.linalg.norm(along)
        worst = int(np.argmax(away))
        if away[worst] > _SIMPLE_EM:
            middle = a + 1 + worst
            keep[middle] = True
            stack += [(a, middle), (middle, b)]
    return closed[:-1][keep[:-1]]


def finest(outline: list[Floats], sign: int) -> float:
    """Width in em of the finest line (sign -1) or gap (+1), at most 0.3.

    A line is as wide as the disc that still wears it through when all edges draw back by its
    radius; a gap, as the disc that closes it when all edges grow. So sharp ends do not count.
    """
    if not outline:
        return 0.3
    loops = [loop / UNITS for loop in outline]
    whole = _counts(boolean.offset_outlines(loops))
    widths = np.arange(0.005, 0.3, 0.005)
    first = next(
        (w for w in widths if _counts(boolean.offset_outlines(loops, sign * w / 2)) != whole), None
    )
    if first is None:
        return 0.3
    low, high = float(first) - 0.005, float(first)
    for _ in range(6):
        middle = (low + high) / 2
        same = _counts(boolean.offset_outlines(loops, sign * middle / 2)) == whole
        low, high = (middle, high) if same else (low, middle)
    return low


def _counts(loops: Iterable[Floats]) -> tuple[int, int]:
    areas = [_area(loop) for loop in loops]
    return sum(a > 1e-5 for a in areas), sum(a < -1e-5 for a in areas)


if __name__ == "__main__":
    main(*sys.argv[1:])
