"""Sprue bases: the body the figure stands on, and the free second product of every cast."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pourwright.errors import InputError
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.sprue import forms
from pourwright.sprue.builders import BUILDERS
from pourwright.sprue.facts import base_facts
from pourwright.sprue.inscribe import inscribed
from pourwright.sprue.model import Shape, Sprue
from pourwright.sprue.settings import BaseSettings, FunnelSettings
from pourwright.sprue.site import site_under

# What a funnel must keep of its height below a sloping underside.
_LEAST_FUNNEL_MM = 1.0


def build_sprue(figure: TriMesh, base: BaseSettings, funnel: FunnelSettings) -> Sprue:
    """Build the base and the funnel under a figure that stands on the board side, -Z.

    figure : in the frame of the board. The base's top lies `embed_mm` above the figure's lowest
    point. A closed underside rises towards the funnel all the way, so that no air stays under it.
    Raises InputError for sizes that make no body and for text that does not fit.
    """
    neck = funnel.neck_mm if funnel.enabled else None
    site = site_under(figure, base, neck or 0.0)
    shape = BUILDERS[base.kind](site, base, neck)
    if neck is not None:
        _check_neck(shape, neck)
    body, lettering = inscribed(shape, base)
    top = float(figure.bounds_mm[0, 2]) + base.embed_mm
    offset = np.array([site.x, site.y, top - shape.top_mm])
    placed = replace(
        shape,
        body=body.moved(offset),
        ring=shape.ring + offset[:2],
        footprint=shape.footprint + offset[[0, 2] if base.about.stands_on == "wall" else [0, 1]],
        faces=tuple(face.moved(offset) for face in shape.faces),
    )
    ring_z = offset[2] + shape.ring_mm
    board = float(ring_z)
    cone = None
    if funnel.enabled:
        board = float(offset[2]) + shape.rim_mm - funnel.height_mm
        cone = funnel_under(placed.ring, ring_z, board, funnel)
    return Sprue(
        base=placed.body,
        funnel=cone,
        board_z_mm=board,
        top_z_mm=top,
        neck=placed.ring,
        neck_z_mm=float(ring_z),
        faces=placed.faces,
        facts=base_facts(figure, placed, base, lettering),
    )


def _check_neck(shape: Shape, neck_mm: float) -> None:
    """Raise InputError where a neck as wide as it was asked for sticks out of the underside."""
    widest = float(np.ptp(shape.ring, axis=0).max())
    if shape.rim_mm != 0.0 or widest < neck_mm - 1e-6:
        return  # the kind has made the neck fit what it ends in
    room = forms.inscribed_radius(shape.footprint, shape.ring.mean(axis=0))
    if neck_mm / 2 > room + 1e-6:
        raise InputError(
            f"The funnel's neck is {neck_mm:.3g} mm wide, the base only {2 * room:.3g} mm",
            hint="make the base wider or the neck narrower",
        )


def funnel_under(ring: Floats, ring_z: float, board: float, funnel: FunnelSettings) -> TriMesh:
    """Return the pour opening: from a neck's outline down to the round mouth on the board."""
    if ring_z - board < _LEAST_FUNNEL_MM:
        lost = board + funnel.height_mm - ring_z
        raise InputError(
            f"The underside's slope takes {lost:.3g} mm of the funnel's {funnel.height_mm:.3g} mm",
            hint="make the funnel taller by as much, the slope flatter or the base smaller",
        )
    x, y = (ring.min(axis=0) + ring.max(axis=0)) / 2
    mouth = forms.circle(funnel.mouth_mm / 2, x=float(x), y=float(y))
    return forms.hull(
        "funnel", forms.at(ring, ring_z + forms.OVERLAP_MM), forms.at(ring, ring_z),
        forms.at(mouth, board),
    )  # fmt: skip
