"""Surface the user wants left alone: weights at points, asked for anywhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.vectors import doubled_areas

# Coarse triangles get points this close inside them, further apart where they would be too many.
_SPACING_MM = 1.0
_MAX_INSIDE = 500_000


@dataclass(frozen=True, eq=False)
class Protection:
    """Weights from 0 (free) to 1 (keep off) at points of the figure's surface.

    points_mm : (k, 3) standing frame. weights : (k,). reach_mm : how far a point speaks for the
    surface around it.
    """

    points_mm: Floats
    weights: Floats
    reach_mm: float = 1.5

    def at(self, points_mm: Floats) -> Floats:
        """Weight (m,) of the nearest point to each of (m, 3) points, 0 beyond the reach."""
        distance, nearest = cKDTree(self.points_mm).query(
            points_mm, distance_upper_bound=self.reach_mm
        )
        found = np.append(self.weights, 0.0)[np.minimum(nearest, len(self.weights))]
        return np.where(np.isfinite(distance), found, 0.0)


def painted(meshes: Sequence[TriMesh]) -> Protection | None:
    """Protection by the meshes' weights; None where none is above 0.

    Every vertex of a mesh that has weights counts, so that free ones beside protected ones stay
    free. Inside triangles too large for the reach of their corners the weights go on linearly.
    """
    weighted = [(m, m.protect) for m in meshes if m.protect is not None]
    if not any(w.any() for _, w in weighted):
        return None
    points, weights = [], []
    for mesh, weight in weighted:
        used = np.unique(mesh.faces)
        inside, inside_weights = _inside_triangles(mesh, weight)
        points += [mesh.vertices[used], inside]
        weights += [weight[used], inside_weights]
    return Protection(np.concatenate(points), np.clip(np.concatenate(weights), 0.0, 1.0))


def merged(one: Protection | None, other: Protection | None) -> Protection | None:
    """Both protections at once: at every point of either the larger weight that they give."""
    if one is None or other is None:
        return other if one is None else one
    return Protection(
        np.concatenate([one.points_mm, other.points_mm]),
        np.concatenate([
            np.maximum(one.weights, other.at(one.points_mm)),
            np.maximum(other.weights, one.at(other.points_mm)),
        ]),
        max(one.reach_mm, other.reach_mm),
    )


def _inside_triangles(mesh: TriMesh, weight: Floats) -> tuple[Floats, Floats]:
    """Points (k, 3) in rows along the longest sides of large triangles, and their weights (k,)."""
    corners, faces = mesh.vertices[mesh.faces], mesh.faces
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    twice_area = np.linalg.norm(doubled_areas(mesh.vertices, faces), axis=1)
    # Bounded by the area, and by the lengths too, for thin triangles have rows but no area.
    spacing = max(
        _SPACING_MM,
        float(np.sqrt(twice_area.sum() / 2 / _MAX_INSIDE)),
        float(sides.max(axis=1).sum()) / _MAX_INSIDE,
    )
    large = np.flatnonzero(sides.max(axis=1) > spacing)
    # Corners in order from the start of the longest side, its end, and the one across.
    order = (np.argmax(sides[large], axis=1)[:, None] + np.arange(3)) % 3
    numbers = np.take_along_axis(faces[large], order, axis=1)
    longest = sides[large].max(axis=1)
    rows = np.ceil(twice_area[large] / longest / spacing).astype(np.int64)
    triangle, row = _counted(rows)
    across = row / rows[triangle]
    steps = np.ceil(longest[triangle] * (1 - across) / spacing).astype(np.int64) + 1
    line, step = _counted(steps)
    along = step / np.maximum(steps[line] - 1, 1)
    t = across[line]
    share = np.stack([(1 - t) * (1 - along), (1 - t) * along, t], axis=1)
    number = numbers[triangle[line]]
    points = np.einsum("ki,kij->kj", share, mesh.vertices[number])
    return points, np.einsum("ki,ki->k", share, weight[number])


def _counted(counts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For each count n its own number n times, and 0 to n - 1 beside it."""
    owner = np.repeat(np.arange(len(counts)), counts)
    return owner, np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
