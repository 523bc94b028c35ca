"""Flat things to carry and to stick in the ground: coin, keyring tag, plant marker."""

from __future__ import annotations

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.mesh import Floats
from pourwright.sprue import forms
from pourwright.sprue.model import Face, Shape, Site
from pourwright.sprue.plinths import EDGE_MM, arc_face, strip_face, underside
from pourwright.sprue.settings import BaseSettings

_POINTS_PER_GROOVE = 4


def coin(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Disc with a rim round its field and grooves milled into its edge."""
    field, radius = s.top_mm, site.half_x
    width, rise, pitch = s.extra("rim_width_mm"), s.extra("rim_mm"), s.extra("milling_mm")
    outer, height = radius + width, field + rise
    rounding = min(forms.fitting_rounding(s.rounding_mm, height, 2 * outer), 0.3 * width)
    profile = forms.rounded_profile(height, s.draft_deg, rounding)
    grooves = round(2 * np.pi * outer / pitch) if pitch > 0 else 0
    count = max(grooves * _POINTS_PER_GROOVE, forms.SEGMENTS)
    round_one = forms.circle(1.0, count)
    milled = np.ones(count)
    depth = min(0.22 * pitch, 0.3 * width)
    if grooves:
        # Two points on the land, two on the floor of each groove.
        milled[np.arange(count) % _POINTS_PER_GROOVE >= 2] -= depth / outer
    foot = round_one * (milled * (outer + profile[0][0]))[:, None]
    levels = [forms.at(foot, 0.0)]
    ring, ring_z = foot, 0.0
    if neck_mm is not None:
        ring, ring_z = underside(foot, np.zeros(2), neck_mm, s.crown_deg)
        levels.insert(0, forms.at(round_one * neck_mm / 2, ring_z))
    # The grooves run out below the rounded edge, the rim's own face is plain.
    smooth = outer - depth
    levels.append(
        forms.at(round_one * (milled * (outer + profile[1][0]))[:, None], profile[1][1])
    )
    levels += [forms.at(round_one * (smooth + g), z) for g, z in profile[2:] or profile[1:]]
    inner = radius + min(rise * 0.35, 0.3 * width)
    levels.append(forms.at(round_one * inner, height))
    levels.append(forms.at(round_one * radius, field))
    body = forms.loft(levels, "sprue base")
    footprint = forms.circle(float(np.linalg.norm(foot, axis=1).max()))
    wall = min(field, width - depth - (inner - radius))
    return Shape(
        body, field, ring, ring_z, footprint, wall, arc_face(site, radius, field),
        rounding_mm=rounding,
    )  # fmt: skip


def keyring_tag(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Plate with an eye at its left end."""
    height, hole, wall = s.top_mm, s.extra("hole_mm") / 2, s.extra("wall_mm")
    narrowest = 2 * min(site.half_x, site.half_y)
    rounding = forms.fitting_rounding(s.rounding_mm, height, 2 * wall)
    profile = forms.rounded_profile(height, s.draft_deg, rounding)
    corner = 0.45 * narrowest
    eye_x = -site.half_x - hole - 1.0

    def outline(grown: float) -> Floats:
        plate = forms.rectangle(site.half_x + grown, site.half_y + grown, corner + grown)
        return np.vstack([plate, forms.circle(hole + wall + grown, 48, eye_x)])

    rim = forms.convex_outline(outline(profile[0][0]))
    ring, ring_z = underside(rim, np.zeros(2), neck_mm, s.crown_deg)
    body = forms.hull("tag", forms.rings(outline, profile), forms.at(ring, ring_z))
    bore = forms.circle(hole, 48, eye_x)
    tools = [forms.prism([bore], ring_z - 1.0, height + 1.0, "hole")]
    if rounding > 0:
        soft = rounding / 2
        wide = forms.circle(hole + 2 * soft, 48, eye_x)
        tools.append(
            forms.hull("edge", forms.at(bore, height - soft), forms.at(wide, height + soft))
        )
    if neck_mm is None:
        ring = rim
    return Shape(
        boolean.difference(body, tools, "sprue base"), height, ring, ring_z, rim,
        min(height, wall, narrowest), strip_face(site, rounding, height, corner),
        rounding_mm=rounding,
    )  # fmt: skip


def plant_marker(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Cap for the figure, label below it, stake below that; the resin enters at the stake's tip."""
    height, thick = s.top_mm, s.extra("thickness_mm")
    stake = s.extra("stake_width_mm") / 2
    label = max(s.extra("label_width_mm") / 2, stake)
    rounding = forms.fitting_rounding(s.rounding_mm, height, 2 * min(site.half_x, site.half_y))
    profile = forms.rounded_profile(height, s.draft_deg, rounding)

    def cap(grown: float) -> Floats:
        return forms.rectangle(
            site.half_x + grown, site.half_y + grown, 0.4 * min(site.half_x, site.half_y) + grown
        )

    def section(half_x: float, half_y: float) -> Floats:
        return forms.rectangle(half_x, half_y, 0.45 * min(half_x, half_y))

    rim = cap(profile[0][0])
    # Every underside slopes: the cap's to the label, the label's round shoulders to the stake.
    under = max(abs(site.half_y - thick / 2) * np.tan(np.radians(40)), 2.0)
    tall = s.extra("label_height_mm")
    label_top, label_foot = -under, -under - tall
    # The label grows a little thicker downwards, so that air leaves from behind its letters.
    swell = tall * np.tan(np.radians(2.0))
    drop = max(0.8 * (label - stake), 2.0)
    bow = [
        forms.at(
            section(stake + (label - stake) * np.sqrt(1 - t * t), thick / 2 + swell * (1 - t)),
            label_foot - drop * t,
        )
        for t in np.linspace(0, 0.94, 9)
    ]
    nook = min(0.2 * tall, 0.2 * label)
    corners = [
        forms.at(
            section(
                label - nook * (1 - np.sin(a)),
                thick / 2 + swell * nook * (1 - np.cos(a)) / tall,
            ),
            label_top - nook * (1 - np.cos(a)),
        )
        for a in np.linspace(0, np.pi / 2, 6)
    ]
    shoulder = label_foot - 0.94 * drop
    root = section(float(np.ptp(bow[-1][:, 0])) / 2, thick / 2 + 0.06 * swell)
    tip_z = label_foot - drop - s.extra("stake_mm")
    tip_thick = 0.8 * thick
    tip = stake if neck_mm is None else min(neck_mm / 2, 0.5 * stake)
    ring = section(tip, tip_thick / 2)
    taper = tip_z + min(2.5 * stake, 0.5 * s.extra("stake_mm"))
    lap = min(forms.OVERLAP_MM, under / 4)
    bodies = [
        forms.hull("cap", forms.rings(cap, profile), forms.at(rim, 0.0), corners[0]),
        forms.hull("label", corners[0] + [0, 0, lap], *corners, *bow),
        forms.hull(
            "stake",
            forms.at(root, shoulder + lap), forms.at(root, shoulder),
            forms.at(section(stake, thick / 2), label_foot - drop - 1.0),
            forms.at(section(stake, 0.5 * (thick + tip_thick) / 2), taper), forms.at(ring, tip_z),
        ),
    ]  # fmt: skip
    out = thick / 2 + swell * (0.5 + nook / tall / 2)
    faces = tuple(
        Face(
            name,
            np.array([0.0, y * out, label_foot + (tall - nook) / 2]),
            np.array([-y, 0.0, 0.0]),
            _unit(0.0, -y * swell, tall),
            2 * label - 2 * EDGE_MM - 0.45 * thick,
            tall - nook - 2 * EDGE_MM,
            behind_mm=thick,
        )
        for name, y in (("front", -1.0), ("back", 1.0))
    )
    return Shape(
        boolean.union(bodies, "sprue base"), height, ring, tip_z, rim,
        min(tip_thick, 2 * tip, height), faces, rim_mm=tip_z, rounding_mm=rounding,
    )  # fmt: skip


def _unit(x: float, y: float, z: float) -> Floats:
    vector = np.array([x, y, z])
    return vector / np.linalg.norm(vector)


