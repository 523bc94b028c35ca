"""The cut to look at: the master from four sides as line drawings, and the line as OBJ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape

import numpy as np

from pourwright.solid.columns import Columns
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.vectors import doubled_areas

# Name, direction to the viewer, direction to the right of the picture; up is +Z.
SIDES = {
    "front": ((0.0, -1.0, 0.0), (1.0, 0.0, 0.0)),
    "right": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
    "back": ((0.0, 1.0, 0.0), (-1.0, 0.0, 0.0)),
    "left": ((-1.0, 0.0, 0.0), (0.0, -1.0, 0.0)),
}
_MARGIN_MM = 6.0
_TITLE_MM = 8.0
_CELLS = 400  # of the depth map across the larger extent
_SHARP = 0.7  # bend that is drawn as an edge, radians
_SHARP_MM = 1.0
_FILL, _INK = "#e9e6e0", "#7a7a7a"
_CUT, _HINGE, _SLIT = "#c4161c", "#1c5fc4", "#c47a16"


def polyline_obj(lines: Mapping[str, Floats], closed: Sequence[str] = ()) -> str:
    """Return named polylines, (k, 3) mm each, as Wavefront OBJ text.

    closed : names of those whose last point is joined to their first.
    """
    text, first = ["# lengths in mm"], 1
    for name, points in lines.items():
        text.append("o " + "_".join(name.split()))
        text += [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in points.tolist()]
        numbers = [*range(first, first + len(points))]
        if name in closed:
            numbers.append(first)
        text.append("l " + " ".join(map(str, numbers)))
        first += len(points)
    return "\n".join(text) + "\n"


def side_views(
    mesh: TriMesh,
    cut_mm: Floats,
    hinge_mm: Floats,
    slits_mm: Sequence[Floats] = (),
    *,
    turn: Floats | None = None,
) -> dict[str, str]:
    """Return SVG texts, to scale in mm, of the master with the cut from front, right, back, left.

    mesh, lines (k, 3) : in one frame. turn : (3, 3) rotation from it to the one looked at, with +Z
    up and the front at -Y; None where it is that. What is behind the master is dashed. The cut is
    red, the hinge blue, slits brown.
    """
    rotation = np.eye(3) if turn is None else turn
    points = mesh.vertices @ rotation.T
    views = {}
    for name, (viewer, right) in SIDES.items():
        axes = np.array([right, (0.0, 0.0, 1.0), viewer])
        views[name] = _view(
            name, points @ axes.T, mesh.faces,
            [(cut_mm @ rotation.T @ axes.T, _CUT, 0.7),
             (hinge_mm @ rotation.T @ axes.T, _HINGE, 0.7),
             *((_closed(s) @ rotation.T @ axes.T, _SLIT, 0.5) for s in slits_mm)],
        )  # fmt: skip
    return views


def _closed(points: Floats) -> Floats:
    return np.vstack([points, points[:1]])


def _view(
    name: str, points: Floats, faces: Ints, lines: Sequence[tuple[Floats, str, float]]
) -> str:
    """One picture; points as right, up, and towards the viewer."""
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    width = float(high[0] - low[0]) + 2 * _MARGIN_MM
    height = float(high[1] - low[1]) + 2 * _MARGIN_MM + _TITLE_MM
    depth = _Depth(points, faces, low, high)

    def path(pieces: Sequence[Floats]) -> str:
        words = []
        for piece in pieces:
            x = piece[:, 0] - low[0] + _MARGIN_MM
            y = high[1] - piece[:, 1] + _MARGIN_MM + _TITLE_MM
            words.append("M" + "L".join(f"{a:.2f} {b:.2f}" for a, b in zip(x, y, strict=True)))
        return "".join(words)

    title = f"Cut line, {name}"
    body = [
        f"<rect width='{width:.2f}' height='{height:.2f}' fill='white'/>",
        f"<text x='{_MARGIN_MM}' y='{_TITLE_MM}' font-size='5' fill='#1a1a1a'>{escape(title)}"
        "</text>",
        f"<path d='{path(depth.strips())}' fill='none' stroke='{_FILL}' "
        f"stroke-width='{1.3 * depth.step:.3f}'/>",
        f"<path d='{path(_contours(points, faces, depth))}' fill='none' stroke='{_INK}' "
        "stroke-width='0.25' stroke-linecap='round'/>",
    ]
    for line, colour, stroke in lines:
        seen, hidden = depth.parted(line)
        style = f"fill='none' stroke='{colour}' stroke-linejoin='round' stroke-linecap='round'"
        if hidden:
            body.append(
                f"<path d='{path(hidden)}' {style} stroke-width='{stroke / 2:g}' "
                "stroke-dasharray='1.2 1.2'/>"
            )
        if seen:
            body.append(f"<path d='{path(seen)}' {style} stroke-width='{stroke:g}'/>")
    return (
        "<?xml version='1.0' encoding='UTF-8'?>\n"
        f"<svg xmlns='http://www.w3.org/2000/svg' version='1.1' width='{width:.2f}mm' "
        f"height='{height:.2f}mm' viewBox='0 0 {width:.2f} {height:.2f}' "
        "font-family='Helvetica, Arial, sans-serif'>\n"
        f"<title>{escape(title)}</title>\n" + "\n".join(body) + "\n</svg>\n"
    )


class _Depth:
    """How near to the viewer the master comes, on a grid."""

    def __init__(self, points: Floats, faces: Ints, low: Floats, high: Floats):
        self.step = float((high - low).max()) / _CELLS
        self.origin = low - self.step
        counts = np.ceil((high - low) / self.step).astype(np.int64) + 2
        x, y = (self.origin[i] + (np.arange(counts[i]) + 0.5037) * self.step for i in range(2))
        lines = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
        hits = Columns(points, faces).hits(lines)
        top = np.full(len(lines), -np.inf)
        np.maximum.at(top, hits.line, hits.z)
        self.top = top.reshape(counts[0], counts[1])

    def strips(self) -> list[Floats]:
        """Upright lines, a cell apart, over all that the master covers."""
        full = np.isfinite(self.top)
        edge = np.diff(np.pad(full, ((0, 0), (1, 1))).astype(np.int8), axis=1)
        column, start = np.nonzero(edge == 1)
        _, stop = np.nonzero(edge == -1)
        x = self.origin[0] + (column + 0.5) * self.step
        y = self.origin[1] + np.stack([start, stop], axis=1) * self.step
        return [*np.stack([np.stack([x, x], axis=1), y], axis=2)]

    def is_seen(self, points: Floats) -> np.ndarray:
        """Whether points (n, 3) of the surface are in sight, (n,); near outlines they are."""
        cell = np.floor((points[:, :2] - self.origin) / self.step).astype(np.int64)
        seen = np.zeros(len(points), dtype=bool)
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                i = np.clip(cell[:, 0] + dx, 0, self.top.shape[0] - 1)
                j = np.clip(cell[:, 1] + dy, 0, self.top.shape[1] - 1)
                seen |= points[:, 2] >= self.top[i, j] - 2 * self.step
        return seen

    def parted(self, line: Floats) -> tuple[list[Floats], list[Floats]]:
        """A polyline's pieces in sight and those out of sight."""
        if len(line) < 2:
            return [], []
        seen = self.is_seen((line[:-1] + line[1:]) / 2)
        turns = np.flatnonzero(np.diff(seen)) + 1
        starts, stops = np.r_[0, turns], np.r_[turns, len(seen)]
        pieces = [(bool(seen[a]), line[a : b + 1]) for a, b in zip(starts, stops, strict=True)]
        return [p for s, p in pieces if s], [p for s, p in pieces if not s]


def _contours(points: Floats, faces: Ints, depth: _Depth) -> list[Floats]:
    """Edges in sight where the surface turns away from the viewer, or bends sharply."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    key = low * len(points) + high
    order = np.argsort(key, kind="stable")
    one, two = order[:-1], order[1:]
    pair = key[one] == key[two]
    one, two = one[pair], two[pair]
    normal = doubled_areas(points, faces)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    n, m = normal[one // 3], normal[two // 3]
    turns = (n[:, 2] > 0) != (m[:, 2] > 0)
    length = np.linalg.norm(points[low[one]] - points[high[one]], axis=1)
    sharp = (np.einsum("ij,ij->i", n, m) < np.cos(_SHARP)) & (length > _SHARP_MM)
    drawn = one[turns | sharp]
    pieces = np.stack([points[low[drawn]], points[high[drawn]]], axis=1)
    return [*pieces[depth.is_seen(pieces.mean(axis=1))]]
