"""The box: a rectangle or a tube round the master, as small as the rubber round it allows.

Everything here is in the frame of the board: the master stands on it, +Z up, and the rubber is
poured from above. `solid.frames.board_rotation` turns the standing frame into it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from pourwright.errors import GeometryError
from pourwright.mould.settings import BoxSettings
from pourwright.solid.mesh import Floats, TriMesh

# A turned box has to save this share of the rubber, or it stands straight.
_WORTH_TURNING = 0.01
# Paper that a wrapped wall overlaps itself by; board that stands out round the walls.
_OVERLAP_MM, _LIP_MM = 20.0, 20.0
_SIDES = 256
# The rubber starts this far above the board, so that the two never share a plane: far more than
# rounding, and less than a millionth of the volume.
_OFF_BOARD_MM = 1e-5


@dataclass(frozen=True)
class Panel:
    """A piece to cut for the box, mm."""

    name: str
    count: int
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class MouldBox:
    """The inside of a box, and what it is made from; frame of the board, mm.

    shape : "rectangular" or "round". size_mm : inner sizes along, across and up to the fill line;
    the first two are the diameter of a tube. turn_deg : from X to `along`, anticlockwise seen
    from above. centre_mm : of the box, x and y. board_mm : height of the board.
    wall_height_mm : of the walls above the board. wall_mm : least rubber beside the master.
    panels : to cut. Long sides overlap the ends of the short ones (butt joints), and the walls
    stand on the board.
    """

    shape: str
    size_mm: tuple[float, float, float]
    turn_deg: float
    centre_mm: tuple[float, float]
    board_mm: float
    wall_height_mm: float
    wall_mm: float
    thickness_mm: float
    panel_material: str
    panels: tuple[Panel, ...]

    @property
    def inner_mm3(self) -> float:
        """Volume of the box up to the fill line."""
        along, across, height = self.size_mm
        area = math.pi / 4 * along * along if self.shape == "round" else along * across
        return area * height

    @property
    def axes(self) -> Floats:
        """Unit vectors along and across the box, (2, 2)."""
        turn = math.radians(self.turn_deg)
        return np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])

    @property
    def outer_mm(self) -> tuple[float, float, float]:
        """Sizes along, across and up with walls and board."""
        along, across, _ = self.size_mm
        more = 2 * self.thickness_mm
        return along + more, across + more, self.wall_height_mm + self.thickness_mm

    @property
    def fill_line_mm(self) -> float:
        """Height of the fill line, frame of the board."""
        return self.board_mm + self.size_mm[2]


def make_box(master: TriMesh, settings: BoxSettings) -> MouldBox:
    """Return the smallest box that keeps the rubber asked for round a master.

    master : closed, frame of the board; it stands on the board with its lowest point. One side of
    the smallest rectangle lies along an edge of the outline's convex hull (H. Freeman, R. Shapira,
    Comm. ACM 18(7), 1975, from memory), so each edge's direction is tried.
    """
    points = _outline(master)
    board = float(master.vertices[:, 2].min())
    tall = float(master.vertices[:, 2].max()) - board + settings.cover_mm
    fill = _rounded(tall, settings)
    centre, diameter = smallest_circle(points)
    tube = _rounded(diameter + 2 * settings.wall_mm, settings)
    turn, middle, sides = _smallest_rectangle(points, settings)
    round_area, square_area = math.pi / 4 * tube * tube, sides[0] * sides[1]
    is_round = settings.shape == "round" or (
        settings.shape == "auto" and round_area < square_area
    )
    wall_height = fill + settings.rim_mm
    t = settings.thickness_mm
    if is_round:
        size, turn, middle = (tube, tube, fill), 0.0, centre
        panels = [
            Panel("wall, bent round and overlapped", 1, math.pi * (tube + t) + _OVERLAP_MM,
                  wall_height),
            Panel("board", 1, tube + 2 * (t + _LIP_MM), tube + 2 * (t + _LIP_MM)),
        ]  # fmt: skip
    else:
        size = (sides[0], sides[1], fill)
        panels = [
            Panel("long side", 2, sides[0] + 2 * t, wall_height),
            Panel("short side", 2, sides[1], wall_height),
            Panel("board", 1, sides[0] + 2 * (t + _LIP_MM), sides[1] + 2 * (t + _LIP_MM)),
        ]
    return MouldBox(
        shape="round" if is_round else "rectangular",
        size_mm=size,
        turn_deg=turn,
        centre_mm=(float(middle[0]), float(middle[1])),
        board_mm=board,
        wall_height_mm=wall_height,
        wall_mm=settings.wall_mm,
        thickness_mm=t,
        panel_material=settings.panel_material,
        panels=tuple(panels),
    )


def inside_of(box: MouldBox, tube_sides: int = _SIDES) -> TriMesh:
    """Return the inside of the box up to the fill line as a closed mesh.

    tube_sides : of a tube, which keeps its area.
    """
    if box.shape == "round":
        turn = 2 * math.pi / tube_sides
        radius = box.size_mm[0] / 2 * math.sqrt(turn / math.sin(turn))
        angle = np.arange(tube_sides) * turn
        ring = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    else:
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
        ring = corners * box.size_mm[:2] @ box.axes
    ring = ring + np.array(box.centre_mm)
    n = len(ring)
    low, high = box.board_mm + _OFF_BOARD_MM, box.fill_line_mm
    vertices = np.vstack([np.c_[ring, np.full(n, low)], np.c_[ring, np.full(n, high)]])
    i = np.arange(n)
    j = (i + 1) % n
    fan = np.stack([np.zeros(n - 2, dtype=np.int64), i[1:-1], i[2:]], axis=1)
    sides = [np.stack([i, j, j + n], axis=1), np.stack([i, j + n, i + n], axis=1)]
    return TriMesh(vertices, np.vstack([fan[:, ::-1], fan + n, *sides]), "mould box")


def smallest_circle(points: Floats) -> tuple[Floats, float]:
    """Return centre (2,) and diameter of the smallest circle round (n, 2) points.

    Each point outside the circle so far must lie on the rim of the next (E. Welzl, New results
    and new trends in computer science, 1991, from memory).
    """
    slack = 1.0 + 1e-12
    centre, radius = points[0], 0.0
    for i in range(1, len(points)):
        if math.dist(points[i], centre) <= radius * slack:
            continue
        centre, radius = points[i], 0.0
        for j in range(i):
            if math.dist(points[j], centre) <= radius * slack:
                continue
            centre = (points[i] + points[j]) / 2
            radius = math.dist(points[i], points[j]) / 2
            for k in range(j):
                if math.dist(points[k], centre) > radius * slack:
                    centre, radius = _through(points[i], points[j], points[k], centre, radius)
    return centre, 2 * radius


def _through(
    a: Floats, b: Floats, c: Floats, centre: Floats, radius: float
) -> tuple[Floats, float]:
    """The circle through three points; the one given where they are in line."""
    p, q = b - a, c - a
    double = 2 * (p[0] * q[1] - p[1] * q[0])
    if double == 0:
        return centre, radius
    pp, qq = p @ p, q @ q
    off = np.array([q[1] * pp - p[1] * qq, p[0] * qq - q[0] * pp]) / double
    return a + off, float(np.linalg.norm(off))


def _outline(master: TriMesh) -> Floats:
    """Corners (k, 2) of the convex hull of the master seen from above."""
    try:
        flat: Floats = master.vertices[:, :2]
        return flat[ConvexHull(flat).vertices]
    except QhullError as error:
        raise GeometryError(
            f"'{master.name}' is flat seen from above", hint="check the master's mesh"
        ) from error


def _rounded(value: float, settings: BoxSettings) -> float:
    step = settings.round_up_mm
    return math.ceil(value / step - 1e-9) * step


def _smallest_rectangle(
    points: Floats, settings: BoxSettings
) -> tuple[float, Floats, tuple[float, float]]:
    """Turn in degrees, middle (2,) and inner sizes, the longer one first."""
    edges = np.roll(points, -1, axis=0) - points
    turns = np.arctan2(edges[:, 1], edges[:, 0]) % (math.pi / 2)
    best = None
    for turn in (0.0, *np.unique(turns).tolist()):
        axes = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        flat = points @ axes.T
        low, high = flat.min(axis=0), flat.max(axis=0)
        sides = [_rounded(float(s) + 2 * settings.wall_mm, settings) for s in high - low]
        area = sides[0] * sides[1]
        saves = 0.0 if turn == 0.0 else _WORTH_TURNING
        if best is None or area < best[0] * (1 - saves):
            # The first turn that is better must beat the straight one by more than a hair.
            best = (area, turn, (low + high) / 2 @ axes, sides)
        elif best[1] != 0.0 and area < best[0]:
            best = (area, turn, (low + high) / 2 @ axes, sides)
    assert best is not None
    _, turn, middle, sides = best
    degrees = math.degrees(turn)
    if sides[0] < sides[1]:
        sides, degrees = sides[::-1], degrees + 90.0
    return degrees, middle, (sides[0], sides[1])
