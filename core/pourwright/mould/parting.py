"""Which way the mould opens: the level direction along which the least rubber is locked.

Everything here is in the frame of the board. A line along the opening meets the figure in one or
more stretches. Rubber between two of them is locked, wherever the mould is cut: it lies behind
something for either leaf. So the volume of such rubber can be told before the line of the cut is
known, and the direction with the least of it opens best.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pourwright.mould.settings import CutSettings
from pourwright.solid.columns import Columns
from pourwright.solid.mesh import Floats, TriMesh, centre_of_mass

# Directions tried over a half turn; lines across the figure's larger extent.
_DIRECTIONS = 24
_LINES = 120
# What it costs if the cut would run over the side that the viewer sees: as much as locked rubber
# of this share of the figure's own volume. Little, since a mould that does not open is no mould.
_SEEN = 0.02


@dataclass(frozen=True, eq=False)
class Parting:
    """The plane that the cut keeps near, frame of the board.

    opening : level unit vector along which the leaves open. along : level unit vector in the
    plane; the plane holds it, +Z and `centre_mm`. locked_mm3 : rubber that is locked along the
    opening. tried : (angle_deg, locked_mm3, score) of each direction.
    """

    opening: Floats
    along: Floats
    centre_mm: Floats
    locked_mm3: float
    tried: tuple[tuple[float, float, float], ...]

    def off_plane_mm(self, points: Floats) -> Floats:
        """Signed distance (n,) of points from the plane, towards the opening."""
        off: Floats = (points - self.centre_mm) @ self.opening
        return off

    def out_mm(self, points: Floats) -> Floats:
        """Level distance (n,) of points from the plane's middle, within the plane."""
        out: Floats = (points - self.centre_mm) @ self.along
        return out


def opening_of(angle_deg: float) -> Floats:
    """Return the level unit vector at an angle from the front (-Y) towards the right (+X)."""
    turn = math.radians(angle_deg)
    return np.array([round(math.sin(turn), 15), -round(math.cos(turn), 15), 0.0])


def find_parting(figure: TriMesh, settings: CutSettings, turn: Floats | None = None) -> Parting:
    """Choose the opening of a mould.

    figure : closed, what has to come out whole: without rods, frame of the board. turn : (3, 3)
    rotation from the standing frame, in which the settings' viewer is, to that of the board.

    Each of 24 directions gets its locked rubber as a share of the figure's volume, and 0.02 times
    the square of how squarely the viewer sees the sides that the line would run up. The least sum
    wins; among equals the one that opens towards the front.
    """
    viewer = None
    if settings.viewer is not None:
        viewer = np.asarray(settings.viewer, dtype=np.float64)
        viewer = viewer / np.linalg.norm(viewer)
        viewer = viewer if turn is None else turn @ viewer
    if settings.opening_deg is not None:
        angles = [settings.opening_deg]
    else:
        angles = [180.0 * i / _DIRECTIONS for i in range(_DIRECTIONS)]
    volume = max(figure.volume_mm3, 1e-9)
    tried = []
    for angle in angles:
        opening = opening_of(angle)
        locked = locked_mm3(figure, opening)
        seen = 0.0 if viewer is None else float(viewer @ _beside(opening)) ** 2
        tried.append((angle, locked, locked / volume + _SEEN * seen))
    # Equal but for rounding counts as equal.
    best = min(range(len(tried)), key=lambda i: (round(tried[i][2], 3), i))
    opening = opening_of(tried[best][0])
    return Parting(
        opening=opening,
        along=_beside(opening),
        centre_mm=centre_of_mass(figure),
        locked_mm3=tried[best][1],
        tried=tuple(tried),
    )


def _beside(opening: Floats) -> Floats:
    return np.array([-opening[1], opening[0], 0.0])


def locked_mm3(mesh: TriMesh, direction: Floats) -> float:
    """Return the volume between stretches of a closed mesh along a unit vector, by sampling."""
    other = np.eye(3)[np.argmin(np.abs(direction))]
    u = np.cross(other, direction)
    u /= np.linalg.norm(u)
    axes = np.stack([u, np.cross(direction, u), direction])
    points = mesh.vertices @ axes.T
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    pitch = float((high - low).max()) / _LINES
    # An odd start keeps lines off the mesh's own corners.
    x, y = (np.arange(low[i] + 0.3717 * pitch, high[i], pitch) for i in range(2))
    lines = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    found = Columns(points, mesh.faces).hits(lines)
    order = np.lexsort((found.z, found.line))
    line, z, step = found.line[order], found.z[order], -found.up[order]
    depth = np.cumsum(step)  # closed: every line ends at 0, so the sum runs on over all of them
    gap = (depth[:-1] == 0) & (line[:-1] == line[1:])
    return float((z[1:] - z[:-1])[gap].sum()) * pitch * pitch
