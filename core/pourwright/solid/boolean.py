"""The one door to manifold3d: solids in, solids out, every result checked.

manifold3d answers a bad operand with an empty result instead of an error, works in float32 unless
asked otherwise, and lets edges touch. So everything here goes through Mesh64, and both the status
and emptiness of each operand and each result are checked.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pourwright.errors import GeometryError, MeshError
from pourwright.solid.mesh import Floats, Ints, TriMesh, concatenate
from pourwright.solid.vectors import cross, dot

# Bodies whose boxes are this far from each other meet nowhere, whatever rounding does.
_APART_MM = 0.01
# Triangles that are looked at together, to spare memory.
_AT_ONCE = 100_000


def to_manifold(mesh: TriMesh) -> manifold3d.Manifold:
    """Return `mesh` as a Manifold; MeshError if it is not a closed oriented surface."""
    body = manifold3d.Manifold(
        manifold3d.Mesh64(
            np.ascontiguousarray(mesh.vertices, dtype=np.float64),
            np.ascontiguousarray(mesh.faces, dtype=np.uint64),
        )
    )
    if body.status() != manifold3d.Error.NoError or body.is_empty():
        raise MeshError(
            f"'{mesh.name}' does not bound a solid ({body.status().name})",
            hint="repair the mesh so that each edge joins exactly two faces",
            at_mm=mesh.bounds_mm.mean(axis=0),
        )
    return body


def from_manifold(body: manifold3d.Manifold, name: str) -> TriMesh:
    """Return the surface of `body` in float64."""
    mesh = body.to_mesh64()
    return TriMesh(
        # A copy: what manifold3d lends is read-only, and it takes nothing read-only back.
        np.array(mesh.vert_properties[:, :3], dtype=np.float64, order="C"),
        mesh.tri_verts.astype(np.int64),
        name,
    )


def _checked(body: manifold3d.Manifold, what: str) -> manifold3d.Manifold:
    if body.status() != manifold3d.Error.NoError:
        raise GeometryError(f"{what} failed ({body.status().name})", hint="check the parts' meshes")
    return body


def union(meshes: Sequence[TriMesh], name: str = "union") -> TriMesh:
    """Return the union of closed meshes as one closed mesh, in the frame it was given in."""
    centre = np.concatenate([m.bounds_mm for m in meshes])
    offset = (centre.min(axis=0) + centre.max(axis=0)) / 2
    total = _united(meshes, offset)
    if total.is_empty():
        raise GeometryError(
            f"Uniting {len(meshes)} parts left nothing", hint="check that the parts have volume"
        )
    return from_manifold(total, name).moved(offset)


def _united(meshes: Sequence[TriMesh], offset: Floats) -> manifold3d.Manifold:
    """Unite two at a time, the smallest first, each made and let go as late and early as can be.

    Bodies that are well apart are one operand, side by side: the fewer operands there are, the
    less often all of them are copied. manifold3d's own union of many does that too, but keeps
    all of them to the end: nearly twice the memory, of which it needs ten times that of the meshes.
    """
    queue: list[tuple[int, int, Sequence[TriMesh] | manifold3d.Manifold]]
    queue = [
        (sum(len(m.faces) for m in group), i, group) for i, group in enumerate(_apart(meshes))
    ]
    heapq.heapify(queue)

    def take() -> manifold3d.Manifold:
        one = heapq.heappop(queue)[2]
        if isinstance(one, manifold3d.Manifold):
            return one
        together = one[0] if len(one) == 1 else concatenate(one, one[0].name)
        return to_manifold(together.moved(-offset))

    for number in range(len(queue), 2 * len(queue) - 1):
        both = _checked(take() + take(), f"Uniting {len(meshes)} parts")
        heapq.heappush(queue, (both.num_tri(), number, both))
        del both
    return take()


def _apart(meshes: Sequence[TriMesh]) -> list[list[TriMesh]]:
    """The meshes in groups of some whose boxes are all apart, the largest of each first."""
    bounds = np.array([m.bounds_mm for m in meshes])
    low, high = bounds[:, 0] - _APART_MM / 2, bounds[:, 1] + _APART_MM / 2
    groups: list[list[int]] = []
    for i in sorted(range(len(meshes)), key=lambda i: -len(meshes[i].faces)):
        for group in groups:
            if ((low[i] > high[group]) | (high[i] < low[group])).any(axis=1).all():
                group.append(i)
                break
        else:
            groups.append([i])
    return [[meshes[i] for i in group] for group in groups]


def difference(mesh: TriMesh, tools: Sequence[TriMesh], name: str = "difference") -> TriMesh:
    """Return `mesh` less all `tools`; GeometryError where nothing is left."""
    offset = mesh.bounds_mm.mean(axis=0)
    bodies = [to_manifold(m.moved(-offset)) for m in (mesh, *tools)]
    left = _checked(
        manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Subtract), "Cutting"
    )
    if left.is_empty():
        raise GeometryError(f"Cutting '{mesh.name}' left nothing", hint="check the parts' places")
    return from_manifold(left, name).moved(offset)


def refined(mesh: TriMesh, length_mm: float) -> TriMesh:
    """Return the same surface with no edge longer than about `length_mm`; no protect weights."""
    long = _with_long_edges(mesh, length_mm)
    if not long.any():
        return TriMesh(mesh.vertices, mesh.faces, mesh.name)
    # A solid of all of a large mesh takes many times its memory, and most of it is fine already.
    offset = mesh.bounds_mm.mean(axis=0)
    centred = TriMesh(mesh.vertices - offset, mesh.faces, mesh.name)
    few = 3 * int(long.sum()) < len(mesh.faces)
    found = _refined_patch(centred, long, length_mm) if few else None
    if found is None:
        body = _checked(to_manifold(centred).refine_to_length(length_mm), "Refining")
        found = from_manifold(body, mesh.name)
    return found.moved(offset)


def _refined_patch(mesh: TriMesh, chosen: NDArray[np.bool_], length_mm: float) -> TriMesh | None:
    """The mesh with the chosen triangles refined, which have all of its long edges.

    None where the library changes more, or where several vertices lie in one place and it cannot be
    told which is which.
    """
    used, corners = np.unique(mesh.faces[chosen], return_inverse=True)
    patch = TriMesh(mesh.vertices[used], corners.reshape(-1, 3))
    closed = _capped(patch)
    body = manifold3d.Manifold(
        manifold3d.Mesh64(
            closed.vertices,
            closed.faces.astype(np.uint64),
            face_id=np.arange(len(closed.faces), dtype=np.uint64),
        )
    )
    if body.num_tri() != len(closed.faces):  # it mended what it took for a fault
        return None
    found = _checked(body.refine_to_length(length_mm), "Refining").to_mesh64()
    faces = found.tri_verts[np.asarray(found.face_id) < len(patch.faces)].astype(np.int64)
    there, faces = np.unique(faces, return_inverse=True)
    vertices = np.array(found.vert_properties[there, :3], dtype=np.float64, order="C")
    # Vertices stay where they were, to the last bit.
    alike = np.unique(
        np.concatenate([patch.vertices, vertices]) + 0.0, axis=0, return_inverse=True
    )[1].reshape(-1)
    old = np.full(int(alike.max()) + 1, -1, dtype=np.int64)
    old[alike[: len(used)]] = used
    number = old[alike[len(used) :]]
    new = number < 0
    if (old >= 0).sum() != len(used) or len(vertices) - new.sum() != len(used):
        return None
    number[new] = len(mesh.vertices) + np.arange(int(new.sum()))
    finer = number[faces.reshape(-1, 3)]
    if not np.array_equal(_rims(finer), _rims(mesh.faces[chosen])):
        return None
    return TriMesh(
        np.concatenate([mesh.vertices, vertices[new]]),
        np.concatenate([mesh.faces[~chosen], finer]),
        mesh.name,
    )


def _with_long_edges(mesh: TriMesh, length_mm: float) -> NDArray[np.bool_]:
    """Which triangles have an edge that is to be parted, (m,)."""
    long = np.zeros(len(mesh.faces), dtype=bool)
    for start in range(0, len(long), _AT_ONCE):
        here = slice(start, start + _AT_ONCE)
        corners = [mesh.vertices[mesh.faces[here, i]] for i in range(3)]
        for i in range(3):
            edge = corners[i] - corners[i - 1]
            long[here] |= dot(edge, edge) >= (length_mm * (1 - 1e-9)) ** 2
    return long


def _rims(faces: Ints) -> Ints:
    """Half-edges (k, 2) without a partner, sorted."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    count = int(faces.max()) + 1
    alone = np.setdiff1d(start * count + end, end * count + start)
    return np.stack(np.divmod(alone, count), axis=1)


def _capped(patch: TriMesh) -> TriMesh:
    """A part of a closed surface closed by cones, from each of its rims to a point beside it.

    The triangles of the part come first, in their order. Points amid the rims would do, but flat
    bodies are mended by the library.
    """
    vertices, faces = patch.vertices, patch.faces
    count = len(vertices)
    a, b = _rims(faces).T
    graph = coo_array((np.ones(len(a), dtype=np.int8), (a, b)), shape=(count, count))
    label = connected_components(graph, directed=False)[1]
    rims, rim = np.unique(label[a], return_inverse=True)
    size = np.bincount(rim, minlength=len(rims))
    tips = np.stack(
        [np.bincount(rim, weights=c, minlength=len(rims)) / size for c in vertices[a].T], axis=1
    )
    off = vertices[a] - tips[rim]
    depth = np.bincount(rim, weights=np.sqrt(dot(off, off)), minlength=len(rims)) / size
    turn = cross(off, vertices[b] - tips[rim])
    inwards = np.zeros((len(rims), 3))
    np.subtract.at(inwards, rim, turn)
    way = inwards / np.maximum(np.sqrt(dot(inwards, inwards)), 1e-300)[:, None]
    tips += depth[:, None] * way
    cones = np.stack([b, a, count + rim], axis=1)
    return TriMesh(np.concatenate([vertices, tips]), np.concatenate([faces, cones]))


def pieces(mesh: TriMesh) -> list[TriMesh]:
    """Return the separate surfaces of a closed mesh; those of voids have a negative volume.

    Surfaces with a vertex in common are one; they come in the order of their first vertices.
    """
    a, b, c = mesh.faces.T
    links = coo_array(
        (np.ones(2 * len(a), dtype=np.int8), (np.concatenate([a, a]), np.concatenate([b, c]))),
        shape=(len(mesh.vertices),) * 2,
    )
    label = connected_components(links, directed=False)[1]
    if (label[a] == label[a[0]]).all():
        return [mesh]
    order = np.argsort(label[a], kind="stable")
    starts = np.flatnonzero(np.diff(label[a][order])) + 1
    number = np.empty(len(mesh.vertices), dtype=np.int64)
    found = []
    for faces in np.split(mesh.faces[order], starts):
        used = np.unique(faces)
        number[used] = np.arange(len(used))
        found.append(TriMesh(mesh.vertices[used], number[faces], mesh.name))
    return found


def without_voids(mesh: TriMesh, keep: Sequence[TriMesh] = ()) -> tuple[TriMesh, float]:
    """Fill the closed hollows of a mesh, other than those `keep` has, and say how much that was.

    keep : void surfaces (of negative volume) that stay hollow.
    Returns the mesh and the filled volume, mm3.
    """
    parts = pieces(mesh)
    kept_bounds = [k.bounds_mm for k in keep]
    wanted, filled = [], 0.0
    for part in parts:
        own = any(np.allclose(part.bounds_mm, b, atol=1e-6, rtol=0) for b in kept_bounds)
        if part.volume_mm3 > 0 or own:
            wanted.append(part)
        else:
            filled -= part.volume_mm3
    if len(wanted) == len(parts):
        return mesh, 0.0
    return concatenate(wanted, mesh.name), filled


def triangulate(loops: Sequence[Floats]) -> Ints:
    """Fill closed plane loops, (k, 2) points each, outer ones anticlockwise and holes clockwise.

    Returns triangles (m, 3) as numbers into the loops' points put one after the other.
    """
    filled = manifold3d.triangulate([np.ascontiguousarray(p, dtype=np.float64) for p in loops])
    return np.asarray(filled, dtype=np.int64).reshape(-1, 3)


def convex_hull(points: Floats, name: str) -> TriMesh:
    """Return the convex hull of (n, 3) points as a closed mesh."""
    return from_manifold(_hull(points, name), name)


def united_hulls(point_sets: Sequence[Floats], name: str) -> TriMesh:
    """Return the union of the convex hulls of point sets, (n, 3) each, as a closed mesh."""
    hulls = [_hull(points, name) for points in point_sets]
    body = manifold3d.Manifold.batch_boolean(hulls, manifold3d.OpType.Add)
    return from_manifold(_checked(body, f"Uniting the pieces of '{name}'"), name)


def _hull(points: Floats, name: str) -> manifold3d.Manifold:
    body = _checked(manifold3d.Manifold.hull_points(points), "Taking the convex hull")
    if body.is_empty():
        raise GeometryError(f"The hull of '{name}' is flat", hint="check its sizes")
    return body


def offset_outlines(loops: Sequence[Floats], distance_mm: float = 0.0) -> list[Floats]:
    """Unite plane outlines and move their edges outwards, (k, 2) points each.

    Outer outlines run anticlockwise and holes clockwise, before and after; overlapping outer ones
    are one. A negative distance moves the edges inwards, which may leave nothing. New corners are
    rounded.
    """
    plane = manifold3d.CrossSection(
        [np.ascontiguousarray(p, dtype=np.float64) for p in loops], manifold3d.FillRule.NonZero
    )
    if distance_mm:
        plane = plane.offset(distance_mm, manifold3d.JoinType.Round, 2.0, 48)
    return [np.array(p, dtype=np.float64) for p in plane.to_polygons()]


def section_outlines(mesh: TriMesh, height_mm: float) -> list[Floats]:
    """Return the outlines of the section of a closed mesh at a height along Z, (k, 2) mm each."""
    offset = mesh.bounds_mm.mean(axis=0)
    plane = to_manifold(mesh.moved(-offset)).slice(height_mm - float(offset[2]))
    return [np.array(p, dtype=np.float64) + offset[:2] for p in plane.to_polygons()]
