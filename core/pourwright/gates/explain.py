"""Why a part got no gate, and what would let one stand: found by trying."""

from __future__ import annotations

import numpy as np

from pourwright.gates.settings import GateSettings
from pourwright.gates.ways import routed
from pourwright.solid.mesh import Ints
from pourwright.vents.site import Site

_WEBS, _SLOPE_DEG, _THINNER = (0.75, 0.5, 0.25), 12.0, (0.7, 0.5, 0.35)


def why_not(site: Site, feet: Ints, diameter_mm: float, settings: GateSettings) -> str:
    """Return one sentence: what blocks a gate, and each change that would let one stand.

    feet : vertices where it could start, the best first.
    """
    radius, web = diameter_mm / 2, settings.web_mm
    helps = []
    for share in _WEBS:  # the widest one will do
        if routed(site, feet, radius, web_mm=share * web) is not None:
            helps.append(f"a web of {share * web:.2g} mm")
            break
    for share in _THINNER:
        if routed(site, feet, share * radius) is not None:
            helps.append(f"a gate of {share * diameter_mm:.2g} mm, which fills it more slowly")
            break
    if settings.slope_deg > _SLOPE_DEG and (
        routed(site, feet, radius, slope_deg=_SLOPE_DEG) is not None
    ):
        helps.append(f"a slope of {_SLOPE_DEG:.0f} degrees")
    cure = "it would go with " + ", or with ".join(helps) if helps else (
        "neither a thinner gate or web nor a flatter slope frees it: tilt the pour, or join the "
        "part to the figure where it is thin"
    )
    return f"{_obstacle(site, feet, diameter_mm)}; {cure}"


def _obstacle(site: Site, feet: Ints, diameter_mm: float) -> str:
    """What the straight way up from the best foot meets first."""
    start = site.coords[feet[0]]
    found = site.columns.hits(start[None, :2])
    over = found.z[found.z > start[2] + 1e-3]
    if len(over) == 0:
        return f"a gate of {diameter_mm:.2g} mm finds nothing above it that is fed"
    place = site.standing(np.array([[start[0], start[1], over.min()]]))[0]
    where = "({:.1f}, {:.1f}, {:.1f}) mm".format(*place)
    return f"a gate of {diameter_mm:.2g} mm has no way up; straight above is what lies at {where}"
