"""Random solids with everything that trips an air analysis: plateaus, voids, contacts."""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np

from pourwright.solid import TriMesh

Manifold = manifold3d.Manifold
CSG_KINDS = ("csg", "hollow", "nested")
LATTICE_KINDS = ("scattered", "solid", "turned")


def random_body(kind: str, rng: np.random.Generator) -> manifold3d.Manifold:
    """One solid of a kind; always with some volume."""
    body = {"csg": _csg, "hollow": _hollow, "nested": _nested}[kind](rng)
    return body if not body.is_empty() else Manifold.cube((1, 1, 1))


def random_lattice(kind: str, rng: np.random.Generator) -> Lattice:
    """Unit cubes at random places: plateaus, voids, and contacts along edges and at corners."""
    density = {"scattered": 0.35, "solid": 0.8, "turned": 0.6}[kind]
    full = rng.random(tuple(rng.integers(2, 6, 3))) < density
    full.flat[0] = True
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0] if kind == "turned" else np.eye(3)
    return Lattice(full, turn * np.sign(np.linalg.det(turn)))


def _piece(rng: np.random.Generator, spread: float) -> manifold3d.Manifold:
    size = rng.uniform(1, 4, 3)
    shape = rng.integers(4)
    if shape == 0:
        body = Manifold.cube(tuple(size), True)
    elif shape == 1:
        body = Manifold.sphere(size[0] / 2, int(rng.integers(5, 16)))
    elif shape == 2:
        body = Manifold.cylinder(size[0], size[1] / 2, size[2] / 2, int(rng.integers(3, 12)), True)
    else:
        body = Manifold.hull_points(rng.normal(size=(8, 3)) * size / 2)
    if rng.random() < 0.7:
        body = body.rotate(tuple(rng.uniform(0, 360, 3)))
    return body.translate(tuple(rng.uniform(-spread, spread, 3)))


def _csg(rng: np.random.Generator) -> manifold3d.Manifold:
    body = Manifold()
    for _ in range(rng.integers(2, 8)):
        body += _piece(rng, 3)
    for _ in range(rng.integers(0, 4)):
        body -= _piece(rng, 3)
    return body


def _hollow(rng: np.random.Generator) -> manifold3d.Manifold:
    body = _csg(rng) + Manifold.cube((6, 6, 6), True)
    for _ in range(rng.integers(1, 6)):
        body -= _piece(rng, 2).scale((0.5, 0.5, 0.5))
    return body


def _nested(rng: np.random.Generator) -> manifold3d.Manifold:
    body = Manifold()
    size = 8.0
    for level in range(int(rng.integers(2, 6))):
        cubic = rng.random() < 0.5
        shell = Manifold.cube((size,) * 3, True) if cubic else Manifold.sphere(size / 2, 8)
        if rng.random() < 0.6:
            shell = shell.rotate(tuple(rng.uniform(0, 90, 3)))
        shell = shell.translate(tuple(rng.uniform(-0.2, 0.2, 3)))
        body = body + shell if level % 2 == 0 else body - shell
        size *= 0.55
    return body + _piece(rng, 5)


_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
# Corner numbers of the two triangles of each face, seen anticlockwise from outside.
_SIDES = {
    (0, -1): [(0, 1, 3), (0, 3, 2)], (0, 1): [(4, 6, 7), (4, 7, 5)],
    (1, -1): [(0, 4, 5), (0, 5, 1)], (1, 1): [(2, 3, 7), (2, 7, 6)],
    (2, -1): [(0, 2, 6), (0, 6, 4)], (2, 1): [(1, 5, 7), (1, 7, 3)],
}


@dataclass(frozen=True, eq=False)
class Lattice:
    """Unit cubes where `full`, (i, j, k) bool, turned by a rotation matrix."""

    full: np.ndarray
    turn: np.ndarray

    def mesh(self) -> TriMesh:
        """Return its surface, welded at every contact."""
        faces = []
        padded = np.pad(self.full, 1)
        shape = np.array(self.full.shape) + 1
        for at in np.argwhere(self.full):
            number = np.ravel_multi_index((at + _CORNERS).T, shape)
            for (axis, step), triangles in _SIDES.items():
                beside = at + 1
                beside[axis] += step
                if not padded[tuple(beside)]:
                    faces += [number[list(t)] for t in triangles]
        grid = np.stack(np.unravel_index(np.arange(shape.prod()), shape), axis=1)
        used, faces = np.unique(np.array(faces), return_inverse=True)
        return TriMesh(grid[used] @ self.turn.T, faces.reshape(-1, 3), "lattice")

    def parts_above(self, up: np.ndarray, level: float) -> list[tuple[float, float]]:
        """Volume and top of the separate parts above a level, from the cubes alone.

        Two cubes are one part where they share a face that reaches above the level; edges and
        corners join nothing.
        """
        cubes = np.argwhere(self.full)
        height = ((cubes[:, None] + _CORNERS) @ self.turn.T) @ up
        group = np.arange(len(cubes))
        for i, a in enumerate(cubes):
            for j in range(i):
                step = np.abs(a - cubes[j])
                if step.sum() == 1:
                    shared = np.intersect1d(*(
                        np.ravel_multi_index((c + _CORNERS).T, np.array(self.full.shape) + 1)
                        for c in (a, cubes[j])
                    ), return_indices=True)[1]
                    if height[i, shared].max() > level:
                        group[group == group[i]] = group[j]
        found: dict[int, tuple[float, float]] = {}
        for i, a in enumerate(cubes):
            if height[i].max() > level:
                cube = Manifold.hull_points((a + _CORNERS) @ self.turn.T)
                volume, top = found.get(group[i], (0.0, -np.inf))
                volume += cube.trim_by_plane(tuple(up), level).volume()
                found[group[i]] = (volume, max(top, float(height[i].max())))
        return sorted(found.values(), reverse=True)
