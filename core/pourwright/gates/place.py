"""Gates for a whole figure: what is badly fed, a rod of the right width to each, or why not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourwright.air import AirReport
from pourwright.checks import check_number
from pourwright.errors import Point
from pourwright.gates.find import late_parts, network_of
from pourwright.gates.network import fill
from pourwright.gates.rods import Founder
from pourwright.gates.settings import FedPart, Gate, GateSettings
from pourwright.gates.site import ground
from pourwright.progress import Progress, silent
from pourwright.shop.flow import Liquid
from pourwright.solid.columns import frame
from pourwright.solid.mesh import TriMesh
from pourwright.solid.protect import Protection


@dataclass(frozen=True, eq=False)
class Gates:
    """Gates that were placed, their bodies, and what could not be served.

    parts : everything that the base does not feed well, as it is without gates.
    blocked : (middle of the part, why it got no gate and what would help).
    limit_s : time in which every part has to be full. slowest_s : of all parts of the cavity,
    with the gates; inf where one gets no resin.
    """

    gates: tuple[Gate, ...]
    bodies: tuple[TriMesh, ...]
    parts: tuple[FedPart, ...]
    blocked: tuple[tuple[Point, str], ...]
    limit_s: float
    slowest_s: float


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
        return Gates((), (), parts, (), limit_s, float(filling.time_s.max()))
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
        limit_s=limit_s,
        slowest_s=float(founder.filling.time_s.max()),
    )
