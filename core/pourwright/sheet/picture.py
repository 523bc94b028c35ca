"""Drawings of the master for the bench: as it stands, and as it is poured. SVG, sizes in mm."""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

import numpy as np

from pourwright.sheet.view import View, look, side_axes
from pourwright.solid.mesh import Floats, TriMesh

# Enlarged and reduced as drawings usually are (ISO 5455, and steps in between).
_SCALES = (10.0, 5.0, 4.0, 3.0, 2.0, 1.5, 1.25, 1.0, 1 / 1.25, 1 / 1.5, 1 / 2, 1 / 2.5, 1 / 3,
           1 / 4, 1 / 5, 1 / 7.5, 1 / 10, 1 / 15, 1 / 20, 1 / 50, 1 / 100, 1 / 1000)  # fmt: skip
_EDGE, _DIMENSION, _LABELS, _POUR = 1.0, 8.0, 8.5, 9.0
_LABEL_STEP, _TEXT = 3.0, 2.5
_RING = 1.3
_GAP_MM = 5.0
_FRONT, _RIGHT = np.array([0.0, -1.0, 0.0]), np.array([1.0, 0.0, 0.0])


@dataclass(frozen=True)
class Marks:
    """What is drawn on the master, in the standing frame, mm.

    vents : names and ways of points, of gates as well. pockets : high points of the air that the
    vents take out. left : those where air stays. cut_line : a way of points, empty for none.
    """

    vents: Sequence[tuple[str, Sequence[Sequence[float]]]] = ()
    pockets: Sequence[Sequence[float]] = ()
    left: Sequence[Sequence[float]] = ()
    cut_line: Sequence[Sequence[float]] = ()


@dataclass(frozen=True)
class Pictures:
    """Both drawings at one scale, as SVG elements, with what stands under them."""

    standing: str
    pour: str
    outlines: tuple[str, ...]
    scale: str
    side: str
    pour_height_mm: float


@dataclass
class _Drawing:
    """Elements in paper millimetres, with the view's place on the paper."""

    view: View
    scale: float
    left: float
    top: float
    parts: list[str] = field(default_factory=list)

    def to_paper(self, points: Iterable[Sequence[float]]) -> Floats:
        flat = self.view.at(np.asarray(list(points), dtype=np.float64).reshape(-1, 3))[:, :2]
        return self.flat_to_paper(flat)

    def flat_to_paper(self, flat: Floats) -> Floats:
        x = self.left + (flat[:, 0] - self.view.low[0]) * self.scale
        y = self.top + (self.view.high[1] - flat[:, 1]) * self.scale
        return np.stack([x, y], axis=1)

    def text(self, x: float, y: float, words: str, anchor: str = "middle", more: str = "") -> None:
        self.parts.append(
            f'<text x="{x:.2f}" y="{y:.2f}" font-size="{_TEXT}" text-anchor="{anchor}"{more}>'
            f"{words}</text>"
        )

    def line(self, points: Floats, width: float, more: str = "") -> None:
        self.parts.append(
            f'<path d="{_path(points)}" fill="none" stroke="#000" stroke-width="{width}" '
            f'stroke-linejoin="round"{more}/>'
        )

    def svg(self, width: float, height: float, title: str) -> str:
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" '
            f'height="{height:.2f}mm" viewBox="0 0 {width:.2f} {height:.2f}" role="img">'
            f"<title>{escape(title)}</title>"
            + "".join(self.parts)
            + "</svg>"
        )


def draw_master(
    mesh: TriMesh, up: Sequence[float], marks: Marks, width_mm: float, height_mm: float
) -> Pictures:
    """Draw the master standing and as poured, side by side within a width and height on paper.

    up : points up in the pour, in the standing frame. The side is the one of front and right that
    shows more; the scale is the same for both and the largest of a drawing's usual ones.
    """
    size = mesh.bounds_mm[1] - mesh.bounds_mm[0]
    towards, side = (_FRONT, "front") if size[0] >= size[1] else (_RIGHT, "right")
    standing = look(mesh, side_axes(np.array([0.0, 0.0, 1.0]), towards))
    pour = look(mesh, side_axes(np.asarray(up, dtype=np.float64), towards))
    across = width_mm - _DIMENSION - 2 * _LABELS - 4 * _EDGE - _GAP_MM
    down = height_mm - max(_DIMENSION, _POUR) - 2 * _EDGE
    wide = float(standing.size_mm[0] + pour.size_mm[0])
    tall = float(max(standing.size_mm[1], pour.size_mm[1]))
    fits = min(across / wide, down / tall)
    scale = next((s for s in _SCALES if s <= fits * (1 + 1e-9)), fits)
    back = look(mesh, side_axes(np.array([0.0, 0.0, 1.0]), -towards))
    return Pictures(
        standing=_standing(standing, scale),
        pour=_pour(pour, mesh, np.asarray(up, dtype=np.float64), scale, marks),
        outlines=tuple(_outline(view) for view in (standing, back)),
        scale=f"{scale:g}:1" if scale >= 1 else f"1:{1 / scale:.4g}",
        side=side,
        pour_height_mm=float(pour.size_mm[1]),
    )


def _body(drawing: _Drawing) -> None:
    """Draw the shape in grey and its outlines."""
    view = drawing.view
    (x0, y0), (x1, y1) = drawing.flat_to_paper(
        np.array([[view.corner[0], view.far[1]], [view.far[0], view.corner[1]]])
    )
    data = base64.b64encode(view.shade_png()).decode("ascii")
    drawing.parts.append(
        f'<image x="{x0:.2f}" y="{y0:.2f}" width="{x1 - x0:.2f}" height="{y1 - y0:.2f}" '
        f'preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'
    )
    runs = "".join(_path(drawing.flat_to_paper(line)) for line in view.lines)
    drawing.parts.append(
        f'<path class="outline" d="{runs}" fill="none" stroke="#000" stroke-width="0.18" '
        'stroke-linejoin="round"/>'
    )


def _standing(view: View, scale: float) -> str:
    w, h = view.size_mm * scale
    drawing = _Drawing(view, scale, _DIMENSION + _EDGE, _EDGE)
    _body(drawing)
    low = _EDGE + h
    _dimension(drawing, (_DIMENSION + _EDGE, low), (_DIMENSION + _EDGE + w, low),
               f"{view.size_mm[0]:.1f}")  # fmt: skip
    _dimension(drawing, (_DIMENSION + _EDGE, low), (_DIMENSION + _EDGE, _EDGE),
               f"{view.size_mm[1]:.1f}")  # fmt: skip
    return drawing.svg(w + _DIMENSION + 2 * _EDGE, h + _DIMENSION + 2 * _EDGE,
                       "The master as it stands")  # fmt: skip


def _dimension(
    drawing: _Drawing, start: tuple[float, float], end: tuple[float, float], words: str
) -> None:
    """Draw a dimension line below (level) or left of (upright) what runs from start to end."""
    level = abs(start[1] - end[1]) < abs(start[0] - end[0])
    out = np.array([0.0, 1.0]) if level else np.array([-1.0, 0.0])
    a, b = np.array(start), np.array(end)
    for point in (a, b):
        drawing.line(np.array([point + out, point + out * 5.2]), 0.12)
    drawing.line(np.array([a + out * 4.2, b + out * 4.2]), 0.18)
    along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
    for point, way in ((a, along), (b, -along)):
        tip, side = point + out * 4.2, np.array([-way[1], way[0]])
        wings = [tip, tip + way * 1.8 + side * 0.5, tip + way * 1.8 - side * 0.5]
        drawing.parts.append(f'<path d="{_path(np.array(wings))}Z" fill="#000"/>')
    x, y = (a + b) / 2 + out * 4.2
    if level:
        drawing.text(x, y + _TEXT + 0.6, words)
    else:
        turn = f' transform="rotate(-90 {x - 1:.2f} {y:.2f})"'
        drawing.text(x - 1, y, words, "middle", turn)


def _pour(view: View, mesh: TriMesh, up: Floats, scale: float, marks: Marks) -> str:
    w, h = view.size_mm * scale
    drawing = _Drawing(view, scale, _LABELS + _EDGE, _POUR + _EDGE)
    _body(drawing)
    for _, vent in marks.vents:
        points = np.asarray(vent, dtype=np.float64)
        middle = (points[:-1] + points[1:]) / 2
        dashes = ' stroke-dasharray="0.9 0.7"' if view.hidden(middle).mean() > 0.5 else ""
        drawing.line(drawing.to_paper(points), 0.4, f' class="vent"{dashes}')
    if len(marks.cut_line) > 1:
        drawing.line(drawing.to_paper(marks.cut_line), 0.7,
                     ' class="cut" stroke-dasharray="4 1 0.8 1"')  # fmt: skip
    for x, y in drawing.to_paper(marks.pockets):
        drawing.parts.append(
            f'<circle class="pocket" cx="{x:.2f}" cy="{y:.2f}" r="{_RING}" fill="#fff" '
            'fill-opacity="0.6" stroke="#000" stroke-width="0.3"/>'
        )
    for x, y in drawing.to_paper(marks.left):
        cross = "".join(
            f"M{x - s * 1.6:.2f} {y - 1.6:.2f}L{x + s * 1.6:.2f} {y + 1.6:.2f}" for s in (1, -1)
        )
        drawing.parts.append(
            f'<path class="left" d="{cross}" stroke="#fff" stroke-width="1.6"/>'
            f'<path d="{cross}" stroke="#000" stroke-width="0.8"/>'
        )
    _labels(drawing, [(name, vent[0]) for name, vent in marks.vents], w, h)
    mouth = drawing.to_paper([_mouth(mesh, up).tolist()])[0]
    x, tip = float(mouth[0]), _POUR + _EDGE - 0.4
    drawing.line(np.array([[x, tip - 6.0], [x, tip - 2.4]]), 0.9)
    wings = np.array([[x, tip], [x - 1.3, tip - 2.6], [x + 1.3, tip - 2.6]])
    drawing.parts.append(f'<path d="{_path(wings)}Z" fill="#000"/>')
    drawing.text(x + 2.2, tip - 3.2, "pour", "start", ' font-weight="bold"')
    return drawing.svg(w + 2 * (_LABELS + _EDGE), h + _POUR + 2 * _EDGE,
                       "The master as it is poured")  # fmt: skip


def _labels(
    drawing: _Drawing, feet: Sequence[tuple[str, Sequence[float]]], w: float, h: float
) -> None:
    """Number the vents in the margins, with a thin line to the foot of each."""
    if not feet:
        return
    places = drawing.to_paper(foot for _, foot in feet)
    order = np.argsort(places[:, 0], kind="stable")
    # About half on either side, so that neither margin is fuller than it has to be.
    half = int(np.clip((places[:, 0] < _LABELS + _EDGE + w / 2).sum(), len(feet) // 3,
                       len(feet) - len(feet) // 3))  # fmt: skip
    top, bottom = _POUR + _EDGE + 1.0, _POUR + _EDGE + h
    for side, numbers in ((-1, order[:half]), (1, order[half:])):
        numbers = numbers[np.argsort(places[numbers, 1], kind="stable")]
        heights = _spread(places[numbers, 1], top, bottom)
        near = _LABELS + _EDGE - 3.0 if side < 0 else _LABELS + _EDGE + w + 3.0
        crowded = len(heights) > 1 and float(np.diff(heights).min()) < 0.9 * _TEXT
        for turn, (number, y) in enumerate(zip(numbers, heights, strict=True)):
            foot = places[number]
            edge = near + side * (2.6 if crowded and turn % 2 else 0.0)
            drawing.line(np.array([[edge, y], foot]), 0.1)
            drawing.parts.append(f'<circle cx="{foot[0]:.2f}" cy="{foot[1]:.2f}" r="0.45"/>')
            drawing.text(edge + side * 0.7, y + _TEXT / 3, escape(feet[int(number)][0]),
                         "end" if side < 0 else "start")  # fmt: skip


def _spread(wanted: Floats, top: float, bottom: float) -> Floats:
    """Return heights in the same order, apart by a line of text where there is room for it."""
    if not len(wanted):
        return wanted
    step = min(_LABEL_STEP, (bottom - top) / max(len(wanted) - 1, 1))
    placed = np.array(wanted, dtype=np.float64)
    for i in range(1, len(placed)):
        placed[i] = max(placed[i], placed[i - 1] + step)
    placed[-1] = min(placed[-1], max(bottom, top + step * (len(placed) - 1)))
    for i in range(len(placed) - 2, -1, -1):
        placed[i] = min(placed[i], placed[i + 1] - step)
    return placed


def _mouth(mesh: TriMesh, up: Floats) -> Floats:
    """Return the middle of what is open on top, by area: the funnel far outweighs the vents."""
    up = up / np.linalg.norm(up)
    heights = mesh.vertices @ up
    top = heights.max() - 1e-3 * max(float(np.ptp(heights)), 1e-9)
    level = mesh.vertices[mesh.faces[(heights[mesh.faces] > top).all(axis=1)]]
    if not len(level):
        peak: Floats = mesh.vertices[int(np.argmax(heights))]
        return peak
    area = np.linalg.norm(np.cross(level[:, 1] - level[:, 0], level[:, 2] - level[:, 0]), axis=1)
    middle: Floats = np.average(level.mean(axis=1), axis=0, weights=area + 1e-12)
    return middle


def _outline(view: View) -> str:
    """Return a bare drawing to mark bubbles on; it takes the width that the page gives it."""
    w, h = view.size_mm
    unit = max(float(w), float(h)) / 40.0
    drawing = _Drawing(view, 1.0, unit, unit)
    runs = "".join(_path(drawing.flat_to_paper(line)) for line in view.lines)
    drawing.parts.append(
        f'<path d="{runs}" fill="none" stroke="#555" stroke-width="{unit * 0.16:.3f}" '
        'stroke-linejoin="round"/>'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="mark" role="img" '
        f'viewBox="0 0 {w + 2 * unit:.2f} {h + 2 * unit:.2f}"><title>To mark bubbles on</title>'
        + "".join(drawing.parts)
        + "</svg>"
    )


def _path(points: Floats) -> str:
    if not len(points) or not math.isfinite(float(points.sum())):
        return ""
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)
