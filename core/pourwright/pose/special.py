"""Directions that a figure's own shape suggests, where an even spread may miss by a little.

Good poses are often narrow: two feet just reach the base together, or a flat roof lies level. Such
directions follow from the surface, and turn with it.
"""

from __future__ import annotations

import numpy as np

from pourwright.air import Surface
from pourwright.pose.directions import angle_deg, normalised, thinned
from pourwright.pose.outline import Hull
from pourwright.solid.mesh import Floats

# Points of the hull this share of its size apart are two feet, not one.
_LONG_SHARE = 0.25
_STEP_DEG = 6.0
_MOST_EDGES = 2000
# A flat counts with this share of all surface, and at most so many do.
_FLAT_SHARE = 0.01
_MOST_FLATS = 40
# Normals are gathered in boxes of this size, about 1.4 degrees.
_BOX = 1 / 40


def suggested_directions(surface: Surface, hull: Hull) -> Floats:
    """Return all directions that the shape suggests, (n, 3) unit vectors; may be none."""
    return np.vstack([resting_directions(hull, surface.diagonal_mm), flat_directions(surface)])


def resting_directions(hull: Hull, size_mm: float) -> Floats:
    """Return directions in which the figure's top touches a level plane in places far apart.

    Turned over onto a table it would rest on these places, or rock about the line between two of
    them; so they sink into the base together. Along a long edge of the hull that is so all the
    way from the normal of the face on one side to that on the other.
    """
    start, end = hull.ends.T
    length = np.linalg.norm(hull.points[start] - hull.points[end], axis=1)
    long = np.flatnonzero(length > _LONG_SHARE * size_mm)
    long = long[np.argsort(-length[long], kind="stable")][:_MOST_EDGES]
    found = [np.empty((0, 3))]
    for one, other in hull.normals[hull.sides[long]]:
        between_deg = float(angle_deg(one, other))
        steps = max(int(np.ceil(between_deg / _STEP_DEG)), 1)
        turn = (np.radians(between_deg) * np.arange(steps + 1) / steps)[:, None]
        # Even steps along the arc between the two (spherical linear interpolation).
        arc = one * np.sin(turn[::-1]) + other * np.sin(turn)
        found.append(arc if steps > 1 else np.stack([one, other]))
    between = np.concatenate(found)
    # The two faces of an edge may face apart exactly; then there is no one way between them.
    between = between[np.linalg.norm(between, axis=1) > 1e-6]
    return thinned(normalised(between), _STEP_DEG / 2)


def flat_directions(surface: Surface) -> Floats:
    """Return the directions, both ways, in which large flat pieces of the surface lie level."""
    area = np.linalg.norm(surface.area_vectors, axis=1)
    seen = area > 0
    normals = surface.area_vectors[seen] / area[seen][:, None]
    boxes = np.round(normals / _BOX).astype(np.int64)
    _, box = np.unique(boxes, axis=0, return_inverse=True)
    box = box.reshape(-1)
    weight = np.bincount(box, weights=area[seen])
    sums = np.stack([np.bincount(box, weights=area[seen] * n) for n in normals.T], axis=1)
    largest = np.argsort(-weight, kind="stable")[:_MOST_FLATS]
    largest = largest[weight[largest] >= _FLAT_SHARE * area.sum()]
    level = normalised(sums[largest])
    return thinned(np.vstack([level, -level]), 1e-4)
