"""What a mm of cut costs at each place of the surface.

The price of an arc is its length times the mean of the factors at its two ends:

    (1 - ridge R) (1 - rod T) (1 + hidden V + detail D + protected P + flat F + outline O)

R, T, V, D, P from 0 to 1: ridge, beside the foot of a rod, facing the viewer, crease or rough, kept
off. F is the distance from the plane of the cut in tenths of the figure's size; O is the square of
the cosine between normal and opening. Rods themselves are no way: a line up a rod leaves the rubber
between rod and figure uncut. Beside its foot the knife, on its way out, opens the rod's channel.

Ridges and detail come from one measure: over a patch, the sum of bend times length of its edges,
over its area, is twice the mean curvature (D. Cohen-Steiner, J.-M. Morvan, Restricted Delaunay
triangulations and normal cycle, SoCG 2003, from memory). Where all bends of a patch are convex it
is a ridge; where they are concave it is a crease; where they cancel it is surface detail.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.sparse import coo_array, csr_array, diags_array

from pourwright.errors import Point
from pourwright.mould.parting import Parting
from pourwright.mould.settings import CutSettings
from pourwright.mould.surface import SurfaceGraph
from pourwright.solid.lines import near_path
from pourwright.solid.mesh import Floats, Ints
from pourwright.solid.protect import Protection

# Patches over which ridges and creases are judged, mm; a full ridge bends by this much on it.
_PATCH_MM = 2.0
_FULL_BEND = 1.0
# A corner within this of a rod's wall is on it, and within the other it is beside it.
_ON_ROD_MM, _BESIDE_ROD_MM = 0.25, 2.0
_MOST_STEPS = 60


class RodLike(Protocol):
    """A round rod on the master: a vent, a gate, or one drawn by the user."""

    @property
    def path_mm(self) -> tuple[Point, ...]:
        """Corner points."""

    @property
    def diameter_mm(self) -> float:
        """Of the rod."""


@dataclass(frozen=True, eq=False)
class Price:
    """Factors at the corners of a graph, (n,) each, and the prices made of them.

    ridge, detail, seen, kept_off : from 0 to 1. rod : number of the rod that a corner is on, or
    -1. factor : of them all. arcs : (e,) price of each arc, mm; inf on rods.
    """

    ridge: Floats
    detail: Floats
    seen: Floats
    kept_off: Floats
    rod: Ints
    factor: Floats
    arcs: Floats


def price_of(
    graph: SurfaceGraph,
    parting: Parting,
    settings: CutSettings,
    *,
    rods: Sequence[tuple[Floats, float]] = (),
    viewer: Floats | None = None,
    protection: tuple[Protection, Floats] | None = None,
    size_mm: float,
) -> Price:
    """Price the arcs of a graph.

    rods : path (k, 3) and diameter of each. viewer : unit vector to who looks, or None.
    protection : weights and the (3, 3) rotation from the frame of the board to theirs.
    size_mm : of the figure. All else in the frame of the board.
    """
    ridge, detail = ridges_and_detail(graph)
    on_rod = rod_of(graph.points, rods, _ON_ROD_MM)
    beside = rod_of(graph.points, rods, _BESIDE_ROD_MM) >= 0
    seen = np.zeros(len(graph.points))
    if viewer is not None:
        seen = np.maximum(graph.normals @ viewer, 0.0)
    kept_off = np.zeros(len(graph.points))
    if protection is not None:
        weights, back = protection
        kept_off = weights.at(graph.points @ back.T)
    off = np.abs(parting.off_plane_mm(graph.points)) / (0.1 * size_mm)
    facing = (graph.normals @ parting.opening) ** 2
    # The foot of a rod is a crease only because of the rod.
    detail = np.where(beside, 0.0, detail)
    factor = (1 - settings.ridge * ridge) * (1 - settings.rod * beside) * (
        1 + settings.hidden * seen + settings.detail * detail + settings.protected * kept_off
        + settings.flat * off + settings.outline * facing
    )  # fmt: skip
    a, b = graph.arcs.T
    arcs = np.maximum(graph.lengths_mm, 1e-9) * (factor[a] + factor[b]) / 2
    arcs[(on_rod[a] >= 0) | (on_rod[b] >= 0)] = np.inf
    return Price(ridge, detail, seen, kept_off, on_rod, factor, arcs)


def ridges_and_detail(graph: SurfaceGraph) -> tuple[Floats, Floats]:
    """Return how much of a ridge, and of a crease or rough surface, each corner is, (n,) 0..1."""
    n = len(graph.points)
    a, b = graph.arcs.T
    turning = graph.bend * graph.lengths_mm / 2
    third = np.repeat(graph.areas_mm2 / 3, 3)
    area = np.bincount(graph.faces.ravel(), third, minlength=n).astype(np.float64)

    def at_corners(values: Floats) -> Floats:
        at_a, at_b = np.bincount(a, values, minlength=n), np.bincount(b, values, minlength=n)
        return (at_a + at_b).astype(np.float64)

    spread = _spreading(graph, area)
    fields = np.stack([at_corners(turning), at_corners(np.abs(turning)), area], axis=1)
    for _ in range(_steps(graph)):
        fields = spread @ fields
    signed, unsigned, patch = fields.T
    scale = _PATCH_MM / (_FULL_BEND * np.maximum(patch, 1e-12))
    convex = np.clip(signed * scale, 0.0, 1.0)
    crease = np.clip(-signed * scale, 0.0, 1.0)
    cancelled = np.clip((unsigned - np.abs(signed)) * scale, 0.0, 1.0)
    return convex * (1 - cancelled), np.maximum(crease, cancelled)


def _spreading(graph: SurfaceGraph, area: Floats) -> csr_array:
    """One step of spreading over the arcs that keeps sums: half stays, half goes to neighbours."""
    n = len(area)
    a, b = graph.arcs.T
    ones = np.ones(len(a))
    links = coo_array((np.r_[ones, ones], (np.r_[a, b], np.r_[b, a])), shape=(n, n)).tocsr()
    out = 0.5 / np.maximum(links.sum(axis=0), 1)
    return (links @ diags_array(out) + diags_array(np.full(n, 0.5))).tocsr()


def _steps(graph: SurfaceGraph) -> int:
    """Steps until what starts at a corner has gone as far as half a patch."""
    arc = float(np.median(graph.lengths_mm))
    # Half of each step moves by an arc: the mean square is half its square.
    return int(np.clip(2 * (_PATCH_MM / 2 / max(arc, 1e-6)) ** 2, 1, _MOST_STEPS))


def rod_of(points: Floats, rods: Sequence[tuple[Floats, float]], within_mm: float) -> Ints:
    """Return the number of a rod whose wall each of (n, 3) points is near, or -1, (n,)."""
    found = np.full(len(points), -1, dtype=np.int64)
    for number, (path, diameter) in enumerate(rods):
        reach = diameter / 2 + within_mm
        low, high = path.min(axis=0) - reach, path.max(axis=0) + reach
        near = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
        if len(near) == 0:
            continue
        distance = near_path(points[near], path)
        found[near[distance <= reach]] = number
    return found
