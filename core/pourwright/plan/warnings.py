"""What a finished plan leaves to the user, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from pourwright.errors import Point
from pourwright.plan.findings import TOLD_MM, PlanWarning, place
from pourwright.plan.model import PourPlan
from pourwright.plan.moulding import mould_warnings
from pourwright.solid import boolean
from pourwright.solid.mesh import TriMesh

# Hollows below this are where surfaces of overlapping parts graze each other, not modelled ones.
_SPECK_MM3 = 0.01

Blocked = Sequence[tuple[Point, str]]


def plan_warnings(
    plan: PourPlan, vents_blocked: Blocked, gates_blocked: Blocked
) -> tuple[PlanWarning, ...]:
    """List what the user must decide (open) or should know about a finished plan.

    vents_blocked, gates_blocked : places that got no rod, and why.
    """
    return (
        *_air_left(plan, vents_blocked),
        *_badly_fed(plan, gates_blocked),
        *_funnel(plan),
        *_thin_webs(plan),
        *_base(plan),
        *_pieces(plan),
        *_print(plan),
        *mould_warnings(plan.mould, plan.moulded_figure, plan.master.mesh, plan.job),
    )


def _air_left(plan: PourPlan, blocked: Blocked) -> Iterator[PlanWarning]:
    why = dict(blocked)
    for p in (p for p in plan.pockets_after if p.matters):
        size = "has no opening and never fills"
        if p.saddle_height_mm is not None:
            bubble = f"a bubble of {p.residual_diameter_mm:.2g} mm"
            size = f"keeps {p.volume_mm3:.3g} mm3 of air, {bubble}"
        near = min(why, key=lambda q: math.dist(q, p.peak_mm), default=None)
        reason = ""
        if near is not None and math.dist(near, p.peak_mm) < TOLD_MM:
            reason = f"; no rod fits: {why[near]}"
        yield PlanWarning(
            "pocket_left",
            f"The cavity at {place(p.peak_mm)} {size}{reason}",
            p.peak_mm,
            open=True,
        )


def _badly_fed(plan: PourPlan, blocked: Blocked) -> Iterator[PlanWarning]:
    for at, why in blocked:
        yield PlanWarning(
            "gate_blocked",
            f"The part at {place(at)} is not fed in time, and no gate does it: {why}",
            at,
            open=True,
        )
    for p in (p for p in plan.pockets if p.saddle_height_mm is None):
        yield PlanWarning(
            "no_feed",
            f"The part at {place(p.peak_mm)} hangs on vents only: resin reaches it through them "
            "or not at all; join it to the figure or give it a gate",
            p.peak_mm,
            open=True,
        )
    fill = plan.fill
    if fill.slowest_s is not None and not fill.in_time and not blocked:
        share = plan.job.gates.pot_life_share
        off = "" if plan.job.gates.enabled else "; gates are switched off"
        yield PlanWarning(
            "fill_slow",
            f"The cavity is full after {fill.slowest_s:.0f} s only, later than the "
            f"{fill.limit_s:.0f} s that are {100 * share:.3g} % of the pot life{off}: take a "
            "resin that is thinner or sets later, or let a gate feed it",
            None if fill.neck is None else fill.neck.at_mm,
            open=True,
        )


def _funnel(plan: PourPlan) -> Iterator[PlanWarning]:
    check = plan.funnel_check
    if check is None or check.enough:
        return
    need = check.need
    sizes = [
        f"a {what} of {_up(size):.1f} mm"
        for what, size in (("mouth", check.mouth_mm), ("height", check.height_mm))
        if size is not None
    ]
    would = " or ".join(sizes)
    cure = f"{would} would do" if sizes else "make it both wider and taller"
    yield PlanWarning(
        "funnel_small",
        f"The funnel holds {check.holds_mm3 / 1000:.2f} ml and has to hold "
        f"{check.needed_mm3 / 1000:.2f} ml: {need.shrinkage_mm3 / 1000:.2f} ml for shrinkage, "
        f"{need.air_mm3 / 1000:.2f} ml for air that is squeezed, {check.kept_mm3 / 1000:.2f} ml "
        f"for a head of {need.head_mm:.3g} mm; {cure}",
        open=True,
    )


def _up(size_mm: float) -> float:
    """Round up to a tenth, so that the size that is told does."""
    return math.ceil(size_mm * 10 - 1e-6) / 10


def _thin_webs(plan: PourPlan) -> Iterator[PlanWarning]:
    for what, rods, settings in (
        ("vents", plan.vents, plan.job.vents),
        ("gates", plan.gates, plan.job.gates),
    ):
        kept = settings.web_mm - settings.grid_mm / 2 - 1e-6
        thin = [rod for rod in rods if rod.web_mm < kept]
        if thin:
            least = min(thin, key=lambda rod: rod.web_mm)
            at = least.path_mm[0]
            yield PlanWarning(
                "thin_web",
                f"{len(thin)} of {len(rods)} {what} have less than {settings.web_mm:.2g} mm "
                f"of rubber beside them, the least {least.web_mm:.2g} mm on the one from "
                f"{place(at)}: the mould may tear there",
                at,
            )


def _base(plan: PourPlan) -> Iterator[PlanWarning]:
    facts = plan.base_facts
    if facts.margin_mm < 0:
        falls = "hangs askew" if facts.stands_on == "wall" else "falls over"
        yield PlanWarning(
            "unsteady",
            f"The finished piece {falls}: its centre of mass lies {-facts.margin_mm:.1f} mm "
            "outside what the base rests on; make the base wider",
        )
    if plan.base_cut is not None:
        yield PlanWarning("base_cut", plan.base_cut.sentence())
    if plan.own_base and plan.job.base.text.strip():
        yield PlanWarning(
            "no_text", "A base of your own gets no text: write on it before it is given"
        )
    if plan.socket is not None:
        for left in plan.socket.left_out:
            name = left.part if left.part == "funnel" else f"{left.part} {left.number + 1}"
            yield PlanWarning(
                "not_on_base", f"{name.capitalize()} is not printed with the base: it "
                f"{left.reason}", left.at_mm,
            )  # fmt: skip
        if plan.job.shrinkage.scale_master:
            yield PlanWarning(
                "not_scaled",
                "The figure exists, so neither it nor the base with its socket is made larger: "
                f"casts come out {100 * (1 - 1 / plan.scale.factor):.2g} % shorter",
            )


def _pieces(plan: PourPlan) -> Iterator[PlanWarning]:
    pieces = boolean.pieces(plan.master.mesh)
    solids = sorted((p for p in pieces if p.volume_mm3 > 0), key=lambda p: -p.volume_mm3)
    if len(solids) > 1:
        at = _middle(solids[-1])
        yield PlanWarning(
            "not_one_piece",
            f"The master falls into {len(solids)} pieces; the smallest is at {place(at)}: "
            "join it to the figure or to the base",
            at,
            open=True,
        )
    for void in (p for p in pieces if p.volume_mm3 < -_SPECK_MM3):
        at = _middle(void)
        yield PlanWarning(
            "closed_void",
            f"A closed hollow of {-void.volume_mm3:.3g} mm3 at {place(at)}: rubber cannot "
            "reach it, so every cast fills it; pour that much more",
            at,
        )


def _print(plan: PourPlan) -> Iterator[PlanWarning]:
    for found in plan.ready.findings:
        if found.code == "not_one_body" and plan.socket is None:
            continue  # told as a master in pieces
        if found.code == "too_big" and plan.job.printer is None:
            # Nobody has said what it is printed on.
            yield replace(found, open=False)
        else:
            yield found


def _middle(mesh: TriMesh) -> Point:
    x, y, z = (float(c) for c in mesh.bounds_mm.mean(axis=0))
    return (x, y, z)
