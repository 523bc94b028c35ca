"""Products of rows of short vectors, in a fraction of the time of numpy's general functions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_Floats = NDArray[np.float64]
_Ints = NDArray[np.int64]


def cross(a: _Floats, b: _Floats) -> _Floats:
    """Vector products (k, 3) of rows (k, 3)."""
    ax, ay, az = a.T
    bx, by, bz = b.T
    found = np.empty((len(a), 3))
    found[:, 0] = ay * bz - az * by
    found[:, 1] = az * bx - ax * bz
    found[:, 2] = ax * by - ay * bx
    return found


def dot(a: _Floats, b: _Floats) -> _Floats:
    """Scalar products (k,) of rows (k, 3); b may be one vector (3,)."""
    found: _Floats = np.einsum("ij,ij->i" if b.ndim == 2 else "ij,j->i", a, b)
    return found


def doubled_areas(vertices: _Floats, faces: _Ints) -> _Floats:
    """Normals (m, 3) of triangles (m, 3), outward and twice as long as their areas."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return cross(b - a, c - a)
