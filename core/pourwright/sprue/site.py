"""Where the base goes under a figure, and how big its face must be."""

from __future__ import annotations

import numpy as np

from pourwright.solid.mesh import TriMesh, centre_of_mass
from pourwright.sprue.model import Site
from pourwright.sprue.settings import BaseSettings

# Only this share of the figure's height, from the bottom, decides where its feet are.
_FOOT_SHARE = 0.25
# Room for a line of text in front of the feet, beyond its height, where none is given.
_LINE_MM = 5.0
_GAP_MM = 1.0


def site_under(figure: TriMesh, base: BaseSettings, neck_mm: float) -> Site:
    """Find the face that holds the feet, the point below the centre of mass, and the neck.

    figure : in the frame of the board. neck_mm : least width of a face sized from the figure.
    """
    v = figure.vertices
    low, high = v[:, 2].min(), v[:, 2].max()
    feet = v[v[:, 2] <= low + _FOOT_SHARE * (high - low), :2]
    points = np.vstack([feet, centre_of_mass(figure)[None, :2]])
    least, most = points.min(axis=0), points.max(axis=0)
    (x, y), (half_x, half_y) = (least + most) / 2, (most - least) / 2 + base.margin_mm
    if base.about.round:
        half_x = half_y = float(np.hypot(*(points - [x, y]).T).max()) + base.margin_mm
    half_x, half_y = max(half_x, neck_mm / 2), max(half_y, neck_mm / 2)
    room = text_room_mm(base)
    if base.about.round:
        half_x = half_y = half_x + room
    else:
        y, half_y = y - room / 2, half_y + room / 2
    if base.width_mm is not None:
        half_x = base.width_mm / 2
        # A base of a given size may not hold all that hangs low: it goes where the figure stands.
        stands = v[v[:, 2] <= low + base.embed_mm, :2]
        x, y = (stands.min(axis=0) + stands.max(axis=0)) / 2
        feet = stands
    if base.about.round:
        half_y = half_x
    elif base.depth_mm is not None:
        half_y = base.depth_mm / 2
    front = y - float(feet[:, 1].min())
    return Site(float(x), float(y), float(half_x), float(half_y), front, float(high - low))


def text_room_mm(base: BaseSettings) -> float:
    """Depth that text on the top face adds in front of the feet of a base sized by the figure."""
    if not base.text.strip() or base.face != "top":
        return 0.0
    line = _LINE_MM if base.text_height_mm is None else 1.35 * base.text_height_mm
    return line * (1 + base.text.strip().count("\n") * 1.5) + _GAP_MM
