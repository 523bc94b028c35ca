"""The sphere of directions as a picture: SVG, self-contained, to print and pin above a bench.

Each point of a disc is a side of the figure, the one that faces up while resin is poured. A disc
shows half of the sphere, or the cone that was tried, in Lambert's equal-area projection (J. H.
Lambert, 1772, from memory), so that no direction looks larger than another. Lightness alone tells
good from bad: light is good.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np
from scipy.spatial import Voronoi

from pourwright.pose.model import Pose, PoseReport
from pourwright.solid.mesh import Floats

# From light yellow through green and blue to near black: even steps of lightness, and along the
# axis from yellow to blue that the common kinds of colour blindness keep.
RAMP = ("#fbf4cf", "#dfd79b", "#aec293", "#78a892", "#4a8791", "#2f6483", "#224369", "#141c3d")
_INK, _FAINT, _LINE = "#1a1a1a", "#4d4d4d", "#000000"
_WIDTH, _HEIGHT = 1120, 792  # A4 across
_RADIUS, _MIDDLE_Y = 185.0, 346.0
_LEFT_X, _RIGHT_X, _ONLY_X = 275.0, 730.0, 508.0
# Sides of the figure in Blender's words: its front view looks along +Y.
_SIDES = (
    ((0.0, 0.0, -1.0), "underside (-Z)"),
    ((0.0, 0.0, 1.0), "top (+Z)"),
    ((0.0, -1.0, 0.0), "front (-Y)"),
    ((0.0, 1.0, 0.0), "back (+Y)"),
    ((1.0, 0.0, 0.0), "right (+X)"),
    ((-1.0, 0.0, 0.0), "left (-X)"),
)
_RINGS_DEG = (5.0, 10.0, 20.0, 30.0, 45.0, 60.0, 90.0)
_FAR = 30.0  # of the points that close the outermost cells, in radii
_RANKED = 8
_TOLD_APART = 0.9  # share of the sweep that the classes of points reach


@dataclass(frozen=True, eq=False)
class _Disc:
    """One disc: rows of `axes` are its right, its up, and the direction in its middle.

    reach_deg : angle from the middle to the rim. x : of its middle on the page.
    """

    axes: Floats
    reach_deg: float
    x: float

    def project(self, directions: Floats) -> Floats:
        """Return page coordinates, (n, 2), of (n, 3) unit vectors."""
        right, up, towards = (np.atleast_2d(directions) @ self.axes.T).T
        # Lambert: the distance from the middle goes with 2 sin(angle / 2).
        stretch = np.sqrt(2.0 / np.maximum(1.0 + towards, 1e-6)) * self.radius(90.0)
        stretch /= math.sqrt(2.0)
        return np.stack([self.x + stretch * right, _MIDDLE_Y - stretch * up], axis=1)

    def radius(self, angle_deg: float) -> float:
        """Return the radius of a ring at an angle from the middle."""
        full = math.sin(math.radians(self.reach_deg) / 2.0)
        return _RADIUS * math.sin(math.radians(angle_deg) / 2.0) / full

    def angle_deg(self, directions: Floats) -> Floats:
        """Return angles from the middle, (n,)."""
        towards = np.atleast_2d(directions) @ self.axes[2]
        angle: Floats = np.degrees(np.arccos(np.clip(towards, -1.0, 1.0)))
        return angle


@dataclass(frozen=True)
class _Scale:
    """Classes of points above the best; finer near it, the last one open.

    limits : where a class ends and the next one begins, points above the best.
    """

    best: float
    limits: tuple[float, ...]

    @staticmethod
    def over(best: float, scores: Floats) -> _Scale:
        """Return limits of the series 1, 2, 5, 10 that tell most of the scores apart."""
        far = max(float(np.quantile(scores, _TOLD_APART)) - best, 1e-3 * max(abs(best), 1.0))
        steps = [m * 10.0**e for e in range(-9, 12) for m in (1.0, 2.0, 5.0)]
        last = next(i for i, step in enumerate(steps) if step >= far)
        limits = steps[last - len(RAMP) + 2 : last + 1]
        reached = sum(limit < float(scores.max()) - best for limit in limits)
        return _Scale(best, tuple(limits[: max(reached, 1)]))

    def colours(self, scores: Floats) -> list[str]:
        """Return the colour of each of (n,) points."""
        return [RAMP[i] for i in np.searchsorted(self.limits, scores - self.best, side="right")]

    def names(self) -> list[str]:
        """Return what the classes hold, in words."""
        names = [f"under {self.limits[0]:g}"]
        pairs = zip(self.limits, self.limits[1:], strict=False)
        names += [f"{a:g} to {b:g}" for a, b in pairs]
        return [*names, f"over {self.limits[-1]:g}"]


def pose_svg(report: PoseReport, name: str) -> bytes:
    """Return the picture as SVG 1.1, UTF-8; `name` is what the figure is called."""
    title = f"Which way up: {_short(name, 50)}"
    scale = _Scale.over(min(p.score for p in report.poses), report.scores)
    discs = _discs(report)
    body = [
        f"<rect width='{_WIDTH}' height='{_HEIGHT}' fill='white'/>",
        _text(40, 50, title, 26, bold=True),
        _text(40, 78, _explained(report), 15),
        _text(40, 99, _how(report), 13, _FAINT),
    ]
    for number, disc in enumerate(discs):
        body += _cells(report, disc, scale, number)
        body += _net(report, disc, number)
    for disc in discs:
        body += _marks(report, disc)
    body += _legend(scale)
    body += _ranking(report)
    head = (
        "<?xml version='1.0' encoding='UTF-8'?>\n"
        "<svg xmlns='http://www.w3.org/2000/svg' version='1.1' width='297mm' height='210mm' "
        f"viewBox='0 0 {_WIDTH} {_HEIGHT}' font-family='Helvetica, Arial, sans-serif'>\n"
        f"<title>{_xml(title)}</title>\n"
    )
    return (head + "\n".join(body) + "\n</svg>\n").encode("utf-8")


def _explained(report: PoseReport) -> str:
    shown = (
        "The discs are the two halves of all directions."
        if report.settings.cone_deg > 90.0
        else "The disc holds the directions that were asked for."
    )
    return (
        "Each place is a side of the figure: the one that faces up while resin is poured. "
        f"Light is good. {shown}"
    )


def _how(report: PoseReport) -> str:
    process = report.process
    return (
        f"{_short(process.title, 60)}; bubbles over {process.visible_defect_mm:g} mm count. "
        f"{len(report.directions)} directions tried, each cell is one; "
        "the best were searched more closely."
    )


def _discs(report: PoseReport) -> list[_Disc]:
    """Return the disc about the axis and, unless that holds all of the cone, the one behind."""
    axis = np.array(report.standing.up)
    # Paper's up: the figure's back or, seen along that, its top; turned square to the axis.
    helper = np.array([0.0, 1.0, 0.0]) if abs(axis[1]) < 0.9 else np.array([0.0, 0.0, 1.0])
    up = helper - (helper @ axis) * axis
    up /= np.linalg.norm(up)
    right = np.cross(up, axis)
    cone = report.settings.cone_deg
    if cone <= 90.0:
        return [_Disc(np.stack([right, up, axis]), max(cone, 1.0), _ONLY_X)]
    return [
        _Disc(np.stack([right, up, axis]), 90.0, _LEFT_X),
        _Disc(np.stack([-right, up, -axis]), 90.0, _RIGHT_X),
    ]


def _cells(report: PoseReport, disc: _Disc, scale: _Scale, number: int) -> list[str]:
    """Return a cell round each direction tried, cut off at the disc's rim."""
    near = np.flatnonzero(disc.angle_deg(report.directions) < min(disc.reach_deg + 40.0, 150.0))
    points = disc.project(report.directions[near])
    turn = np.arange(8) * math.pi / 4
    far = np.stack([disc.x + _FAR * _RADIUS * np.cos(turn),
                    _MIDDLE_Y + _FAR * _RADIUS * np.sin(turn)], axis=1)  # fmt: skip
    diagram = Voronoi(np.vstack([points, far]))
    colours = scale.colours(report.scores[near])
    clip = f"disc{number}"
    shapes = [
        f"<clipPath id='{clip}'><circle cx='{disc.x:g}' cy='{_MIDDLE_Y:g}' r='{_RADIUS:g}'/>"
        f"</clipPath>\n<g clip-path='url(#{clip})' stroke-width='0.7'>"
    ]
    for i, colour in enumerate(colours):
        corners = diagram.vertices[diagram.regions[diagram.point_region[i]]]
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
        shapes.append(f"<polygon points='{path}' fill='{colour}' stroke='{colour}'/>")
    left_out = 180.0 - report.settings.cone_deg
    if number == 1 and left_out > 0.0:
        shapes.append(_circle(disc, disc.radius(left_out), fill="white"))
        below = min(60.0, disc.radius(left_out) / 2)
        shapes.append(_text(disc.x, _MIDDLE_Y + below, "not tried", 14, _FAINT, "middle"))
    shapes.append("</g>")
    return shapes


def _net(report: PoseReport, disc: _Disc, number: int) -> list[str]:
    """Return the rim, rings of equal tilt, and the figure's sides in words."""
    shapes = []
    left_out = 180.0 - report.settings.cone_deg if number == 1 else 0.0
    rings = [
        r
        for r in _RINGS_DEG
        if left_out < r < disc.reach_deg and disc.radius(r) > 0.3 * _RADIUS
    ]
    for ring in rings[-3:]:
        radius = disc.radius(ring)
        shapes.append(_circle(disc, radius, dash="3 4"))
        tilt = ring if number == 0 else 180.0 - ring
        at = disc.x + 0.5 * radius, _MIDDLE_Y + 0.87 * radius + 4
        shapes.append(_text(*at, f"{tilt:g}°", 11, _INK, "middle", halo=True))
    shapes.append(_circle(disc, _RADIUS, width=1.6))
    for side, name in _SIDES:
        direction = np.array(side)
        angle = float(disc.angle_deg(direction)[0])
        if angle > disc.reach_deg + 0.5:
            continue
        x, y = (float(c) for c in disc.project(direction)[0])
        if math.hypot(x - disc.x, y - _MIDDLE_Y) > 0.93 * _RADIUS:
            if number == 0 or x > disc.x - 0.4 * _RADIUS:  # the first disc names what both touch
                shapes.append(_rim_text(disc, x, y, name))
            continue
        shapes.append(
            f"<path d='M{x - 5:.1f} {y:.1f}h10M{x:.1f} {y - 5:.1f}v10' stroke='{_LINE}' "
            "stroke-width='1.2'/>"
        )
        below = 36 if angle < 1.0 and number == 0 else 26
        shapes.append(_text(x, y + below, name, 13, _INK, "middle", halo=True))
    middle = _first_words(report) if number == 0 else "that turned right over"
    shapes.append(
        _text(disc.x, _MIDDLE_Y + _RADIUS + 40, f"Middle: {middle}, {_facing(disc)}", 14,
              _INK, "middle", bold=True)
    )  # fmt: skip
    return shapes


def _first_words(report: PoseReport) -> str:
    """Return what the axis of the search is called."""
    stands = float(np.array(report.standing.up) @ np.array(_SIDES[0][0])) > 1.0 - 1e-9
    return "as it stands" if stands else "as asked for"


def _facing(disc: _Disc) -> str:
    """Return which side of the figure is up in the middle of a disc."""
    nearest = max(_SIDES, key=lambda side: float(np.array(side[0]) @ disc.axes[2]))
    exact = float(np.array(nearest[0]) @ disc.axes[2]) > math.cos(math.radians(1.0))
    return f"{nearest[1]} {'up' if exact else 'nearly up'}"


def _rim_text(disc: _Disc, x: float, y: float, name: str) -> str:
    """Return a side's name outside the rim, where it lies on it."""
    dx, dy = (x - disc.x) / _RADIUS, (y - _MIDDLE_Y) / _RADIUS
    length = math.hypot(dx, dy)
    dx, dy = dx / length, dy / length
    anchor = "start" if dx > 0.4 else "end" if dx < -0.4 else "middle"
    reach = _RADIUS + (7 if anchor != "middle" else 8)
    drop = 5 + (9 * dy if anchor == "middle" else 0)
    return _text(disc.x + reach * dx, _MIDDLE_Y + reach * dy + drop, name, 13, _INK, anchor)


def _marks(report: PoseReport, disc: _Disc) -> list[str]:
    """Return the standing pose and the ranked ones that lie on this disc, the best on top."""
    shapes = []
    if float(disc.angle_deg(np.array(report.standing.up))[0]) <= disc.reach_deg:
        x, y = disc.project(np.array(report.standing.up))[0]
        shapes.append(_standing_mark(float(x), float(y)))
    shown = list(enumerate(report.poses[:_RANKED], start=1))
    for number, pose in reversed(shown):
        up = np.array(pose.up)
        if _on_first(report, up) != bool(disc.axes[2] @ np.array(report.standing.up) > 0.0):
            continue
        x, y = disc.project(up)[0]
        shapes.append(_number_mark(float(x), float(y), number))
    return shapes


def _on_first(report: PoseReport, up: Floats) -> bool:
    """Whether a direction is marked on the disc about the axis."""
    return report.settings.cone_deg <= 90.0 or bool(up @ np.array(report.standing.up) >= 0.0)


def _standing_mark(x: float, y: float) -> str:
    return (
        f"<g class='standing'><path d='M{x:.1f} {y - 19:.1f}l19 19l-19 19l-19 -19z' "
        f"fill='white' stroke='{_LINE}' stroke-width='2'/>" + _text(x, y + 5, "S", 14, _INK,
        "middle", bold=True) + "</g>"
    )  # fmt: skip


def _number_mark(x: float, y: float, number: int) -> str:
    return (
        f"<g class='pose'><circle cx='{x:.1f}' cy='{y:.1f}' r='11.5' fill='white' "
        f"stroke='{_LINE}' stroke-width='{3 if number == 1 else 1.5}'/>"
        + _text(x, y + 5, str(number), 14, _INK, "middle", bold=True)
        + "</g>"
    )


def _legend(scale: _Scale) -> list[str]:
    """Return the classes of points, best first."""
    left, top, side = 996.0, 210.0, 26.0
    shapes = [
        _text(left, top - 28, "Points above", 13, bold=True),
        _text(left, top - 11, f"the best, {scale.best:.4g}", 13, bold=True),
    ]
    for i, name in enumerate(scale.names()):
        y = top + i * side
        shapes.append(
            f"<rect class='class' x='{left:g}' y='{y:g}' width='24' height='{side:g}' "
            f"fill='{RAMP[i]}' stroke='{_LINE}' stroke-width='0.6'/>"
        )
        shapes.append(_text(left + 31, y + 18, name, 13))
    return shapes


def _ranking(report: PoseReport) -> list[str]:
    """Return what the marks mean: a line for each, with its numbers and the best reasons."""
    top, step = 637.0, 17.0
    shapes = [
        _text(40, top - 22, f"Circles: best poses, 1 first. Diamond S: {_first_words(report)}.", 13,
              bold=True)
    ]  # fmt: skip
    rows = [(str(i), pose) for i, pose in enumerate(report.poses[:_RANKED], start=1)]
    for i, (name, pose) in enumerate([*rows, ("S", report.standing)]):
        y = top + i * step
        shapes += [
            _text(62, y, name, 13, _INK, "end", bold=True),
            _text(74, y, _numbers(pose), 13),
            _text(478, y, _short(", ".join(pose.reasons[:3]), 84), 13, _FAINT),
        ]
    return shapes


def _numbers(pose: Pose) -> str:
    terms = pose.terms
    pockets, rods = (
        f"{n} {noun}{'' if n == 1 else 's'}"
        for n, noun in ((terms.pockets, "pocket"), (terms.rods, "rod"))
    )
    return (
        f"{pose.score:.4g} points: {pockets}, {rods}, {terms.height_mm:.0f} mm high, "
        f"tilted {pose.tilt_deg:.0f}°"
    )


def _circle(
    disc: _Disc, radius: float, *, fill: str = "none", width: float = 0.8, dash: str = ""
) -> str:
    dashes = f" stroke-dasharray='{dash}'" if dash else ""
    return (
        f"<circle cx='{disc.x:g}' cy='{_MIDDLE_Y:g}' r='{radius:.1f}' fill='{fill}' "
        f"stroke='{_LINE}' stroke-width='{width:g}'{dashes}/>"
    )


def _text(
    x: float, y: float, text: str, size: float, fill: str = _INK, anchor: str = "start",
    *, bold: bool = False, halo: bool = False,
) -> str:  # fmt: skip
    style = " font-weight='bold'" if bold else ""
    plain = f"<text x='{x:.1f}' y='{y:.1f}' font-size='{size:g}' text-anchor='{anchor}'{style}"
    written = f"{plain} fill='{fill}'>{_xml(text)}</text>"
    if not halo:
        return written
    rim = f"{plain} fill='white' stroke='white' stroke-width='4' stroke-linejoin='round'>"
    return f"{rim}{_xml(text)}</text>{written}"


def _short(text: str, length: int) -> str:
    return text if len(text) <= length else text[: length - 3].rstrip(" ,") + "..."


def _xml(text: str) -> str:
    """Return text that XML can hold; file names may have what it cannot."""
    return escape("".join(c if c.isprintable() else "?" for c in text))
