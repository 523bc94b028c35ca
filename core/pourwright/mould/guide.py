"""The cut line on the master itself, raised or engraved, to lead the knife."""

from __future__ import annotations

import itertools

import numpy as np

from pourwright.mould.settings import GuideSettings
from pourwright.solid import boolean
from pourwright.solid.lines import simplified
from pourwright.solid.mesh import Floats, TriMesh

_SIDES = 8
# The drawn line may cut the corners of the true one by this share of its width.
_SLACK = 0.15


def guide_body(line_mm: Floats, settings: GuideSettings, above_mm: float | None = None
               ) -> TriMesh | None:
    """Return the guide line as a closed body to unite with the master, or to cut out of it.

    line_mm : (k, 3) points on the surface. above_mm : height of the base's figure side; with
    `figure_too` off only what lies under it is drawn. None where no guide is asked for or nothing
    is left to draw.

    The body is a chain of beads of the line's width about the line, so that half of it stands out.
    """
    if settings.kind == "none":
        return None
    runs = [line_mm]
    if not settings.figure_too and above_mm is not None:
        low = line_mm[:, 2] <= above_mm
        turns = np.flatnonzero(np.diff(low)) + 1
        runs = [r for r, under in zip(np.split(line_mm, turns), np.split(low, turns), strict=True)
                if under[0]]  # fmt: skip
    beads = _bead(settings.width_mm / 2)
    sets = []
    for run in runs:
        points = simplified(run, _SLACK * settings.width_mm)
        sets += [np.vstack([a + beads, b + beads]) for a, b in itertools.pairwise(points)]
    return boolean.united_hulls(sets, "cut guide") if sets else None


def guided(master: TriMesh, guide: TriMesh, kind: str) -> TriMesh:
    """Return the master with a guide raised on it or engraved in it."""
    if kind == "engraved":
        return boolean.difference(master, [guide], master.name)
    return boolean.union([master, guide], master.name)


def _bead(radius: float) -> Floats:
    """Corners of a ball, (k, 3)."""
    turn = np.arange(_SIDES) * 2 * np.pi / _SIDES
    rings = [
        np.c_[np.cos(t) * np.cos(turn), np.cos(t) * np.sin(turn), np.full(_SIDES, np.sin(t))]
        for t in (-np.pi / 4, 0.0, np.pi / 4)
    ]
    return radius * np.vstack([*rings, [[0, 0, 1.0], [0, 0, -1.0]]])
