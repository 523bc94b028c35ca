"""Scenery to stand on: a rock and a log, another one for every seed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.sprue import forms
from pourwright.sprue.chance import Chance, settled
from pourwright.sprue.model import Face, Shape, Site
from pourwright.sprue.places import within
from pourwright.sprue.plinths import EDGE_MM, underside
from pourwright.sprue.settings import BaseSettings

_RIGHT = np.array([1.0, 0.0, 0.0])
_HEWN_DEG = 20.0


def scenic_rock(site: Site, s: BaseSettings, neck_mm: float | None) -> Shape:
    """Main rock with a level top, and boulders round it.

    Every block is convex and narrows upwards, so that nothing overhangs.
    """
    chance = Chance(s.seed)
    height = s.top_mm
    reach = s.extra("spread") * height
    corner = 0.5 * min(site.half_x, site.half_y)
    top = forms.rectangle(site.half_x, site.half_y, corner)
    size = np.array([site.half_x + reach, site.half_y + reach])
    blocks = [_main_rock(chance, top, height, reach)]
    count = int(s.extra("boulders"))
    start = chance.between(0, 2 * np.pi)
    for number in range(count):
        angle = start + 2 * np.pi * (number + chance.between(-0.4, 0.4)) / max(count, 1)
        middle = size * [np.cos(angle), np.sin(angle)] * chance.between(0.62, 1.0)
        # Few big ones and many small ones.
        scale = 0.3 + 0.75 * chance.between(0, 1) ** 1.7
        wide = scale * min(height, float(size.min()))
        blocks.append(_boulder(chance, middle, wide, min(0.9 * wide, 0.82 * height)))
    feet = [b[b[:, 2] <= 0.0] for b in blocks]
    rim = forms.convex_outline(np.vstack(feet)[:, :2])
    ring, ring_z = underside(rim, np.zeros(2), neck_mm, s.crown_deg)
    if neck_mm is not None:
        # The undersides of the boulders run to a place within that of the main rock.
        ends = [forms.at(ring, ring_z)] + [np.array([[0.0, 0.0, 0.95 * ring_z]])] * count
        feet = [np.vstack(pair) for pair in zip(feet, ends, strict=True)]
    bodies = [forms.hull("rock", b, f) for b, f in zip(blocks, feet, strict=True)]
    body = boolean.union(bodies, "sprue base")
    front = _hewn_front(site, size[1] * 0.9, height, 2 * float(size[0]))
    # What is left of a boulder that hung on by what was hewn off goes with it.
    hewn = max(
        boolean.pieces(boolean.difference(body, [slab_before(front)], "sprue base")),
        key=lambda piece: piece.volume_mm3,
    )
    front = face_on(hewn, front)
    if s.text.strip():
        body = hewn
    if neck_mm is None:
        ring = rim
    wall = min(float(b[b[:, 2] > 0.0][:, 2].min()) for b in blocks)
    return Shape(body, height, ring, ring_z, rim, wall, (front,))


def _main_rock(chance: Chance, top: Floats, height: float, reach: float) -> Floats:
    """Points of a crag: its level top, broken shoulders and a spreading foot."""
    # A broken outline round the level place.
    corners = top[:: len(top) // 9]
    corners = corners * chance.spread(len(corners), 1.1, 1.25)[:, None]
    level = forms.at(np.vstack([top, corners]), height)
    rings = [level]
    for share, out, count in ((0.86, 0.2, 7), (0.5, 0.62, 6), (0.0, 1.0, 8)):
        angle = (np.arange(count) + chance.spread(count, -0.35, 0.35)) * 2 * np.pi / count
        angle += chance.between(0, 1)
        away = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        # How far the level top reaches that way, then further out.
        edge = (away @ top.T).max(axis=1)
        wide = edge + reach * out * chance.spread(count, 0.75, 1.1)
        z = 0.0 if share == 0 else height * share * chance.spread(count, 0.85, 1.15)
        rings.append(forms.at(away * wide[:, None], z))
    return settled(_within_foot(np.vstack(rings)))


def _boulder(chance: Chance, middle: Floats, wide: float, height: float) -> Floats:
    """Points of a boulder with a tilted, broken top."""
    rings = []
    tilt = chance.spread(2, -0.5, 0.5)
    stretch = np.array([chance.between(0.8, 1.25), chance.between(0.8, 1.25)])
    for share, out, count in ((1.0, 0.55, 4), (0.7, 0.85, 5), (0.0, 1.0, 7)):
        angle = (np.arange(count) + chance.spread(count, -0.4, 0.4)) * 2 * np.pi / count
        away = np.stack([np.cos(angle), np.sin(angle)], axis=1) * stretch
        flat = away * (wide * out * chance.spread(count, 0.85, 1.0))[:, None]
        z = height * share * (1 + flat @ tilt / wide) if share else 0.0
        rings.append(forms.at(flat + middle, z))
    return settled(_within_foot(np.vstack(rings)))


def _within_foot(points: Floats) -> Floats:
    """Draw upper points in until they stand over the foot, so that no side overhangs."""
    low = points[:, 2] <= 0.0
    foot = forms.convex_outline(points[low][:, :2])
    middle = foot.mean(axis=0)
    edge = np.roll(foot, -1, axis=0) - foot
    out = np.stack([edge[:, 1], -edge[:, 0]], axis=1)
    out /= np.linalg.norm(out, axis=1)[:, None]
    room = ((foot - middle) * out).sum(axis=1)
    share = ((points[:, :2] - middle) @ out.T / room).max(axis=1)
    # Upper points keep a lean of their own, 3 % of the way for each.
    shrink = np.where(low, 1.0, np.minimum(1.0, 0.97 / np.maximum(share, 1e-9)))
    drawn = middle + (points[:, :2] - middle) * shrink[:, None]
    return np.column_stack([drawn, points[:, 2]])


def _hewn_front(site: Site, out: float, height: float, width: float) -> Face:
    """Place of a hewn facet in front, between the ground and the figure's place."""
    lean = np.radians(_HEWN_DEG)
    up = np.array([0.0, np.sin(lean), np.cos(lean)])
    # The facet meets the ground a bit within the foot and stays clear of the figure's place.
    foot = min(out, site.half_y + height * np.tan(lean))
    foot = max(foot, site.half_y + 0.75 * height * np.tan(lean))
    high = min(height, (foot - site.half_y) / np.tan(lean)) - 1.2
    return Face(
        "front",
        np.array([0.0, -foot, 0.0]) + up * (EDGE_MM + high / np.cos(lean)) / 2,
        _RIGHT,
        up,
        width,
        max(high / np.cos(lean) - EDGE_MM, 0.1),
    )


def slab_before(face: Face) -> TriMesh:
    """Everything in front of a plane face."""
    far = 4 * (face.width_mm + face.height_mm + float(np.abs(face.origin).max()))
    corners = np.array([(u, v, w) for u in (-far, far) for v in (-far, far) for w in (0.0, far)])
    return forms.hull("hewn", face.place(corners))


def face_on(body: TriMesh, face: Face) -> Face:
    """Return a plane face with no more room than the body's own facet there has."""
    axes = np.stack([face.right, face.upward, face.normal])
    flat = (body.vertices - face.origin) @ axes.T
    on = (np.abs(flat[body.faces][:, :, 2]) < 1e-6).all(axis=1)
    found = boolean.offset_outlines(list(flat[body.faces[on]][:, :, :2])) if on.any() else []
    best = replace(face, width_mm=0.0, height_mm=0.0)
    for share in (1.0, 0.85, 0.7, 0.55):
        high = face.height_mm * share
        half = _half_width(found, face.width_mm / 2, high)
        if 2 * half * high > best.width_mm * best.height_mm:
            best = replace(face, width_mm=2 * half, height_mm=high)
    return best


def _half_width(outlines: list[Floats], widest: float, high: float) -> float:
    """Half the width of the widest rectangle about the middle within some outlines."""
    if not outlines:
        return 0.0
    up = np.linspace(-high / 2, high / 2, 13)
    across = np.linspace(0, widest, 61)
    u, v = np.meshgrid(np.concatenate([-across, across]), up)
    inside = within(outlines, np.stack([u.ravel(), v.ravel()], axis=1))
    free = inside.reshape(len(up), 2, len(across)).all(axis=(0, 1))
    return 0.0 if not free[0] else float(across[: int(np.argmin([*free, False]))][-1])
