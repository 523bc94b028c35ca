"""The trapped air itself as closed meshes, for drawing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pourwright.air.jointree import JoinTree, join_tree
from pourwright.air.pockets import unit_vector
from pourwright.air.surface import prepare
from pourwright.errors import Point
from pourwright.solid.boolean import triangulate
from pourwright.solid.columns import frame
from pourwright.solid.mesh import Floats, Ints, TriMesh


def pocket_shapes(
    mesh: TriMesh, up: Sequence[float], pockets: Sequence[tuple[Point, float | None]]
) -> list[TriMesh]:
    """Return the air of each pocket as a closed mesh, standing frame, mm.

    mesh : the closed surface the pockets were found in. pockets : peak and saddle height of each.
    The pocket's walls are cut at its saddle and closed with a level lid.
    """
    direction = unit_vector(up)
    surface = prepare(mesh)
    tree = join_tree(surface, direction)
    shift = float(surface.centre_mm @ direction)
    shapes = []
    for number, (peak, saddle) in enumerate(pockets, start=1):
        offset = np.asarray(peak) - surface.centre_mm
        top = int(((surface.vertices - offset) ** 2).sum(axis=1).argmin())
        # A hair above the saddle, so that pockets that meet there come apart.
        level = -np.inf if saddle is None else saddle - shift + surface.tolerance_mm
        above = _air_above(tree, top, level)
        walls = surface.faces[above[surface.faces].any(axis=1)]
        vertices, faces = _cut(surface.vertices, walls, tree.heights - level, direction)
        shapes.append(TriMesh(vertices + surface.centre_mm, faces, f"air pocket {number}"))
    return shapes


def _air_above(tree: JoinTree, vertex: int, level: float) -> np.ndarray:
    """Mask of the vertices above `level` in the same part of the air as `vertex`."""
    joined = tree.pass_height > level
    a, b = tree.pass_a[joined], tree.pass_b[joined]
    k = len(tree.peaks)
    graph = coo_array((np.ones(len(a), dtype=np.int8), (a, b)), shape=(k, k))
    part = connected_components(graph, directed=False)[1]
    mask: np.ndarray = part[tree.climb] == part[tree.climb[vertex]]
    return mask & (tree.heights > level)


def _cut(
    vertices: Floats, faces: Ints, heights: Floats, up: Floats
) -> tuple[Floats, Ints]:
    """Keep what lies above height 0 of some faces, and close it with a lid at height 0."""
    used, faces = np.unique(faces, return_inverse=True)
    faces = faces.reshape(-1, 3)
    points, h = vertices[used], heights[used]
    inside = h > 0
    count = inside[faces].sum(axis=1)
    kept = [faces[count == 3]]
    # Turned so that the odd corner out comes first.
    one = _odd_first(faces[count == 1], inside, True)
    two = _odd_first(faces[count == 2], inside, False)
    # Edges that cross the level, from their upper to their lower end: each becomes one vertex.
    ends = np.concatenate([one[:, [0, 1]], one[:, [0, 2]], two[:, [1, 0]], two[:, [2, 0]]])
    edges, number = np.unique(ends, axis=0, return_inverse=True)
    number = number.reshape(-1) + len(points)
    n1, n2 = len(one), len(two)
    left, right, near, far = np.split(number, [n1, 2 * n1, 2 * n1 + n2])
    kept.append(np.column_stack([one[:, 0], left, right]))
    kept.append(np.column_stack([two[:, 1], two[:, 2], far]))
    kept.append(np.column_stack([two[:, 1], far, near]))
    share = (h[edges[:, 0]] / (h[edges[:, 0]] - h[edges[:, 1]]))[:, None]
    cut = points[edges[:, 0]] * (1 - share) + points[edges[:, 1]] * share
    points = np.vstack([points, cut])
    # The walls run left to right and far to near along the level; the lid runs the other way.
    ahead = dict(zip(np.concatenate([right, near]), np.concatenate([left, far]), strict=True))
    kept.append(_lid(points, ahead, up))
    return _compact(points, np.vstack(kept))


def _odd_first(faces: Ints, inside: np.ndarray, value: bool) -> Ints:
    """Roll each face so that its only corner with `inside == value` comes first."""
    first = np.argmax(inside[faces] == value, axis=1)[:, None]
    return np.take_along_axis(faces, (first + np.arange(3)) % 3, axis=1)


def _lid(points: Floats, ahead: dict[int, int], up: Floats) -> Ints:
    """Triangles that close level loops, facing down; `ahead` is the next vertex of each."""
    loops = []
    while ahead:
        start, vertex = ahead.popitem()
        loop = [start]
        while vertex != start:
            loop.append(vertex)
            vertex = ahead.pop(vertex)
        loops.append(np.array(loop))
    if not loops:
        return np.empty((0, 3), dtype=np.int64)
    axes = frame(up)
    seen_from_below = np.stack([axes[1], axes[0]])
    flat = [points[loop] @ seen_from_below.T for loop in loops]
    return np.concatenate(loops)[triangulate(flat)]


def _compact(points: Floats, faces: Ints) -> tuple[Floats, Ints]:
    used, faces = np.unique(faces, return_inverse=True)
    return points[used], faces.reshape(-1, 3).astype(np.int64)
