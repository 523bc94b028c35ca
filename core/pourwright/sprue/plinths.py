"""Plinths: bases that stand on a table and hold the figure up."""

from __future__ import annotations

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.mesh import Floats
from pourwright.sprue import forms
from pourwright.sprue.model import Face, Shape, Site
from pourwright.sprue.settings import BaseSettings

# Kept free of text along the edges of a face.
EDGE_MM = 0.7


def round_plinth(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Frustum of a cone with a rounded upper edge."""
    height, radius = s.top_mm, site.half_x
    rounding = forms.fitting_rounding(s.rounding_mm, height, 2 * radius)
    profile = forms.rounded_profile(height, s.draft_deg, rounding)
    rim = forms.circle(radius + profile[0][0])
    points = [forms.rings(lambda grown: forms.circle(radius + grown), profile)]
    ring, ring_z = underside(rim, np.zeros(2), neck_mm, s.crown_deg)
    points.append(forms.at(ring, ring_z))
    side = _side_room(height, rounding)
    half_way = radius + (height - sum(side) / 2) * np.tan(np.radians(s.draft_deg))
    front = Face(
        "front",
        np.array([0.0, -half_way, sum(side) / 2]),
        np.array([1.0, 0.0, 0.0]),
        _lean(0.0, 1.0, s.draft_deg),
        2.4 * half_way,
        (side[1] - side[0]) / np.cos(np.radians(s.draft_deg)),
        "cone",
        half_way,
    )
    faces = (front, *arc_face(site, radius - rounding, height))
    return Shape(
        forms.hull("sprue base", *points), height, ring, ring_z, rim, min(height, 2 * radius),
        faces, rounding_mm=rounding,
    )  # fmt: skip


def rectangular_plinth(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Frustum of a pyramid with rounded corners and a rounded upper edge."""
    height, corner = s.top_mm, s.extra("corner_mm")
    narrowest = 2 * min(site.half_x, site.half_y)
    rounding = forms.fitting_rounding(s.rounding_mm, height, narrowest)
    profile = forms.rounded_profile(height, s.draft_deg, rounding)

    def outline(grown: float) -> Floats:
        return forms.rectangle(site.half_x + grown, site.half_y + grown, _sharp(corner + grown))

    rim = outline(profile[0][0])
    ring, ring_z = underside(rim, np.zeros(2), neck_mm, s.crown_deg)
    body = forms.hull("sprue base", forms.rings(outline, profile), forms.at(ring, ring_z))
    corner = min(corner, site.half_x, site.half_y)
    faces = side_faces(site, height, _side_room(height, rounding), s.draft_deg, corner)
    top = strip_face(site, rounding, height, corner)
    return Shape(
        body, height, ring, ring_z, rim, min(height, narrowest), (*faces, *top),
        rounding_mm=rounding,
    )  # fmt: skip


def stepped_plinth(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Blocks on top of each other; the lowest takes half of the height."""
    height, steps, tread = s.top_mm, int(s.extra("steps")), s.extra("tread_mm")
    lowest = height / 2
    riser = (height - lowest) / (steps - 1)
    rounding = forms.fitting_rounding(s.rounding_mm, riser, 3 * tread)
    corner = s.extra("corner_mm")
    bodies = []
    for step in range(steps):
        out = (steps - 1 - step) * tread

        def outline(grown: float, out: float = out) -> Floats:
            return forms.rectangle(
                site.half_x + out + grown, site.half_y + out + grown, _sharp(corner + out + grown)
            )

        if step == 0:
            profile = forms.rounded_profile(lowest, s.draft_deg, rounding)
            rim = outline(profile[0][0])
            ring, ring_z = underside(rim, np.zeros(2), neck_mm, s.crown_deg)
            bodies.append(
                forms.hull("step", forms.rings(outline, profile), forms.at(ring, ring_z))
            )
            continue
        profile = forms.rounded_profile(riser, s.draft_deg, rounding)
        lift = lowest + (step - 1) * riser
        foot = outline(profile[0][0])
        bodies.append(
            forms.hull(
                "step",
                forms.rings(outline, profile, lift),
                forms.at(foot, lift - forms.OVERLAP_MM),
            )
        )
    out = (steps - 1) * tread
    wide = Site(0, 0, site.half_x + out, site.half_y + out, 0, 0)
    corner = min(corner + out, wide.half_x, wide.half_y)
    faces = side_faces(wide, lowest, _side_room(lowest, rounding), s.draft_deg, corner)
    narrowest = 2 * min(site.half_x, site.half_y)
    return Shape(
        boolean.union(bodies, "sprue base"), height, ring, ring_z, rim,
        min(lowest, narrowest), faces[:2], rounding_mm=rounding,
    )  # fmt: skip


def name_plate(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Block whose front slants out towards its foot, over a low upright edge."""
    height, corner = s.top_mm, s.extra("corner_mm")
    # Wide enough for a line of text, unless it was given another width.
    half_x = site.half_x if s.width_mm is not None else max(site.half_x, 1.4 * height)
    half_y = site.half_y
    slant = np.radians(s.extra("slant_deg"))
    lip = min(s.extra("lip_mm"), height / 3)
    narrowest = 2 * min(half_x, half_y)
    rounding = forms.fitting_rounding(s.rounding_mm, height - lip, narrowest)
    profile = forms.rounded_profile(height, s.draft_deg, rounding)
    reach = float((height - lip) * np.tan(slant))

    def outline(grown: float) -> Floats:
        return forms.rectangle(half_x + grown, half_y + grown, _sharp(corner + grown))

    spread, toe = profile[0][0], 0.1 * lip
    foot = forms.rectangle(
        half_x + spread, half_y + (spread + reach + toe) / 2, _sharp(corner + spread),
        y=(spread - reach - toe) / 2,
    )  # fmt: skip
    # The upright edge belongs to the front alone: the other sides lean in from the very foot.
    edge = foot[foot[:, 1] < -half_y] + [0.0, toe]
    edge[:, 0] *= (half_x + spread * (1 - lip / height)) / (half_x + spread)
    corner = min(corner, half_x, half_y)
    roll = forms.rounded_profile(height, s.extra("slant_deg"), rounding)[1:]
    flat = half_x - corner
    front_edge = np.array([(x, -half_y - grown, z) for grown, z in roll for x in (-flat, flat)])
    ring, ring_z = underside(foot, np.array([0.0, -reach / 2]), neck_mm, s.crown_deg)
    body = forms.hull(
        "sprue base",
        forms.rings(outline, profile[1:]),
        front_edge,
        forms.at(edge, lip),
        forms.at(foot, 0.0),
        forms.at(ring, ring_z),
    )
    low, high = lip + EDGE_MM, height - rounding - 0.3
    middle = (low + high) / 2
    front = Face(
        "front",
        np.array([0.0, -half_y - (height - middle) * np.tan(slant), middle]),
        np.array([1.0, 0.0, 0.0]),
        np.array([0.0, np.sin(slant), np.cos(slant)]),
        2 * (half_x - corner),
        (high - low) / np.cos(slant),
    )
    wide = Site(0, 0, half_x, half_y, 0, 0)
    back = side_faces(wide, height, _side_room(height, rounding), s.draft_deg, corner)[1]
    return Shape(
        body, height, ring, ring_z, foot, min(height, narrowest), (front, back),
        rounding_mm=rounding,
    )  # fmt: skip


def underside(
    rim: Floats, middle: Floats, neck_mm: float | None, crown_deg: float
) -> tuple[Floats, float]:
    """Outline of the face the resin enters and its height below the rim.

    The underside rises towards the neck by the crown at the rim's farthest point, and by more
    nearer to it. Without a neck the whole rim is open.
    """
    if neck_mm is None:
        return rim, 0.0
    ring = forms.circle(neck_mm / 2, x=middle[0], y=middle[1])
    reach = float(np.linalg.norm(rim - middle, axis=1).max()) - neck_mm / 2
    return ring, -reach * float(np.tan(np.radians(crown_deg)))


def side_faces(
    site: Site, height: float, room: tuple[float, float], draft_deg: float, corner: float
) -> tuple[Face, Face, Face, Face]:
    """Front, back, left and right side of a drafted block, between two heights."""
    middle = (room[0] + room[1]) / 2
    out = (height - middle) * np.tan(np.radians(draft_deg))
    high = (room[1] - room[0]) / np.cos(np.radians(draft_deg))
    made = []
    for name, x, y in (("front", 0, -1), ("back", 0, 1), ("left", -1, 0), ("right", 1, 0)):
        half = site.half_x if x == 0 else site.half_y
        made.append(
            Face(
                name,
                np.array([x * (site.half_x + out), y * (site.half_y + out), middle]),
                np.array([-y, x, 0.0]),
                _lean(-x, -y, draft_deg),
                2 * (half - corner),
                high,
            )
        )
    front, back, left, right = made
    return front, back, left, right


def strip_face(site: Site, rounding: float, height: float, corner: float) -> tuple[Face, ...]:
    """Room on the top in front of the feet, if there is any."""
    low, high = -site.half_y + rounding + EDGE_MM, -site.front - EDGE_MM
    if high <= low:
        return (_no_room("top", height),)
    side = max(rounding + EDGE_MM, corner / 2)
    return (
        Face(
            "top",
            np.array([0.0, (low + high) / 2, height]),
            np.array([1.0, 0.0, 0.0]),
            np.array([0.0, 1.0, 0.0]),
            2 * (site.half_x - side),
            high - low,
            behind_mm=height,
        ),
    )


def arc_face(site: Site, radius: float, height: float) -> tuple[Face, ...]:
    """Room on a round top in front of the feet, bent along its edge, if there is any."""
    outer, inner = radius - EDGE_MM, site.front + EDGE_MM
    if outer <= inner:
        return (_no_room("top", height),)
    middle = (outer + inner) / 2
    return (
        Face(
            "top",
            np.array([0.0, -middle, height]),
            np.array([1.0, 0.0, 0.0]),
            np.array([0.0, 1.0, 0.0]),
            3.6 * middle,
            outer - inner,
            "arc",
            middle,
            height,
        ),
    )


def _no_room(name: str, height: float) -> Face:
    x, y = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    return Face(name, np.array([0.0, 0.0, height]), x, y, 0.0, 0.0)


def _side_room(height: float, rounding: float) -> tuple[float, float]:
    """Lowest and highest place for text on a side."""
    return EDGE_MM, height - max(rounding, EDGE_MM)


def _lean(x: float, y: float, draft_deg: float) -> Floats:
    """Unit vector up a side that leans towards (x, y)."""
    lean = np.radians(draft_deg)
    return np.array([x * np.sin(lean), y * np.sin(lean), np.cos(lean)])


def _sharp(radius: float) -> float:
    """Radius of a corner, never quite sharp."""
    return max(radius, 0.2)
