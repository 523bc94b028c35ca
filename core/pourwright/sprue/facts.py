"""What is to be known of a base: what it stands on, how steadily, and its thinnest wall."""

from __future__ import annotations

import numpy as np

from pourwright.solid.mesh import Floats, TriMesh, centre_of_mass
from pourwright.sprue import forms
from pourwright.sprue.model import BaseFacts, Lettering, Shape
from pourwright.sprue.settings import BaseSettings


def base_facts(
    figure: TriMesh, shape: Shape, base: BaseSettings, lettering: Lettering | None = None
) -> BaseFacts:
    """Return the facts of a base in its place under a figure.

    The centre of mass is that of figure and base, each as a whole solid of the same resin; what
    the two share, the sunk part of the feet, counts twice.
    """
    return facts_of(
        figure, shape.body, base.about.stands_on, shape.footprint, float(shape.smallest_wall_mm),
        shape.rounding_mm, lettering,
    )  # fmt: skip


def facts_of(
    figure: TriMesh,
    body: TriMesh,
    stands_on: str,
    footprint: Floats,
    smallest_wall_mm: float | None,
    rounding_mm: float = 0.0,
    lettering: Lettering | None = None,
) -> BaseFacts:
    """Return the facts of any body below a figure."""
    parts = [(mesh.volume_mm3, centre_of_mass(mesh)) for mesh in (figure, body)]
    total = sum(volume for volume, _ in parts)
    centre = sum((volume * at for volume, at in parts), start=np.zeros(3)) / total
    x, y, z = (float(c) for c in centre)
    return BaseFacts(
        stands_on=stands_on,
        footprint=footprint,
        centre_of_mass_mm=(x, y, z),
        margin_mm=_margin_mm(stands_on, footprint, centre),
        smallest_wall_mm=smallest_wall_mm,
        rounding_mm=float(rounding_mm),
        volume_mm3=body.volume_mm3,
        lettering=lettering,
    )


def _margin_mm(stands_on: str, footprint: Floats, centre: Floats) -> float:
    if stands_on == "wall":
        # Weight in front of the wall presses the plate to it; only to the sides can it hang askew.
        low, high = footprint[:, 0].min(), footprint[:, 0].max()
        return float(min(centre[0] - low, high - centre[0]))
    return forms.inscribed_radius(footprint, centre[:2])
