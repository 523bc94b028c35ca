"""The two leaves of a cut mould: which surface each one holds, and what ties them together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from pourwright.errors import Point
from pourwright.mould.cost import Price
from pourwright.mould.cut import CutLine
from pourwright.mould.parting import Parting
from pourwright.mould.surface import SurfaceGraph
from pourwright.solid.lines import samples
from pourwright.solid.mesh import Floats, Ints

# The smaller leaf holds at least this share of the surface, or the cut parts nothing.
_LEAST_LEAF = 0.03
_ROD_STEP_MM = 0.5


@dataclass(frozen=True, eq=False)
class Leaves:
    """Which leaf holds what.

    of_face : (m,) for each small triangle of the graph 1 for the leaf towards the opening, -1 for
    the other, 0 on rods. parted : whether the loop and the slits part the surface in two; where
    they do not, every face is given to the leaf that it faces.
    """

    of_face: Ints
    parted: bool


@dataclass(frozen=True)
class RodCut:
    """How a rod comes out of the rubber.

    rod : its number. reached : whether the knife, on its way out from the line, opens its channel
    somewhere. gap_mm : of rubber between the rod and the cut, 0 where it is reached. at_mm : on
    the rod, nearest to the cut. ties : whether it joins one leaf's side of the master to the
    other's. message : what to do, one sentence.
    """

    rod: int
    reached: bool
    gap_mm: float
    at_mm: Point
    ties: bool
    message: str


def part_leaves(
    graph: SurfaceGraph, price: Price, parting: Parting, line: CutLine, slits: Sequence[Ints]
) -> Leaves:
    """Part the surface along the loop and the slits round openings, (k,) corners each."""
    n, m = len(graph.points), len(graph.faces)
    ends = [np.stack([loop, np.roll(loop, -1)], axis=1) for loop in (line.corners, *slits)]
    cut = np.sort(np.vstack(ends), axis=1)
    shut = np.isin(graph.arcs[:, 0] * n + graph.arcs[:, 1], cut[:, 0] * n + cut[:, 1])
    free = (price.rod < 0)[graph.faces].all(axis=1)
    one, two = graph.arc_faces.T
    joined = np.flatnonzero(~shut & free[one] & free[two])
    links = coo_array((np.ones(len(joined)), (one[joined], two[joined])), shape=(m, m))
    label = connected_components(links, directed=False)[1]
    area = np.bincount(label[free], graph.areas_mm2[free], minlength=label.max() + 1)
    off = parting.off_plane_mm(graph.points)[graph.faces].mean(axis=1)
    order = np.argsort(-area, kind="stable")
    parted = len(order) > 1 and area[order[1]] >= _LEAST_LEAF * area.sum()
    if parted:
        mean = np.bincount(label, off * graph.areas_mm2, minlength=len(area))
        mean = mean / np.maximum(area, 1e-12)
        front = order[0] if mean[order[0]] > mean[order[1]] else order[1]
        # Small patches, such as those between the feet of rods, go by where they lie.
        leaf = np.where(mean > 0, 1, -1)
        leaf[order[:2]] = -1
        leaf[front] = 1
        of_face = leaf[label]
    else:
        facing = graph.normals[graph.faces].mean(axis=1) @ parting.opening
        of_face = np.where(facing > 0, 1, -1)
    return Leaves(np.where(free, of_face, 0), parted)


def rods_cut(
    graph: SurfaceGraph,
    price: Price,
    parting: Parting,
    line: CutLine,
    leaves: Leaves,
    rods: Sequence[tuple[Floats, float]],
) -> tuple[RodCut, ...]:
    """Say of each rod, path (k, 3) and diameter, how it comes out.

    The knife goes from the line straight outwards within the mould: at any place of the plane of
    the cut it is as far off the plane as the nearest point of the line. A rod that comes within
    its radius of that is reached.
    """
    if not rods:
        return ()
    free = np.flatnonzero(leaves.of_face != 0)
    middles = graph.points[graph.faces[free]].mean(axis=1)
    tree = cKDTree(middles)
    sheet = Sheet.of(parting, line)
    found = []
    for number, (path, diameter) in enumerate(rods):
        along = samples(path, _ROD_STEP_MM)
        gap = np.maximum(np.abs(sheet.off_mm(along)) - diameter / 2, 0.0)
        nearest = int(np.argmin(gap))
        ends = leaves.of_face[free[tree.query(path[[0, -1]])[1]]]
        ties = bool(ends[0] != ends[1])
        reached = bool(gap[nearest] <= 1e-9)
        x, y, z = (float(c) for c in along[nearest])
        found.append(
            RodCut(number, reached, float(gap[nearest]), (x, y, z), ties,
                   _rod_message(reached, float(gap[nearest]), ties))
        )  # fmt: skip
    return tuple(found)


@dataclass(frozen=True, eq=False)
class Sheet:
    """The cut on its way from the line to the outside: a height over the plane of the cut."""

    parting: Parting
    off: Floats
    tree: cKDTree

    @staticmethod
    def of(parting: Parting, line: CutLine) -> Sheet:
        """Return the sheet of a line; the hinge, which is not cut, has none."""
        points = line.cut_mm
        flat = np.stack([parting.out_mm(points), points[:, 2]], axis=1)
        return Sheet(parting, parting.off_plane_mm(points), cKDTree(flat))

    def height_mm(self, out_mm: Floats, z_mm: Floats) -> Floats:
        """How far off the plane the knife is, (n,), at places of it."""
        return self.off[self.tree.query(np.stack([out_mm, z_mm], axis=1))[1]]

    def off_mm(self, points: Floats) -> Floats:
        """Signed distance (n,) of points from the sheet along the opening."""
        height = self.height_mm(self.parting.out_mm(points), points[:, 2])
        off: Floats = self.parting.off_plane_mm(points) - height
        return off


def _rod_message(reached: bool, gap: float, ties: bool) -> str:
    if reached and not ties:
        return "The cut opens its channel: it comes out with the master"
    if reached:
        return "It crosses the cut, which opens its channel: cut round it, or break it off first"
    if ties:
        return f"It ties the leaves, {gap:.1f} mm from the cut: slit the rubber along it"
    return (
        f"It lies {gap:.1f} mm beside the cut within one leaf: break it off at its neck and pull "
        "it out along itself, or slit the rubber along it"
    )
