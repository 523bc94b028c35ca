"""Any closed body of the user's as the sprue base."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourwright.errors import InputError, MeshError
from pourwright.solid import boolean
from pourwright.solid.mesh import TriMesh, centre_of_mass
from pourwright.solid.topology import is_watertight
from pourwright.sprue import forms
from pourwright.sprue.base import funnel_under
from pourwright.sprue.facts import facts_of
from pourwright.sprue.model import Sprue
from pourwright.sprue.places import nearest_place, widest_place
from pourwright.sprue.settings import FunnelSettings, OwnBaseSettings

# A pour side may be so uneven and still count as flat: resin fills that much behind the neck.
_FLAT_MM = 0.3
# An open face has to lie in the mould top plane as a whole.
_OPEN_MM = 1e-3
_LEVELS = 80
_LEFT_ABOVE_MM = 1.0


@dataclass(frozen=True)
class Cut:
    """What was cut off below for a pour side: the level plane's height in the frame of the board,
    how far that is above the body's lowest point, and the volume that fell away.
    """

    plane_z_mm: float
    above_lowest_mm: float
    removed_mm3: float
    removed_share: float

    def sentence(self) -> str:
        """Say what was cut, without a final stop."""
        return (
            f"The base was cut level {self.above_lowest_mm:.3g} mm above its lowest point for a "
            f"pour side; {self.removed_mm3:.3g} mm3 ({self.removed_share:.0%}) fell away"
        )


@dataclass(frozen=True, eq=False)
class OwnBase:
    """The base made of a body of the user's, and what was cut off it, None for nothing."""

    sprue: Sprue
    cut: Cut | None


def base_from_mesh(
    mesh: TriMesh,
    figure: TriMesh,
    settings: OwnBaseSettings,
    funnel: FunnelSettings,
) -> OwnBase:
    """Use a closed mesh as the base under a figure; the mesh itself stays as it is.

    mesh, figure : in the frame of the board, pour opening towards -Z. The side opposite the
    figure must be level enough and big enough for the funnel's neck (with an open underside, be
    level altogether); where it is not, the lowest level cut that makes such a side is made.

    Raises MeshError where the mesh bounds no single solid, InputError where it does not meet the
    figure or no level cut is big enough.
    """
    body = _single_solid(mesh)
    if settings.place == "under":
        body = _moved_under(body, figure, settings.embed_mm)
    _check_meets(body, figure)
    neck = funnel.neck_mm
    lowest, highest = (float(z) for z in body.bounds_mm[:, 2])
    wanted = centre_of_mass(figure)[:2]
    cut = None
    level = lowest
    place = None
    if settings.cut_mm is None:
        at = lowest + (_FLAT_MM if funnel.enabled else _OPEN_MM)
        place = nearest_place(boolean.section_outlines(body, at), neck / 2, wanted)
    if place is None:
        most = min(highest, float(figure.bounds_mm[0, 2])) - _LEFT_ABOVE_MM
        level = _cut_level(body, lowest, most, neck, settings.cut_mm)
        body, cut = _cut_off(body, lowest, level)
        place = nearest_place(boolean.section_outlines(body, level + _OPEN_MM), neck / 2, wanted)
    sections = boolean.section_outlines(body, level + _OPEN_MM)
    ring = np.vstack(sections)
    cone, board = None, level
    if funnel.enabled:
        assert place is not None  # _cut_level promises room
        ring = forms.circle(neck / 2, x=float(place[0]), y=float(place[1]))
        board = level - funnel.height_mm
        cone = funnel_under(ring, level, board, funnel)
    foot = boolean.section_outlines(body, level + _FLAT_MM)
    facts = facts_of(figure, body, "table", forms.convex_outline(np.vstack(foot)), None)
    top = float(figure.bounds_mm[0, 2]) + settings.embed_mm
    if settings.place == "as_is":
        top = highest
    return OwnBase(Sprue(body, cone, board, top, ring, level, (), facts), cut)


def _single_solid(mesh: TriMesh) -> TriMesh:
    if not is_watertight(mesh):
        raise MeshError(
            f"'{mesh.name}' is not closed and cannot be a base",
            hint="close its holes",
            at_mm=mesh.bounds_mm.mean(axis=0),
            kind="open_boundary",
        )
    solids = [p for p in boolean.pieces(mesh) if p.volume_mm3 > 0]
    if len(solids) != 1 or mesh.volume_mm3 <= 0:
        raise MeshError(
            f"'{mesh.name}' is {len(solids)} separate bodies and cannot be a base",
            hint="join them or choose one of them",
            at_mm=solids[-1].bounds_mm.mean(axis=0) if solids else None,
            kind="not_one_piece",
        )
    return mesh


def _moved_under(body: TriMesh, figure: TriMesh, embed_mm: float) -> TriMesh:
    """Move a body so that its top's middle comes under the figure's feet."""
    v = figure.vertices
    low = float(v[:, 2].min())
    feet = v[v[:, 2] <= low + embed_mm, :2]
    top = body.vertices[body.vertices[:, 2] >= body.bounds_mm[1, 2] - _FLAT_MM, :2]
    away = (feet.min(axis=0) + feet.max(axis=0) - top.min(axis=0) - top.max(axis=0)) / 2
    return body.moved(np.array([*away, low + embed_mm - float(body.bounds_mm[1, 2])]))


def _check_meets(body: TriMesh, figure: TriMesh) -> None:
    apart = figure.volume_mm3 + body.volume_mm3
    if apart - boolean.union([figure, body]).volume_mm3 <= 1e-9 * apart:
        raise InputError(
            f"The figure does not reach into the base '{body.name}'",
            hint="sink the figure into it a little, or have the base moved under its feet",
            at_mm=figure.vertices[int(np.argmin(figure.vertices[:, 2]))],
        )


def _cut_level(
    body: TriMesh, lowest: float, most: float, neck: float, stated_mm: float | None
) -> float:
    """Return the height of the stated cut, or of the lowest that is wide enough for the neck."""
    widest, at = 0.0, lowest
    levels = [lowest + stated_mm] if stated_mm is not None else (
        list(lowest + (most - lowest) * (np.arange(_LEVELS) + 1) / _LEVELS) if most > lowest else []
    )  # fmt: skip
    for level in levels:
        if level > most:
            raise InputError(
                f"A cut {level - lowest:.3g} mm above the base's lowest point reaches the figure",
                hint=f"cut at {max(most - lowest, 0.0):.3g} mm or less",
            )
        _, radius = widest_place(boolean.section_outlines(body, float(level)))
        if radius >= neck / 2:
            return float(level)
        if radius > widest:
            widest, at = radius, float(level)
    raise InputError(
        f"The base '{body.name}' has no pour side for a neck of {neck:.3g} mm: its widest level "
        f"cut takes {2 * widest:.3g} mm, {at - lowest:.3g} mm above its lowest point",
        hint="make the funnel's neck narrower or the base bigger",
    )


def _cut_off(body: TriMesh, lowest: float, level: float) -> tuple[TriMesh, Cut]:
    low, high = body.bounds_mm
    below = forms.box((*(low[:2] - 1.0), lowest - 1.0), (*(high[:2] + 1.0), level))
    left = boolean.difference(body, [below], body.name)
    removed = body.volume_mm3 - left.volume_mm3
    return left, Cut(level, level - lowest, removed, removed / body.volume_mm3)


