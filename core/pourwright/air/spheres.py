"""Which triangles lie near a ray, in any direction: a tree of bounding spheres.

Spheres, unlike boxes, fit every direction alike, so one tree serves a whole sweep. The triangles
stand along a space-filling curve, so a node is simply eight of its level's neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourwright.air.arrays import gather
from pourwright.solid.mesh import Floats, Ints

_FAN = 8  # children of a node; the steps from one level to the next are shifts by 3 bits
_ROOTS = 64
# Rays followed together; bounds memory to about 50 MB.
_RAYS = 1024

Singles = NDArray[np.float32]
Level = tuple[Singles, Singles, Singles, Singles]
"""x, y, z of the centres of the spheres of one level, and their radii, (k, 8): a node a row.

Single precision halves the time; the radii hold what rounding puts the distances off by.
"""


@dataclass(frozen=True, eq=False)
class SphereTree:
    """Spheres round triangles, round eight of these, and so on.

    levels : from the few outermost spheres down to one for each triangle, all filled up to whole
        eights with spheres that nothing meets.
    """

    levels: tuple[Level, ...]

    def near(self, starts: Floats, ray: Floats) -> tuple[Ints, Ints]:
        """Pairs of a ray and a triangle that may meet, leaving out none that do: their numbers.

        starts : (k, 3) where the rays start. ray : (3,) unit vector, of them all.
        """
        pairs = [
            self._near(starts[begin : begin + _RAYS], ray, begin)
            for begin in range(0, len(starts), _RAYS)
        ]
        rays, triangles = zip(*pairs, strict=True)
        return np.concatenate(rays), np.concatenate(triangles)

    def _near(self, starts: Floats, ray: Floats, number: int) -> tuple[Ints, Ints]:
        """The same for a few rays, the first of which has a number."""
        start_x, start_y, start_z = np.ascontiguousarray(starts.T, dtype=np.float32)
        ux, uy, uz = ray.astype(np.float32)
        # The children of one node stand in one row of a level, and are fetched as one.
        rows = len(self.levels[0][3])
        of = np.repeat(np.arange(len(starts)), rows)
        node = np.tile(np.arange(rows), len(starts))
        for x, y, z, radius in self.levels:
            dx = x.take(node, axis=0).ravel()
            dx -= gather(start_x, of).repeat(_FAN)
            dy = y.take(node, axis=0).ravel()
            dy -= gather(start_y, of).repeat(_FAN)
            dz = z.take(node, axis=0).ravel()
            dz -= gather(start_z, of).repeat(_FAN)
            along = dx * ux + dy * uy + dz * uz
            # What is left lies across the ray.
            dx -= along * ux
            dy -= along * uy
            dz -= along * uz
            reach = radius.take(node, axis=0).ravel()
            near = np.flatnonzero(
                (dx * dx + dy * dy + dz * dz <= reach * reach) & (along >= -reach)
            )
            row = near >> 3
            of, node = of[row], (node[row] << 3) + (near & 7)
        return of + number, node


def sphere_tree(corners: Floats, diagonal_mm: float) -> SphereTree:
    """Bound the triangles, which must stand in an order that keeps neighbours together.

    corners : (m, 3, 3) their corner positions; diagonal_mm : of the bounding box.
    """
    a, b, c = ([corners[:, i, axis] for axis in range(3)] for i in range(3))
    low = [np.minimum(np.minimum(x, y), z) for x, y, z in zip(a, b, c, strict=True)]
    high = [np.maximum(np.maximum(x, y), z) for x, y, z in zip(a, b, c, strict=True)]
    centre = _middle(low, high)
    # Single precision puts a distance off by some 3e-7 of the diagonal.
    slack = 2e-6 * diagonal_mm
    farthest = np.maximum(np.maximum(_distance(a, centre), _distance(b, centre)),
                          _distance(c, centre))  # fmt: skip
    radius = farthest + slack
    levels = []
    while True:
        levels.append(_filled_up(centre, radius))
        if len(radius) <= _ROOTS:
            return SphereTree(tuple(reversed(levels)))
        first = np.arange(0, len(radius), _FAN)
        low = [np.minimum.reduceat(x, first) for x in low]
        high = [np.maximum.reduceat(x, first) for x in high]
        parent = _middle(low, high)
        of_child = [x.repeat(_FAN)[: len(radius)] for x in parent]
        reach = radius + _distance(centre, of_child)
        # Round the child spheres, or round the box of all corners, whichever is smaller.
        box = _distance(low, parent) + slack
        centre, radius = parent, np.minimum(np.maximum.reduceat(reach, first), box)


def _filled_up(centre: list[Floats], radius: Floats) -> Level:
    """Lengthen a level to whole eights; a ray comes no nearer than minus infinity to the rest."""
    more = -len(radius) % _FAN
    x, y, z = (_rows(np.pad(c, (0, more))) for c in centre)
    return x, y, z, _rows(np.pad(radius, (0, more), constant_values=-np.inf))


def _rows(values: Floats) -> Singles:
    return values.astype(np.float32).reshape(-1, _FAN)


def _middle(low: list[Floats], high: list[Floats]) -> list[Floats]:
    return [(a + b) / 2 for a, b in zip(low, high, strict=True)]


def _distance(a: list[Floats], b: list[Floats]) -> Floats:
    return np.sqrt(np.asarray(sum((p - q) ** 2 for p, q in zip(a, b, strict=True))))
