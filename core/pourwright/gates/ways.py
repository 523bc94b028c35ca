"""The cheapest way of a gate over a site."""

from __future__ import annotations

from dataclasses import replace

from pourwright.solid.mesh import Floats, Ints
from pourwright.vents.field import Rod, field
from pourwright.vents.route import best_rod
from pourwright.vents.site import Site

# Times that ways are found anew without the ends that did not hold.
_SWEEPS = 5


def routed(
    site: Site,
    feet: Ints,
    radius_mm: float,
    *,
    web_mm: float | None = None,
    slope_deg: float | None = None,
) -> Rod | None:
    """The cheapest rod from one of the feet to a landing of the site, or None."""
    web = site.settings.web_mm if web_mm is None else web_mm
    floor_mm = float(site.coords[feet, 2].min())
    # By where it lies within its voxel a landing may be a little too far from the clear voxels
    # under it to be seen; with half a voxel more of web it is not.
    for more in (0.0, 0.5 * site.grid.pitch_mm):
        banned: list[Floats] = []
        left = feet
        for _ in range(_SWEEPS):
            found = field(
                site, (), radius_mm, web_mm=web + more, slope_deg=slope_deg, floor_mm=floor_mm,
                banned=banned,
            )  # fmt: skip
            tried = best_rod(site, found, left, ())
            if tried.rod is not None:
                return replace(tried.rod, web_mm=min(tried.rod.web_mm, web))
            if not tried.bad_ends:
                break
            banned += tried.bad_ends
            left = tried.others(feet)
    return None
