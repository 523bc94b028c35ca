"""Triangle meshes: plain frozen data that every room passes around."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pourwright.errors import MeshError
from pourwright.solid.vectors import cross, dot

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# No casting figure is further out or larger; beyond, float64 loses what a printer shows, and
# squares and cubes of sizes overflow.
FARTHEST_MM, LARGEST_MM = 1e10, 1e8
# Float32 files and painted weights end this close to 0 and 1.
_WEIGHT_ROUNDING = 1e-6
# Triangles that are looked at together, to spare memory.
_AT_ONCE = 100_000


@dataclass(frozen=True, eq=False)
class TriMesh:
    """Triangles over shared vertices.

    vertices : (n, 3) float64, mm, standing frame.
    faces : (m, 3) int64 vertex numbers, counter-clockwise seen from outside the solid.
    name : what the user calls it (object or file name); only for messages.
    protect : (n,) weights from 0 (free) to 1 (keep off), or None where nothing was painted.
    """

    vertices: Floats
    faces: Ints
    name: str = field(default="mesh")
    protect: Floats | None = None

    @cached_property
    def bounds_mm(self) -> Floats:
        """Lowest and highest corner, (2, 3)."""
        bounds = np.array([self.vertices.min(axis=0), self.vertices.max(axis=0)])
        bounds.setflags(write=False)  # it is kept
        return bounds

    @property
    def diagonal_mm(self) -> float:
        """Length of the bounding box's diagonal."""
        low, high = self.bounds_mm
        return float(np.linalg.norm(high - low))

    @cached_property
    def volume_mm3(self) -> float:
        """Signed volume by the divergence theorem; exact for a closed surface."""
        return signed_volume_mm3(self.vertices, self.faces)

    def moved(self, offset: Floats) -> TriMesh:
        """Return this mesh shifted by `offset`, (3,) mm."""
        return replace(self, vertices=self.vertices + offset)


def tri_mesh(
    vertices: object, faces: object, name: str = "mesh", protect: object = None
) -> TriMesh:
    """Check array-likes and return them as a TriMesh of contiguous float64 and int64.

    Raises MeshError for wrong shapes, for no triangles, for coordinates that are not finite or are
    out of all reason, for vertex numbers out of range and for protect weights that are not numbers
    from 0 to 1.
    """
    try:
        v = np.ascontiguousarray(vertices, dtype=np.float64)
        f = np.ascontiguousarray(faces, dtype=np.int64)
    except (TypeError, ValueError) as error:
        raise MeshError(f"'{name}' is not a mesh: {error}", hint="give numbers") from error
    if v.ndim != 2 or v.shape[1] != 3 or f.ndim != 2 or f.shape[1] != 3:
        raise MeshError(
            f"'{name}' is not a triangle mesh: vertices {v.shape}, faces {f.shape}",
            hint="give vertices (n, 3) and triangles (m, 3)",
        )
    if len(f) == 0 or len(v) == 0:
        raise MeshError(
            f"'{name}' has no triangles", hint="give a model with a surface", kind="empty"
        )
    if f.min() < 0 or f.max() >= len(v):
        raise MeshError(
            f"'{name}' names vertex {f.max() if f.min() >= 0 else f.min()} but has {len(v)}",
            hint="the file is damaged; export it again",
        )
    bad = ~np.isfinite(v).all(axis=1)
    bad &= np.isin(np.arange(len(v)), f) if bad.any() else False
    if bad.any():
        raise MeshError(
            f"'{name}' has {int(bad.sum())} vertices whose coordinates are not finite numbers, "
            f"the first is vertex {int(np.flatnonzero(bad)[0])}",
            hint="delete them or export the model again",
            kind="not_finite",
        )
    _check_reach(v, f, name)
    return TriMesh(v, f, name, None if protect is None else _weights(protect, len(v), name))


def _check_reach(v: Floats, f: Ints, name: str) -> None:
    """Refuse meshes that are too large or too far out; spare vertices do not count."""
    if np.abs(v).max() <= LARGEST_MM / 2:
        return
    used = v[np.unique(f)]
    far = used[int(np.argmax(np.abs(used).max(axis=1)))]
    size = float((used.max(axis=0) - used.min(axis=0)).max())
    if np.abs(far).max() <= FARTHEST_MM and size <= LARGEST_MM:
        return
    raise MeshError(
        f"'{name}' reaches too far: it is {size:.3g} mm across and lies up to "
        f"{np.abs(far).max():.3g} mm from the origin",
        hint="delete stray vertices, check the unit, or move it to the origin",
        at_mm=far,
        kind="too_far",
    )


def _weights(protect: object, count: int, name: str) -> Floats:
    """Check protect weights, (count,); what is beyond 0 or 1 by rounding only is cut off."""
    hint = "give every vertex a number from 0 to 1"
    try:
        w = np.ascontiguousarray(protect, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise MeshError(
            f"'{name}': protect weights are no numbers: {error}", hint=hint, kind="protect"
        ) from error
    if w.shape != (count,):
        raise MeshError(
            f"'{name}' has {count} vertices, but protect weights of shape {w.shape}",
            hint=hint,
            kind="protect",
        )
    bad = ~((w >= -_WEIGHT_ROUNDING) & (w <= 1 + _WEIGHT_ROUNDING))  # true of NaN as well
    if bad.any():
        first = int(np.flatnonzero(bad)[0])
        raise MeshError(
            f"'{name}': protect weight {w[first]:g} of vertex {first} is not within 0 and 1",
            hint=hint,
            kind="protect",
        )
    return np.clip(w, 0.0, 1.0)


def signed_volume_mm3(vertices: Floats, faces: Ints) -> float:
    """Signed volume of a closed surface, mm3, summed about its centre to keep digits."""
    x, y, z = np.ascontiguousarray((vertices - (vertices.min(axis=0) + vertices.max(axis=0)) / 2).T)
    total = 0.0
    for start in range(0, len(faces), _AT_ONCE):
        a, b, c = faces[start : start + _AT_ONCE].T
        # Six times the prism under each triangle, down to the centre's level.
        level = (x[b] - x[a]) * (y[c] - y[a]) - (y[b] - y[a]) * (x[c] - x[a])
        total += float((level * (z[a] + z[b] + z[c])).sum())
    return total / 6.0


def centre_of_mass(mesh: TriMesh) -> Floats:
    """Return the centre of mass of a closed mesh, (3,) mm."""
    middle = mesh.bounds_mm.mean(axis=0)
    a, b, c = (mesh.vertices[mesh.faces[:, i]] - middle for i in range(3))
    six = dot(a, cross(b, c))
    result: Floats = middle + (six[:, None] * (a + b + c)).sum(axis=0) / (4 * six.sum())
    return result


def concatenate(meshes: Sequence[TriMesh], name: str = "mesh") -> TriMesh:
    """Return the meshes side by side as one, without joining anything.

    Where some have protect weights, the others count as free.
    """
    weights = [np.zeros(len(m.vertices)) if m.protect is None else m.protect for m in meshes]
    starts = np.cumsum([0] + [len(m.vertices) for m in meshes[:-1]])
    return TriMesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + s for m, s in zip(meshes, starts, strict=True)]),
        name,
        None if all(m.protect is None for m in meshes) else np.concatenate(weights),
    )
