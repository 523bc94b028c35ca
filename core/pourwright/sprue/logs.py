"""The scenic log: half sunk in the ground, with bark, a hewn seat, and rings on its ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.sprue import forms
from pourwright.sprue.chance import Chance, Noise, settled
from pourwright.sprue.model import Face, Shape, Site
from pourwright.sprue.plinths import EDGE_MM, underside
from pourwright.sprue.scenic import face_on, slab_before
from pourwright.sprue.settings import BaseSettings

_AROUND = 96
_STATION_MM = 2.0
_END_DEG = 4.0
_HEWN_DEG = 28.0
_RING_SHARES = (0.9, 0.66, 0.43, 0.2)
# Wood left between the outermost ring and the bark.
_SAPWOOD_MM = 1.6
_GROUND_MM = 0.8
# Without a height given a log gets no thicker than that, but flatter.
_HIGHEST_MM = 26.0


@dataclass(frozen=True)
class _Trunk:
    """Section of the log: an ellipse about a height, on sides that spread to the ground."""

    middle: float
    half_y: float
    half_z: float
    foot: float

    def ring(self, wear: Floats | float = 0.0) -> Floats:
        """Points (k, 2) in y and z from the right foot over the top to the left one.

        wear : how much of the bark is gone, mm, at each of the points of the arc.
        """
        turn = np.linspace(0, np.pi, _AROUND + 1)
        y, z = (self.half_y - wear) * np.cos(turn), (self.half_z - wear) * np.sin(turn)
        # Nothing overhangs: going up either side, each point lies further in than the last.
        half = _AROUND // 2
        step = 1e-3 * np.arange(half + 1)
        y[: half + 1] = np.minimum.accumulate(y[: half + 1]) - step
        y[half:][::-1] = np.maximum.accumulate(y[half:][::-1]) + step
        arc = np.column_stack([y, self.middle + z])
        return np.vstack([[(self.foot, 0.0)], arc, [(-self.foot, 0.0)]])


def scenic_log(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Log along X with a seat hewn into its top."""
    chance = Chance(s.seed)
    height = s.top_mm if s.height_mm is not None else _height(site.half_y, s.top_mm)
    trunk = _trunk(site.half_y, height, s.draft_deg)
    half = site.half_x + s.extra("beyond_mm")
    bodies = [_bark(trunk, half, s.extra("bark_mm"), chance)]
    spread = half + (trunk.middle + trunk.half_z) * float(np.tan(np.radians(_END_DEG)))
    rim = forms.rectangle(spread, trunk.foot)
    ring, ring_z = underside(rim, np.zeros(2), neck_mm, s.crown_deg)
    if neck_mm is not None:
        bodies.append(forms.hull("underside", *forms.drain(rim, ring, -ring_z, inset=1.0)))
    wall = 1.0  # between the outermost growth ring and the bark
    if s.extra("branch"):
        bodies.append(_branch(trunk, site, half, chance))
    body = boolean.union(bodies, "scenic log")
    front, ends = _hewn(trunk, half, height, s.extra("bark_mm")), _ends(trunk, half)
    tools = [_seat(site.half_x, height, 2 * (trunk.foot + trunk.half_z))]
    writes_on = s.face if s.text.strip() else ""
    for face in ends:
        if face.name != writes_on:
            tools += _growth_rings(trunk, face, s.extra("bark_mm"), chance)
    body = boolean.difference(body, tools, "sprue base")
    hewn = boolean.difference(body, [slab_before(front)], "sprue base")
    if writes_on == "front":
        body = hewn
    faces = (face_on(hewn, front), *(face_on(body, face) for face in ends))
    if neck_mm is None:
        ring = rim
    return Shape(body, height, ring, ring_z, rim, wall, faces)


def _height(seat: float, least: float) -> float:
    """Height of a log that is about round under a seat of that half width."""
    return float(np.clip(1.55 * seat, least, _HIGHEST_MM))


def _trunk(seat: float, height: float, draft_deg: float) -> _Trunk:
    """Section whose seat at a height is so wide and lies a bit below the crest."""
    crest = min(0.5 * seat, 0.4 * height)
    middle = 0.15 * height
    half_z = height + crest - middle
    half_y = seat / float(np.sqrt(1 - ((height - middle) / half_z) ** 2))
    return _Trunk(middle, half_y, half_z, half_y + middle * float(np.tan(np.radians(draft_deg))))


def _bark(trunk: _Trunk, half: float, depth: float, chance: Chance) -> TriMesh:
    noise, fine = Noise(chance), Noise(chance)
    depth = min(depth, 0.15 * trunk.half_y, 0.15 * trunk.half_z)
    count = max(8, int(np.ceil(2 * half / _STATION_MM)))
    turn = np.linspace(0, np.pi, _AROUND + 1)
    # Furrows run along the log, wander and fork; they fade where the log meets the ground.
    ramp = np.clip(np.minimum(turn, np.pi - turn) / 0.25, 0, 1)
    lean = np.tan(np.radians(_END_DEG))
    # Ridges stay wider than they are high, so that they print.
    furrows = trunk.half_z / max(2.6, 2.2 * depth)
    levels = []
    for x in np.linspace(-half, half, count + 1):
        along = np.full(len(turn), x)
        wander: Floats = 0.4 * noise.at(along / 11.0, 0.6 * turn + 20)
        wander = wander + 0.2 * fine.at(along / 6.0, np.zeros(len(turn)))
        across: Floats = turn * furrows + wander + 7.0
        cells = np.abs(fine.at(across, along / 22.0))
        plates = np.clip(cells / 0.58, 0, 1)
        cracks = np.clip(np.abs(noise.at(turn * 4.0, along / 6.0 + 9)) / 0.4, 0, 1)
        lumps = noise.at(turn * 2.0 + 31, along / 9.0)
        wear = settled(depth * ramp * (1 - plates * (0.75 + 0.25 * cracks) - 0.25 * lumps + 0.25))
        flat = trunk.ring(wear)
        ahead = np.full(len(flat), x)
        if abs(x) >= half - 1e-9:
            ahead += np.sign(x) * (trunk.middle + trunk.half_z - flat[:, 1]) * lean
        levels.append(np.column_stack([ahead, flat]))
    return forms.loft(levels, "bark", flat=(1, 2))


def _branch(trunk: _Trunk, site: Site, half: float, chance: Chance) -> TriMesh:
    """Stub of a branch that rises outwards from beyond the seat."""
    side = 1.0 if chance.between(-1, 1) > 0 else -1.0
    x = side * (site.half_x + 0.45 * (half - site.half_x))
    back = np.array([0.04 * side, chance.between(0.45, 0.8), 0.75])
    back /= np.linalg.norm(back)
    thick = min(0.3 * trunk.half_z, 0.3 * (half - site.half_x), 0.4 * trunk.half_y)
    beside = np.cross(back, [1.0, 0.0, 0.0])
    beside /= np.linalg.norm(beside)
    across = np.cross(beside, back)
    count = 18
    flat = forms.circle(1.0, count) * chance.spread(count, 0.94, 1.05)[:, None]
    root = np.array([x, 0.25 * trunk.half_y, trunk.middle + 0.35 * trunk.half_z])
    rings = []
    for share, wide in ((0.0, 1.25), (0.62, 1.0), (1.0, 0.86)):
        reach = share * (trunk.half_z + 0.4 * thick) * 0.95
        spot = root + back * reach
        rings.append(spot + thick * wide * (flat[:, :1] * across + flat[:, 1:] * beside))
    return forms.hull("branch", settled(np.vstack(rings)))


def _seat(half_x: float, height: float, far: float) -> TriMesh:
    low = forms.at(forms.rectangle(half_x, far), height)
    high = forms.at(forms.rectangle(half_x + far, far), height + far)
    return forms.hull("seat", low, high)


def _hewn(trunk: _Trunk, half: float, height: float, bark: float) -> Face:
    """Facet hewn into the front, leaning back."""
    lean = np.radians(_HEWN_DEG)
    normal, up = np.array([-np.cos(lean), np.sin(lean)]), np.array([np.sin(lean), np.cos(lean)])
    ring = trunk.ring()
    level = float((ring @ normal).max()) - 0.1 * trunk.half_z - min(bark, 0.15 * trunk.half_z)
    off = ring @ normal > level
    along = (ring @ up)[off]
    # Height z of a place t up the facet.
    z = [t * up[1] + level * normal[1] for t in (along.min(), along.max())]
    z = [max(z[0], EDGE_MM), min(z[1], height - EDGE_MM)]
    low, high = ((h - level * normal[1]) / up[1] for h in z)
    middle = up * (low + high) / 2 + normal * level
    return Face(
        "front",
        np.array([0.0, middle[0], middle[1]]),
        np.array([1.0, 0.0, 0.0]),
        np.array([0.0, up[0], up[1]]),
        2 * half - 4.0,
        0.8 * (high - low),
    )


def _ends(trunk: _Trunk, half: float) -> tuple[Face, Face]:
    """The sawn ends; their room is a rectangle within the section."""
    lean = np.radians(_END_DEG)
    top = trunk.middle + trunk.half_z
    low, high = EDGE_MM, trunk.middle + 0.62 * trunk.half_z
    z = (low + high) / 2
    x = half + (top - z) * float(np.tan(lean))
    made = []
    for name, side in (("left", -1.0), ("right", 1.0)):
        up = np.array([-side * np.sin(lean), 0.0, np.cos(lean)])
        made.append(
            Face(
                name,
                np.array([side * x, 0.0, z]),
                np.array([0.0, side, 0.0]),
                up,
                1.4 * trunk.half_y,
                (high - low) / np.cos(lean),
            )
        )
    return made[0], made[1]


def _growth_rings(trunk: _Trunk, face: Face, bark: float, chance: Chance) -> list[TriMesh]:
    """Grooves round the heart of a sawn end, a bit off its middle."""
    off = np.array([chance.between(-0.03, 0.03), chance.between(-0.03, 0.03)])
    centre = np.array([off[0] * trunk.half_y, trunk.middle + off[1] * trunk.half_z])
    wide = float(np.clip(0.05 * trunk.half_z, 0.5, 1.2))
    bark = min(bark, 0.15 * trunk.half_y, 0.15 * trunk.half_z)
    tools = []
    for share in _RING_SHARES:
        y, z = (share * (half - bark - _SAPWOOD_MM) for half in (trunk.half_y, trunk.half_z))
        if min(y, z) < 2.5 * wide or z - wide + centre[1] < 3 * _GROUND_MM:
            continue
        # Down to a bit above the ground.
        start = np.arcsin(max(0.0, (_GROUND_MM - centre[1]) / (z - wide))) + np.radians(8)
        turn = np.linspace(start, np.pi - start, 40)
        outer = np.column_stack([y * np.cos(turn), z * np.sin(turn)])
        inner = np.column_stack([(y - wide) * np.cos(turn), (z - wide) * np.sin(turn)])
        band = np.vstack([outer, inner[::-1]]) + centre
        flat = np.column_stack([band[:, 0] * face.right[1], band[:, 1] - face.origin[2]])
        if face.right[1] < 0:
            flat = flat[::-1]
        groove = forms.prism([settled(flat)], -0.45 * wide, 1.0, "ring")
        tools.append(TriMesh(face.place(groove.vertices), groove.faces, "ring"))
    return tools
