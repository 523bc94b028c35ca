"""Gates for a whole figure: what is badly fed, a rod of the right width to each, or why not."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pourwright.air import AirReport
from pourwright.checks import check_number
from pourwright.errors import Point
from pourwright.gates.find import late_parts, neck_of, network_of
from pourwright.gates.network import Filling, Network, fill
from pourwright.gates.rods import Founder
from pourwright.gates.settings import FedPart, FillTime, Gate, GateSettings
from pourwright.gates.site import ground
from pourwright.progress import Progress, silent
from pourwright.shop.flow import Liquid, Section, flow_under_head
from pourwright.solid.columns import frame
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.protect import Protection


@dataclass(frozen=True, eq=False)
class Gates:
    """Gates that were placed, their bodies, and what could not be served.

    parts : everything that the base does not feed well, as it is without gates.
    blocked : (middle of the part, why it got no gate and what would help).
    fill : how long the cavity takes to fill, with the gates.
    """

    gates: tuple[Gate, ...]
    bodies: tuple[TriMesh, ...]
    parts: tuple[FedPart, ...]
    blocked: tuple[tuple[Point, str], ...]
    fill: FillTime

    @property
    def limit_s(self) -> float:
        """Time in which every part has to be full."""
        return self.fill.limit_s

    @property
    def slowest_s(self) -> float:
        """Until all parts of the cavity are full, with the gates; inf where one gets no resin."""
        return math.inf if self.fill.slowest_s is None else self.fill.slowest_s


def place_gates(
    sprued: TriMesh,
    report: AirReport,
    liquid: Liquid,
    pot_life_s: float,
    settings: GateSettings,
    *,
    base_height_mm: float,
    protection: Protection | None = None,
    progress: Progress = silent,
) -> Gates:
    """Give each part that the base does not feed well a gate.

    sprued : figure, base and funnel as one closed mesh, standing frame. report : its air, which
    has its surface with vertices close enough for gates to start at. liquid, pot_life_s : the
    resin. base_height_mm : x . up of the base's figure side. protection : surface to keep off.

    A part is badly fed where it hangs on nothing, or is full only after more than the settings'
    share of the pot life. The gate's width follows from the flow: the least with which all of the
    part that any gate there can fill in time is full in time.
    Raises InputError for a pot life that is no number above zero.
    """
    check_number("The pot life in s", pot_life_s, 1e-3, 1e9)
    limit_s = settings.pot_life_share * pot_life_s
    progress(0.0, "Finding parts that fill too slowly")
    surface = report.surface
    axes = frame(report.tree.up)
    net = network_of(sprued, axes, surface.centre_mm, liquid, settings.grid_mm)
    filling = fill(net)
    late = late_parts(net, filling, limit_s, axes, surface.centre_mm)
    if not late or not settings.enabled or settings.most_gates == 0:
        parts = tuple(p.part for p in late)
        fill_time = _fill_time(net, filling, limit_s, axes, surface.centre_mm)
        return Gates((), (), parts, (), fill_time)
    progress(0.4, "Preparing the ways of gates")
    shift = float(surface.centre_mm @ report.tree.up)
    found = ground(report, net.slices, base_height_mm - shift, protection)
    founder = Founder(net, found, settings, limit_s)
    blocked: list[tuple[Point, str]] = []
    given_up = np.zeros(len(filling.time_s), dtype=bool)
    todo = list(late)
    while todo and len(founder.standing) < settings.most_gates:
        number = len(founder.standing) + 1
        progress(1 - 0.6 * 0.8**number, f"Routing gate {number}")
        reason = founder.serve(todo[0])
        if reason:
            blocked.append((todo[0].part.middle_mm, reason))
            given_up[[*todo[0].late, *todo[0].neck]] = True
        # Late still, but for what was looked at in vain.
        again = late_parts(net, founder.filling, limit_s, axes, surface.centre_mm)
        todo = [p for p in again if not given_up[p.late].all()]
    blocked += [
        (p.part.middle_mm, f"there are {settings.most_gates} gates already, the most allowed")
        for p in todo
    ]
    progress(1.0, f"{len(founder.standing)} gates")
    return Gates(
        gates=founder.gates(),
        bodies=founder.bodies(),
        parts=tuple(p.part for p in late),
        blocked=tuple(blocked),
        fill=_fill_time(net, founder.filling, limit_s, axes, surface.centre_mm),
    )


def _fill_time(
    net: Network, filling: Filling, limit_s: float, axes: Floats, centre_mm: Floats
) -> FillTime:
    """Say when the slowest slice is full, and of what kind the flow to it is."""
    slowest = int(np.argmax(filling.time_s))
    time_s = float(filling.time_s[slowest])
    if not math.isfinite(time_s):
        return FillTime(None, limit_s, None, None, None, ())
    neck, _ = neck_of(net, filling, slowest, axes, centre_mm)
    section = Section(neck.diameter_mm, neck.length_mm)
    flow = flow_under_head([section], net.liquid, float(net.head_mm[slowest]))
    return FillTime(time_s, limit_s, neck, flow.reynolds, flow.laminar, flow.notes)
