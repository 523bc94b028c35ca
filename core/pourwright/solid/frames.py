"""Rotations between the standing frame and the frame of the board the master is moulded on."""

from __future__ import annotations

import numpy as np

from pourwright.solid.mesh import Floats, TriMesh


def board_rotation(up: Floats) -> Floats:
    """Return the (3, 3) rotation R that turns the pour direction down: R @ up == (0, 0, -1).

    It is the smallest such turn; with the default direction, minus Z, it is exactly the identity.
    """
    x, y, z = (float(c) for c in up / np.linalg.norm(up))
    if z <= -1 + 1e-15:
        return np.eye(3)
    if z >= 1 - 1e-15:
        return np.diag([1.0, -1.0, -1.0])
    # Rodrigues' formula for the turn about up x (0, 0, -1).
    k = np.array([[0, 0, -x], [0, 0, -y], [x, y, 0]])
    return np.eye(3) + k + k @ k / (1 - z)


def rotated(mesh: TriMesh, rotation: Floats) -> TriMesh:
    """Return the mesh turned about the origin by a (3, 3) rotation."""
    if np.array_equal(rotation, np.eye(3)):
        return mesh
    return TriMesh(mesh.vertices @ rotation.T, mesh.faces, mesh.name)
