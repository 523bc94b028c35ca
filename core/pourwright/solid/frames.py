"""Rotations between the standing frame and the frame of the board the master is moulded on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pourwright.solid.mesh import Floats, TriMesh


def board_rotation(up: Floats) -> Floats:
    """Return a (3, 3) rotation R that turns the pour direction down: R @ up == (0, 0, -1).

    With the default direction, minus Z, it is exactly the identity.
    """
    x, y, z = (float(c) for c in up / np.linalg.norm(up))
    if z > 0:  # turned over first, as Rodrigues' formula loses its digits near a half turn
        over = np.diag([1.0, -1.0, -1.0])
        return board_rotation(over @ np.array([x, y, z])) @ over
    # Rodrigues' formula for the turn about up x (0, 0, -1).
    k = np.array([[0, 0, x], [0, 0, y], [-x, -y, 0]])
    result: Floats = np.eye(3) + k + k @ k / (1 - z)
    return result


def rotated(mesh: TriMesh, rotation: Floats) -> TriMesh:
    """Return the mesh turned about the origin by a (3, 3) rotation."""
    if np.array_equal(rotation, np.eye(3)):
        return mesh
    return replace(mesh, vertices=mesh.vertices @ rotation.T)
