"""Sprue bases: the body the figure stands on, and the free second product of every cast."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pourwright.errors import InputError
from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.sprue.settings import BaseSettings, FunnelSettings

_SEGMENTS = 96
# Only this share of the figure's height, from the bottom, decides where its feet are.
_FOOT_SHARE = 0.25
_OVERLAP_MM = 0.5
_CORNER_MM = 3.0


@dataclass(frozen=True, eq=False)
class Sprue:
    """Base and funnel, in the frame of the board: board below, pour opening downwards.

    board_z_mm : height of the board, the mould top plane once the mould is turned over.
    top_z_mm : height of the face the figure stands on.
    """

    base: TriMesh
    funnel: TriMesh | None
    board_z_mm: float
    top_z_mm: float


@dataclass(frozen=True)
class _Foot:
    """Where the base goes: middle and half sizes of its top face, mm."""

    x: float
    y: float
    half_x: float
    half_y: float


def build_sprue(figure: TriMesh, base: BaseSettings, funnel: FunnelSettings) -> Sprue:
    """Build the base and the funnel under a figure that stands on the board side, -Z.

    figure : in the frame of the board. The base's top lies `embed_mm` above the figure's lowest
    point. A closed underside rises towards the funnel all the way, so that no air stays under it.
    Raises InputError for sizes that make no body.
    """
    outline = _OUTLINES[base.kind]
    foot = _foot(figure, base, funnel)
    top = float(figure.bounds_mm[0, 2]) + base.embed_mm
    rim = top - base.height_mm
    spread = base.height_mm * np.tan(np.radians(base.draft_deg))
    neck = funnel.neck_mm / 2
    if not funnel.enabled:
        body = _hull("sprue base", [(outline, foot, 0.0, top), (outline, foot, spread, rim)])
        return Sprue(body, None, rim, top)
    smallest, largest = sorted((foot.half_x + spread, foot.half_y + spread))
    if neck > smallest:
        raise InputError(
            f"The funnel's neck is {2 * neck:.3g} mm wide, the base only {2 * smallest:.3g} mm",
            hint="make the base wider or the neck narrower",
        )
    depth = (largest - neck) * np.tan(np.radians(base.crown_deg))
    board = rim - funnel.height_mm
    crown = rim - depth
    if crown - board < 1.0:
        raise InputError(
            f"The underside's slope takes {depth:.3g} mm of the funnel's {funnel.height_mm:.3g} mm",
            hint="make the funnel taller by as much, the slope flatter or the base smaller",
        )
    ring = _Foot(foot.x, foot.y, neck, neck)
    body = _hull(
        "sprue base",
        [(outline, foot, 0.0, top), (outline, foot, spread, rim), (_round, ring, 0.0, crown)],
    )
    mouth = _Foot(foot.x, foot.y, funnel.mouth_mm / 2, funnel.mouth_mm / 2)
    cone = _hull("funnel", [(_round, ring, 0.0, crown + _OVERLAP_MM), (_round, mouth, 0.0, board)])
    return Sprue(body, cone, board, top)


def _foot(figure: TriMesh, base: BaseSettings, funnel: FunnelSettings) -> _Foot:
    """Top face that holds the feet, the point below the centre of mass, and the funnel's neck."""
    v = figure.vertices
    low, high = v[:, 2].min(), v[:, 2].max()
    feet = v[v[:, 2] <= low + _FOOT_SHARE * (high - low), :2]
    points = np.vstack([feet, _centre_of_mass(figure)[None, :2]])
    least, most = points.min(axis=0), points.max(axis=0)
    (x, y), (half_x, half_y) = (least + most) / 2, (most - least) / 2 + base.margin_mm
    if base.kind == "round_plinth":
        half_x = half_y = float(np.hypot(*(points - [x, y]).T).max()) + base.margin_mm
    least = funnel.neck_mm / 2 if funnel.enabled else 0.0
    half_x, half_y = max(half_x, least), max(half_y, least)
    if base.width_mm is not None:
        half_x = base.width_mm / 2
        # A base of a given size may not hold all that hangs low: it goes where the figure stands.
        stands = v[v[:, 2] <= low + base.embed_mm, :2]
        x, y = (stands.min(axis=0) + stands.max(axis=0)) / 2
    if base.kind == "round_plinth":
        half_y = half_x
    elif base.depth_mm is not None:
        half_y = base.depth_mm / 2
    return _Foot(float(x), float(y), float(half_x), float(half_y))


def _centre_of_mass(mesh: TriMesh) -> Floats:
    middle = mesh.bounds_mm.mean(axis=0)
    a, b, c = (mesh.vertices[mesh.faces[:, i]] - middle for i in range(3))
    six = np.einsum("ij,ij->i", a, np.cross(b, c))
    result: Floats = middle + (six[:, None] * (a + b + c)).sum(axis=0) / (4 * six.sum())
    return result


def _round(half_x: float, half_y: float) -> Floats:
    angle = np.arange(_SEGMENTS) * (2 * np.pi / _SEGMENTS)
    return np.stack([half_x * np.cos(angle), half_y * np.sin(angle)], axis=1)


def _rectangular(half_x: float, half_y: float) -> Floats:
    """Rectangle with rounded corners."""
    radius = min(_CORNER_MM, half_x, half_y)
    arc = _round(radius, radius)
    shift = np.array([half_x - radius, half_y - radius])
    return np.vstack([arc + shift * s for s in ((1, 1), (-1, 1), (-1, -1), (1, -1))])


# One for each of settings.BASE_KINDS.
_OUTLINES: dict[str, Callable[[float, float], Floats]] = {
    "round_plinth": _round,
    "rectangular_plinth": _rectangular,
}


def _hull(
    name: str, rings: list[tuple[Callable[[float, float], Floats], _Foot, float, float]]
) -> TriMesh:
    """Convex body over outlines (shape, place and size, widened by, at height)."""
    points = []
    for outline, foot, wider, z in rings:
        flat = outline(foot.half_x + wider, foot.half_y + wider) + [foot.x, foot.y]
        points.append(np.column_stack([flat, np.full(len(flat), z)]))
    return boolean.convex_hull(np.vstack(points), name)
