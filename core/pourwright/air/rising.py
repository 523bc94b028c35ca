"""What rising resin does to each place of a cavity's wall: the levels at which air is closed in."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pourwright.air.pockets import OUTSIDE, AirPocket, AirReport
from pourwright.solid.mesh import Floats, TriMesh


def closing_levels_mm(
    report: AirReport, counts: Callable[[AirPocket], bool] | None = None
) -> Floats:
    """Return for each face of the analysed surface the level that closes its air in, (m,).

    Levels are x . up in the standing frame. Once resin has risen to it, what the face has above
    that level stays air; what is below fills when resin gets there. Infinite where air can leave
    to the end, minus infinite in a part of the cavity that has no opening at all. A face counts
    by its highest corner: above a closing level no face reaches into two pockets.

    counts : says which pockets to heed, all by default; walls of the others have no such level.
    """
    surface, tree = report.surface, report.tree
    corner = tree.heights[surface.faces]
    top = surface.faces[np.arange(len(corner)), np.argmax(corner, axis=1)]
    pocket = report.pocket_of_climb[tree.climb[top]]
    # One more level, at the end, which the number for "in no pocket" picks out.
    levels = np.array([
        np.inf if counts is not None and not counts(p)
        else -np.inf if p.saddle_height_mm is None
        else p.saddle_height_mm
        for p in report.pockets
    ] + [np.inf])  # fmt: skip
    assert OUTSIDE == -1
    closing = levels[pocket]
    highest = corner.max(axis=1) + float(surface.centre_mm @ tree.up)
    return np.where(highest > closing, closing, np.inf)


def analysed_mesh(report: AirReport) -> TriMesh:
    """Return the surface as it was analysed, in the standing frame; its faces in that order."""
    surface = report.surface
    return TriMesh(surface.vertices + surface.centre_mm, surface.faces, "analysed surface")
