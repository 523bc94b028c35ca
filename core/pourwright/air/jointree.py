"""The join tree of height on a cavity: how its high parts run together as the level falls.

For every level the parts of the cavity above it are the tree's branches there. The tree is found
from the surface alone: each vertex climbs to a local maximum, edges between two climbs are the
passes, and a maximum of the surface that is none of the cavity (the roof of a void) is tied to
the surface straight above it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree

from pourwright.air.surface import Surface
from pourwright.errors import GeometryError
from pourwright.solid.columns import frame, hits
from pourwright.solid.mesh import Floats, Ints


@dataclass(frozen=True, eq=False)
class JoinTree:
    """Climbs and the passes between them.

    up : (3,) unit vector. heights : (n,) x . up of the surface's own (recentred) vertices.
    climb : (n,) number of the local maximum each vertex climbs to.
    peaks : (k,) vertex of each local maximum of the surface.
    pass_a, pass_b, pass_height : the tree's edges, highest pass first: two maxima, and the height
        at which the parts of the cavity below them run together.
    """

    up: Floats
    heights: Floats
    climb: Ints
    peaks: Ints
    pass_a: Ints
    pass_b: Ints
    pass_height: Floats


def join_tree(surface: Surface, up: Floats) -> JoinTree:
    """Build the join tree of the cavity inside `surface` for the unit direction `up`.

    Ties in height are broken by vertex number, which makes every level unambiguous; plateaus
    then give branches of no height.
    """
    heights = surface.vertices @ up
    low, high = surface.edge_low, surface.edge_high
    rising = heights[high] >= heights[low]
    lower, upper = np.where(rising, low, high), np.where(rising, high, low)
    climb = np.arange(len(heights))
    climb[lower] = upper  # any higher neighbour serves
    while True:
        further = climb[climb]
        if np.array_equal(further, climb):
            break
        climb = further
    crossing = np.flatnonzero(climb[low] != climb[high])
    saddle = lower[crossing]
    a, b = climb[low[crossing]], climb[high[crossing]]
    peaks = np.flatnonzero(climb == np.arange(len(climb)))
    false_peak, above = _ties(surface, up, heights, peaks)
    saddle = np.concatenate([saddle, false_peak])
    a, b = np.concatenate([a, false_peak]), np.concatenate([b, climb[above]])
    number = np.empty(len(heights), dtype=np.int64)
    number[peaks] = np.arange(len(peaks))
    return JoinTree(
        up, heights, number[climb], peaks, *_spanning(number[a], number[b], saddle, heights, peaks)
    )


def _spanning(
    a: Ints, b: Ints, saddle: Ints, heights: Floats, peaks: Ints
) -> tuple[Ints, Ints, Floats]:
    """Keep the highest passes that connect all (a maximum spanning forest), highest first."""
    apart = a != b
    a, b, saddle = a[apart], b[apart], saddle[apart]
    if len(a) == 0:
        return a, b, np.empty(0)
    a, b = np.minimum(a, b), np.maximum(a, b)
    order = np.lexsort((saddle, heights[saddle]))[::-1]
    a, b, saddle = a[order], b[order], saddle[order]
    _, first = np.unique(a * np.int64(len(peaks)) + b, return_index=True)
    first.sort()
    a, b, saddle = a[first], b[first], saddle[first]
    # Ranks from 1, as the sparse format drops zeros; one entry a pair, as it adds up repeats.
    rank = np.arange(1, len(a) + 1, dtype=np.float64)
    ends = (a.astype(np.int32), b.astype(np.int32))  # csgraph reads 32-bit numbers only here
    forest = minimum_spanning_tree(coo_array((rank, ends), shape=(len(peaks),) * 2).tocsr())
    kept = np.sort(forest.data.astype(np.int64)) - 1
    return a[kept], b[kept], heights[saddle[kept]]


def _ties(
    surface: Surface, up: Floats, heights: Floats, peaks: Ints
) -> tuple[Ints, Ints]:
    """Find the maxima of the surface that have the inside above them, and what lies up there.

    Returns those vertices, and for each the highest vertex of the first triangle that a ray up
    through the inside leaves by. Every one needs its ray, however small: it may be the only link
    between two surfaces.
    """
    false = peaks[surface.normals[peaks] @ up < 0]
    found, target = [np.empty(0, np.int64)], [np.empty(0, np.int64)]
    level = frame(up)[:2]
    # A ray that runs along a wall may miss. Nothing near a maximum lies above it, so any other
    # rising direction starts inside as well.
    for tilt in ((0.0, 0.0), (1e-3, 4e-4), (-7e-4, 9e-4), (5e-2, -3e-2), (-0.4, 0.3)):
        if len(false) == 0:
            break
        ray = up + np.array(tilt) @ level
        hit, top = _first_exit(surface, ray / np.linalg.norm(ray), heights, false)
        found.append(false[hit])
        target.append(top)
        false = np.delete(false, hit)
    if len(false):
        raise GeometryError(
            "A hollow's roof has no wall above it",
            hint="the surface crosses itself there; repair the model",
            at_mm=surface.vertices[false[0]] + surface.centre_mm,
        )
    return np.concatenate(found), np.concatenate(target)


def _first_exit(
    surface: Surface, ray: Floats, heights: Floats, start: Ints
) -> tuple[Ints, Ints]:
    """First triangle facing along `ray` beyond each start vertex: which starts hit, its top."""
    if len(start) == 0:
        return start, start
    facing = np.flatnonzero(surface.area_vectors @ ray > 0)
    faces = surface.faces[facing]
    coords = surface.vertices @ frame(ray).T
    got = hits(coords, faces, coords[start, :2], only_up=True)
    own = (faces[got.triangle] == start[got.line][:, None]).any(axis=1)
    # Rounding may put a touching surface a hair below the vertex it touches.
    slack = 1e-3 * surface.tolerance_mm
    good = ~own & (got.z >= coords[start[got.line], 2] - slack)
    line, triangle, z = got.line[good], got.triangle[good], got.z[good]
    order = np.lexsort((z, line))
    line, triangle = line[order], triangle[order]
    hit, first = np.unique(line, return_index=True)
    corner = faces[triangle[first]]
    top = corner[np.arange(len(corner)), np.argmax(heights[corner], axis=1)]
    return hit, top
