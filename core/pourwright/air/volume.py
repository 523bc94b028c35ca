"""Volume of the cavity above a level, from the surface triangles alone."""

from __future__ import annotations

import numpy as np

from pourwright.air.jointree import JoinTree
from pourwright.air.surface import Surface
from pourwright.solid.mesh import Floats, Ints


def volumes_above(
    surface: Surface, tree: JoinTree, pocket_of_climb: Ints, saddles: Floats, tol: float
) -> Floats:
    """Volume of each pocket above its saddle, mm3, (p,).

    pocket_of_climb : (k,) pocket of each maximum or -1. saddles : (p,) heights in the surface's
    own frame, -inf for a part of the cavity that is a pocket as a whole.

    By the divergence theorem it is the integral of (x.up - s)(n.up) over the surface above s; the
    level cap adds nothing, and walls of voids count with their own sign.
    """
    n = len(saddles)
    if n == 0:
        return np.empty(0)
    # A whole part may be measured from any level at or below it.
    level = np.where(np.isneginf(saddles), tree.heights.min(), saddles)
    pocket = pocket_of_climb[tree.climb]
    above = np.flatnonzero(pocket >= 0)
    above = above[tree.heights[above] > saddles[pocket[above]] + tol]
    tag = np.full(len(tree.heights), -1, dtype=np.int64)
    tag[above] = pocket[above]
    of_face = tag[surface.faces].max(axis=1)
    chosen = np.flatnonzero(of_face >= 0)
    of_face = of_face[chosen]
    s = level[of_face]
    h = np.sort(tree.heights[surface.faces[chosen]], axis=1)
    c, b, a = h.T
    mean = h.mean(axis=1) - s
    with np.errstate(divide="ignore", invalid="ignore"):
        two = mean + (s - c) ** 3 / (3 * (a - c) * (b - c))
        one = (a - s) ** 3 / (3 * (a - b) * (a - c))
    height = np.where(c >= s, mean, np.where(b > s, two, np.where(a > s, one, 0.0)))
    factor = surface.area_vectors[chosen] @ tree.up / 2
    return np.bincount(of_face, weights=factor * height, minlength=n).astype(np.float64)
