"""Why a need got no rod, and what would free it: found by trying."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pourwright.air import AirReport, read_pockets, top_plane_vertices
from pourwright.air.jointree import join_tree
from pourwright.shop.process import Process
from pourwright.solid.lines import near_path
from pourwright.solid.mesh import Floats, Ints
from pourwright.vents.field import Rod, field
from pourwright.vents.needs import Need
from pourwright.vents.route import best_rod
from pourwright.vents.site import Site

_TILT_DEG = 15.0
_WEBS, _SLOPE_DEG, _THIN = (0.75, 0.5, 0.25), 12.0, 0.7


class Explainer:
    """Tries what would free needs that got no rod."""

    def __init__(self, site: Site, rods: Sequence[Rod], process: Process):
        self.site, self.rods, self.process = site, rods, process
        self._poses: list[tuple[Floats, AirReport]] = []

    def reason(self, need: Need, contacts: Ints) -> str:
        """Return one sentence: what blocks the rod, and each change that would let one stand."""
        helps = [text for text in self._trials() if self._goes(text, need, contacts)]
        # Of the webs the widest one will do.
        webs = [h for h in helps if h.startswith("a web")]
        helps = [h for h in helps if h not in webs[1:]]
        pose = self._pose_that_helps(need)
        if pose:
            helps.append(pose)
        cure = "it would go with " + ", or with ".join(helps) if helps else (
            "neither a thinner rod or web, a flatter slope nor a tilted pour frees it"
        )
        return f"{_obstacle(self.site, need, self.rods)}; {cure}"

    def _trials(self) -> dict[str, tuple[float, float, float]]:
        """Radius, web and slope of each trial, by its text."""
        settings = self.site.settings
        radius = min(settings.least_diameter_mm, settings.diameter_mm) / 2
        web, slope = settings.web_mm, settings.slope_deg
        trials = {
            f"a web of {share * web:.2g} mm": (radius, share * web, slope) for share in _WEBS
        }
        trials[f"a rod of {2 * _THIN * radius:.2g} mm"] = (_THIN * radius, web, slope)
        if slope > _SLOPE_DEG:
            trials[f"a slope of {_SLOPE_DEG:.0f} degrees"] = (radius, web, _SLOPE_DEG)
        return trials

    def _goes(self, trial: str, need: Need, contacts: Ints) -> bool:
        radius, web, slope = self._trials()[trial]
        near = self.site.near(need.peak)
        floor_mm = float(self.site.coords[contacts, 2].min())
        found = field(
            near, self.rods, radius, web_mm=web, slope_deg=slope, floor_mm=floor_mm
        )
        return best_rod(near, found, contacts, self.rods).rod is not None

    def _pose_that_helps(self, need: Need) -> str:
        """Look for a tilt of the pour in which the need's place holds no air that matters."""
        surface, up = self.site.report.surface, self.site.report.tree.up
        if not self._poses:
            openings = top_plane_vertices(surface, up)
            for turn in range(8):
                angle = turn * np.pi / 4
                level = np.cos(angle) * self.site.axes[0] + np.sin(angle) * self.site.axes[1]
                tilt = np.radians(_TILT_DEG)
                way = np.cos(tilt) * up + np.sin(tilt) * level
                self._poses.append(
                    (way, read_pockets(surface, join_tree(surface, way), openings))
                )
        for way, left in self._poses:
            pocket = left.pocket_at(need.peak)
            if pocket < 0 or not self.process.matters(left.pockets[pocket].volume_mm3):
                return "the pour direction ({:.2f}, {:.2f}, {:.2f})".format(*way)
        return ""


def _obstacle(site: Site, need: Need, rods: Sequence[Rod]) -> str:
    """What the straight way up meets first, or comes too close to."""
    start = site.coords[need.peak]
    found = site.columns.hits(start[None, :2])
    own = (site.report.surface.faces[found.triangle] == need.peak).any(axis=1)
    over = found.z[~own & (found.z > start[2])]
    line = np.array([start, [start[0], start[1], over.min() if len(over) else site.top_mm]])
    for number, rod in enumerate(rods, start=1):
        gap = near_path(line, rod.path).min() - rod.radius_mm
        if gap < site.settings.web_mm + site.settings.diameter_mm / 2:
            return f"vent {number} stands too close"
    if len(over):
        return "the way up is shut by the figure at " + _place(site, line[1])
    beside = site.coords[(site.coords[:, 2] > start[2] + site.settings.web_mm)]
    if len(beside) == 0:
        return "there is no room for a rod"
    near = beside[int(np.argmin(near_path(beside, line)))]
    return "the way up is too narrow at " + _place(site, near)


def _place(site: Site, point: Floats) -> str:
    return "({:.1f}, {:.1f}, {:.1f}) mm".format(*site.standing(point[None])[0])
