"""Small meshes for tests, from trimesh's makers."""

from __future__ import annotations

import numpy as np
import trimesh

from pourwright.solid import TriMesh, tri_mesh


def as_mesh(body: trimesh.Trimesh, name: str = "body") -> TriMesh:
    return tri_mesh(body.vertices, body.faces, name)


def box(low, high) -> trimesh.Trimesh:
    return trimesh.creation.box(bounds=[low, high])


def turned_in(body: trimesh.Trimesh) -> trimesh.Trimesh:
    """The same surface with its inside out."""
    body = body.copy()
    body.invert()
    return body


def together(*bodies: trimesh.Trimesh) -> trimesh.Trimesh:
    """Side by side in one mesh, nothing joined."""
    return trimesh.util.concatenate(list(bodies))


def tube_along(path: np.ndarray, radius: float, sides: int = 16) -> TriMesh:
    """Round tube along a closed plane path in XY; crosses itself where the path does."""
    ahead = np.roll(path, -1, 0) - np.roll(path, 1, 0)
    ahead /= np.linalg.norm(ahead, axis=1)[:, None]
    beside = np.cross(ahead, [0, 0, 1.0])
    angle = np.arange(sides) * 2 * np.pi / sides
    ring = np.cos(angle)[:, None] * beside[:, None] + np.sin(angle)[:, None] * [0, 0, 1.0]
    vertices = (path[:, None] + radius * ring).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(len(path)), np.arange(sides), indexing="ij")
    a = i * sides + j
    b = i * sides + (j + 1) % sides
    step = (i + 1) % len(path) * sides
    c, d = step + j, step + (j + 1) % sides
    faces = np.concatenate([
        np.stack([a, b, c], -1).reshape(-1, 3), np.stack([b, d, c], -1).reshape(-1, 3)
    ])
    return tri_mesh(vertices, faces, "tube")


def figure_eight(turn: float = 1.0) -> TriMesh:
    """A tube that crosses itself once."""
    t = np.linspace(0, 2 * np.pi, 121)[:-1]
    return tube_along(np.c_[20 * np.sin(t), turn * 10 * np.sin(2 * t), 0 * t], 3.0)
