"""A wading heron on a log: the museum shop's garden-trail figure, sculpted from code.

The figure is a list of closed, overlapping parts in millimetres, standing on z = 0 with +Z up
and the bill towards +X.
"""

from __future__ import annotations

import numpy as np

from pourwright.example.shapes import Part

from . import bird, legs, perch
from .wing import WingPose, wing

__all__ = ["Part", "heron"]


def heron(detail: float = 1.0) -> list[Part]:
    """Build the figure.

    detail scales the tessellation in both directions (1.0: roughly 200 000 triangles; 0.25:
    about a sixteenth of that).  Parts are closed 2-manifold meshes that overlap their
    neighbours; their union is one body.  Raises ValueError unless 0.1 <= detail <= 2.
    """
    if not 0.1 <= detail <= 2.0:
        raise ValueError(f"detail must lie between 0.1 and 2, not {detail}")
    parts = [perch.log_part(detail), perch.stub_part(detail)]
    parts += bird.trunk(detail)
    parts += bird.head(detail)
    parts += bird.scapulars(detail)
    parts += bird.plumes(detail)
    parts += bird.tail(detail)
    parts += legs.legs(detail)
    parts += wing(WingPose("left", False, 0.09, 0.046, 102), detail)
    parts += wing(WingPose("right", True, -0.075, -0.04, 209), detail)
    floor = min(float(p.vertices[:, 2].min()) for p in parts)
    return [Part(p.name, p.vertices - np.array([0.0, 0.0, floor]), p.faces) for p in parts]
