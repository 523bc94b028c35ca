"""Things that hold other things: brush rest and wall hook."""

from __future__ import annotations

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.sprue import forms
from pourwright.sprue.model import Face, Shape, Site
from pourwright.sprue.plinths import EDGE_MM, side_faces, underside
from pourwright.sprue.settings import BaseSettings

# Steps of the hook's bend from the plate to the front.
_BEND_STEPS = 18


def brush_rest(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Long block with grooves from front to back on both sides of the figure."""
    height, per_side = s.top_mm, int(s.extra("grooves"))
    groove, land = s.extra("groove_mm"), s.extra("land_mm")
    pitch = groove + land
    least = 0.0 if s.depth_mm is not None else s.extra("least_depth_mm")
    half_y = max(site.half_y, least / 2)
    # The outermost ridges hold the rounded corners, which no groove may cut.
    corner = min(half_y / 2, 5.0)
    half_x = site.half_x + per_side * pitch - land + max(land, corner)
    rounding = forms.fitting_rounding(s.rounding_mm, height, 2 * land)
    profile = forms.rounded_profile(height, s.draft_deg, rounding)

    def outline(grown: float) -> Floats:
        return forms.rectangle(half_x + grown, half_y + grown, corner + grown)

    rim = outline(profile[0][0])
    ring, ring_z = underside(rim, np.zeros(2), neck_mm, s.crown_deg)
    body = forms.hull("rest", forms.rings(outline, profile), forms.at(ring, ring_z))
    # A bit flatter than a half circle, so that its edges are blunt; never through the base.
    depth = min(0.4 * groove, 0.6 * height)
    radius = ((groove / 2) ** 2 + depth**2) / (2 * depth)
    turn = np.linspace(-1, 1, 25) * np.arcsin(min(groove / 2 / radius, 1.0))
    reach = half_y + profile[0][0] + 1.0
    tools = []
    for side in (-1, 1):
        for number in range(per_side):
            x = side * (site.half_x + groove / 2 + number * pitch)
            cut = np.column_stack(
                [x + radius * np.sin(turn), height - depth + radius * (1 - np.cos(turn))]
            )
            cut = np.vstack([cut, [(x + groove / 2, height + 2.0), (x - groove / 2, height + 2.0)]])
            ends = [np.column_stack([cut[:, 0], np.full(len(cut), y), cut[:, 1]])
                    for y in (-reach, reach)]  # fmt: skip
            tools.append(forms.hull("groove", *ends))
    wide = Site(0, 0, half_x, half_y, 0, 0)
    room = (EDGE_MM, height - depth - EDGE_MM)
    faces = side_faces(wide, height, room, s.draft_deg, corner)[:2]
    return Shape(
        boolean.difference(body, tools, "sprue base"), height, ring, ring_z, rim,
        min(height - depth, land), faces, rounding_mm=rounding,
    )  # fmt: skip


def wall_hook(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Shelf on a bracket, plate with screw holes below it, hook below that.

    The wall is behind, towards +Y. The resin enters at the lowest point of the hook's bend.
    """
    height, thick = s.top_mm, s.extra("arm_mm")
    plate, screw = s.extra("plate_mm"), s.extra("screw_mm") / 2
    head = 2.1 * screw  # of a countersunk screw. Common practice, no source.
    inner, arm = s.extra("hook_mm") / 2, s.extra("arm_width_mm") / 2
    wall_y = site.half_y + plate
    wide = max(site.half_x, arm, 2 * (head + 3.5))
    bracket = -max(2 * site.half_y * np.tan(np.radians(35)), 4.0)
    plate_foot = bracket - 2 * head - 5.0
    neck_top = plate_foot - max((wide - arm) * np.tan(np.radians(45)), 2.0)
    bend_z = neck_top - 1.0

    def plate_at(half: float, depth: float, z: float) -> Floats:
        # Longer than the wall allows, so that only the corners in front are rounded.
        half_y = (depth + 4.0) / 2
        return forms.at(
            forms.rectangle(half, half_y, 0.4 * depth, y=wall_y - depth + half_y, steps=4), z
        )

    shelf, rounding = _shelf(site, s, wall_y)
    bend = _Bend(wall_y - thick - inner, bend_z, inner, thick, arm)
    lap = forms.OVERLAP_MM
    bodies = [
        forms.hull("shelf", shelf, plate_at(wide, plate, bracket)),
        forms.hull(
            "plate", plate_at(wide, plate, bracket + lap), plate_at(wide, plate, plate_foot)
        ),
        forms.hull(
            "foot",
            plate_at(wide, plate, plate_foot + lap), plate_at(wide, plate, plate_foot),
            plate_at(arm, thick, neck_top),
        ),
        forms.hull(
            "arm", plate_at(arm, thick, neck_top + lap), plate_at(arm, thick, neck_top),
            bend.section(0.0),
        ),
    ]  # fmt: skip
    angles = np.linspace(0, np.pi, _BEND_STEPS + 1)
    bodies += [
        forms.hull("bend", *(bend.section(a) for a in angles[i : i + 3]))
        for i in range(_BEND_STEPS - 1)
    ]
    tip = bend.section(np.pi)
    # Low enough to leave the screws within reach.
    rise = np.array([0.0, 0.0, min(inner, 8.0)])
    bodies.append(
        forms.hull("tip", bend.section(angles[-2]), tip, tip * [0.85, 1, 1] + rise * 0.8,
                   bend.tip(rise))
    )  # fmt: skip
    # The neck's ring lies under the bend; everything round it slopes to it.
    half_y = thick / 2 if neck_mm is None else min(neck_mm / 2, 0.7 * thick)
    half_x = 0.7 * arm if neck_mm is None else min(neck_mm / 2, 0.7 * arm)
    ring = forms.rectangle(half_x, half_y, 0.9 * min(half_x, half_y), y=bend.y)
    low = bend_z - inner - thick
    ring_z = low - arm * float(np.tan(np.radians(max(s.crown_deg, 5.0))))
    near = np.arcsin(min(1.0, (half_y + 1.0) / (inner + thick)))
    under = [bend.section(a) for a in np.pi / 2 + np.linspace(-1, 1, 5) * near]
    bodies.append(forms.hull("underside", *under, forms.at(ring, ring_z)))
    body = boolean.union(bodies, "wall hook")
    hole_z = (bracket + plate_foot) / 2
    behind = forms.box((-500, wall_y, ring_z - 500), (500, wall_y + 500, height + 500))
    tools = [behind]
    for x in (-wide + head + 3.0, wide - head - 3.0):
        tools += _screw_hole(x, hole_z, wall_y, plate, screw, head)
    body = boolean.difference(body, tools, "sprue base")
    out = height / 2 * np.tan(np.radians(s.draft_deg))
    front = Face(
        "front",
        np.array([0.0, -site.half_y - out, height / 2 - (rounding - EDGE_MM) / 2]),
        np.array([1.0, 0.0, 0.0]),
        np.array([0.0, np.sin(np.radians(s.draft_deg)), np.cos(np.radians(s.draft_deg))]),
        2 * (site.half_x - _corner(site)),
        height - rounding - EDGE_MM,
    )
    back = forms.rectangle(wide, (height - neck_top) / 2, y=(height + neck_top) / 2)
    return Shape(
        body, height, ring, ring_z, back, min(plate, thick, 2 * arm, 3.0, height),
        (front,), rim_mm=ring_z, rounding_mm=rounding,
    )  # fmt: skip


def _shelf(site: Site, s: BaseSettings, wall_y: float) -> tuple[Floats, float]:
    """Points of the shelf, longer than the wall allows, and the rounding of its edge."""
    rounding = forms.fitting_rounding(s.rounding_mm, s.top_mm, 2 * min(site.half_x, site.half_y))
    profile = forms.rounded_profile(s.top_mm, s.draft_deg, rounding)
    reach = (wall_y + 3.0 + _corner(site) + site.half_y) / 2
    middle = reach - site.half_y

    def outline(grown: float) -> Floats:
        return forms.rectangle(
            site.half_x + grown, reach + grown, _corner(site) + grown, y=middle
        )

    return forms.rings(outline, profile), rounding


def _corner(site: Site) -> float:
    return min(4.0, 0.6 * min(site.half_x, site.half_y))


class _Bend:
    """The hook's bend: sections of its arm along a half circle from the plate to the front."""

    def __init__(self, y: float, z: float, inner: float, thick: float, arm: float):
        self.y, self.z = y, z
        self._middle = inner + thick / 2
        self._flat = forms.rectangle(arm, thick / 2, 0.5 * min(arm, thick / 2), steps=4)

    def section(self, angle: float) -> Floats:
        """Points of the section at an angle: 0 at the plate, a quarter turn at the lowest."""
        away = np.array([0.0, np.cos(angle), -np.sin(angle)])
        points = self._flat[:, :1] * [1.0, 0, 0] + (self._middle + self._flat[:, 1:]) * away
        return points + [0.0, self.y, self.z]

    def tip(self, rise: Floats) -> Floats:
        """Points of the rounded upper end."""
        flat = self.section(np.pi)
        middle = flat.mean(axis=0)
        return middle + (flat - middle) * 0.45 + rise


def _screw_hole(
    x: float, z: float, wall_y: float, plate: float, screw: float, head: float
) -> list[TriMesh]:
    """Hole through the plate and the cone for the head of a countersunk screw."""

    def ring(radius: float, y: float) -> Floats:
        flat = forms.circle(radius, 32)
        return np.column_stack([x + flat[:, 0], np.full(len(flat), y), z + flat[:, 1]])

    front = wall_y - plate
    deep = min(head - screw, 0.6 * plate)
    return [
        forms.hull("hole", ring(screw, front - 1.0), ring(screw, wall_y + 1.0)),
        forms.hull("head", ring(head + 0.5, front - 0.5), ring(head - deep, front + deep)),
    ]
