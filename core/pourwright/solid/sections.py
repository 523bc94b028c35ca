"""Areas of plane sections of a solid, exact, from its surface alone."""

from __future__ import annotations

import numpy as np

from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.vectors import cross, dot


def section_areas_mm2(mesh: TriMesh, axis: Floats, heights_mm: Floats) -> Floats:
    """Return the areas (k,) of the sections of a closed mesh at x . axis = heights (k,).

    axis : (3,) unit vector. What the surface under the plane shows upwards and downwards differs
    by the section (divergence theorem), so each triangle counts with its share under the plane.
    A face that lies in the plane counts by half.
    """
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    flux = dot(cross(b - a, c - a), axis) / 2
    low, middle, high = np.sort(np.stack([p @ axis for p in (a, b, c)]), axis=0)
    areas = np.empty(len(heights_mm))
    tiny = 1e-300
    for i, h in enumerate(np.asarray(heights_mm, dtype=np.float64)):
        rising = (h - low) ** 2 / np.maximum((middle - low) * (high - low), tiny)
        closing = 1 - (high - h) ** 2 / np.maximum((high - middle) * (high - low), tiny)
        share = np.where(h <= middle, rising, closing)
        share = np.where(h <= low, 0.0, np.where(h >= high, 1.0, share))
        share = np.where((low == high) & (low == h), 0.5, share)
        areas[i] = -(flux * share).sum()
    return areas
