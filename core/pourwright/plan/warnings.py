"""What a finished plan leaves to the user, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pourwright.errors import Point
from pourwright.plan.job import Job
from pourwright.plan.model import JudgedPocket, Master, PlanWarning
from pourwright.solid import boolean
from pourwright.solid.mesh import TriMesh
from pourwright.sprue.model import BaseFacts
from pourwright.vents.place import Vents

# Hollows below this are where surfaces of overlapping parts graze each other, not modelled ones.
_SPECK_MM3 = 0.01
# A pocket that is left this near to a place without a rod is the one that got none.
TOLD_MM = 0.5


def plan_warnings(
    vents: Vents,
    before: Sequence[JudgedPocket],
    after: Sequence[JudgedPocket],
    master: Master,
    job: Job,
    base: BaseFacts,
) -> tuple[PlanWarning, ...]:
    """List what the user must decide (open) or should know about a finished plan."""
    found: list[PlanWarning] = []
    why = dict(vents.blocked)
    for p in (p for p in after if p.matters):
        size = "has no opening and never fills"
        if p.saddle_height_mm is not None:
            bubble = f"a bubble of {p.residual_diameter_mm:.2g} mm"
            size = f"keeps {p.volume_mm3:.3g} mm3 of air, {bubble}"
        near = min(why, key=lambda q: math.dist(q, p.peak_mm), default=None)
        reason = ""
        if near is not None and math.dist(near, p.peak_mm) < TOLD_MM:
            reason = f"; no rod fits: {why[near]}"
        found.append(
            PlanWarning(
                "pocket_left",
                f"The cavity at {_place(p.peak_mm)} {size}{reason}",
                p.peak_mm,
                open=True,
            )
        )
    found += [
        PlanWarning(
            "no_feed",
            f"The part at {_place(p.peak_mm)} hangs on vents only: resin reaches it through them "
            "or not at all; join it to the figure or give it a gate",
            p.peak_mm,
            open=True,
        )
        for p in before
        if p.saddle_height_mm is None
    ]
    thin = [v for v in vents.vents if v.web_mm < job.vents.web_mm - job.vents.grid_mm / 2 - 1e-6]
    if thin:
        least = min(thin, key=lambda v: v.web_mm)
        found.append(
            PlanWarning(
                "thin_web",
                f"{len(thin)} of {len(vents.vents)} vents have less than {job.vents.web_mm:.2g} mm "
                f"of rubber beside them, the least {least.web_mm:.2g} mm on the one from "
                f"{_place(least.path_mm[0])}: the mould may tear there",
                least.path_mm[0],
            )
        )
    if base.margin_mm < 0:
        falls = "hangs askew" if base.stands_on == "wall" else "falls over"
        found.append(
            PlanWarning(
                "unsteady",
                f"The finished piece {falls}: its centre of mass lies {-base.margin_mm:.1f} mm "
                "outside what the base rests on; make the base wider",
            )
        )
    pieces = boolean.pieces(master.mesh)
    solids = sorted((p for p in pieces if p.volume_mm3 > 0), key=lambda p: -p.volume_mm3)
    if len(solids) > 1:
        at = _middle(solids[-1])
        found.append(
            PlanWarning(
                "not_one_piece",
                f"The master falls into {len(solids)} pieces; the smallest is at {_place(at)}: "
                "join it to the figure or to the base",
                at,
                open=True,
            )
        )
    for void in (p for p in pieces if p.volume_mm3 < -_SPECK_MM3):
        at = _middle(void)
        found.append(
            PlanWarning(
                "closed_void",
                f"A closed hollow of {-void.volume_mm3:.3g} mm3 at {_place(at)}: rubber cannot "
                "reach it, so every cast fills it; pour that much more",
                at,
            )
        )
    return tuple(found)


def _middle(mesh: TriMesh) -> Point:
    x, y, z = (float(c) for c in mesh.bounds_mm.mean(axis=0))
    return (x, y, z)


def _place(point: Point) -> str:
    return "({:.1f}, {:.1f}, {:.1f}) mm".format(*point)

