"""Plain steps over large arrays, in the form that numpy does fastest and everywhere alike."""

from __future__ import annotations

import math
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.mesh import Floats, Ints

Scalar = TypeVar("Scalar", bound=np.generic)

# Rounds of following pointers before looking whether they all have arrived.
_BLIND = 8


def gather(values: NDArray[Scalar], numbers: NDArray[Any]) -> NDArray[Scalar]:
    """Return values[numbers], for numbers known to be in range; a third faster, as none is tested.

    Numbers outside would give the first or last value.
    """
    return values.take(numbers, mode="clip")


def dot(table: Floats, vector: Floats) -> Floats:
    """Product of each row of (n, 3) with a vector, (n,).

    Plain sums, not a matrix product: those round in ways that depend on the machine and on a
    row's place in the table, and start threads of their own.
    """
    x, y, z = table.T
    result: Floats = x * vector[0]
    result += y * vector[1]
    result += z * vector[2]
    return result


def dot_rows(table: Floats, rows: Ints, vector: Floats) -> Floats:
    """The same for some rows of the table, equal to the last bit."""
    x, y, z = table.T
    result: Floats = gather(x, rows) * vector[0]
    result += gather(y, rows) * vector[1]
    result += gather(z, rows) * vector[2]
    return result


def ends_of(pointer: Ints) -> Ints:
    """Where following pointers leads in the end, (n,); an end points at itself."""
    for _ in range(_BLIND):
        pointer = gather(pointer, pointer)
    while True:
        further = gather(pointer, pointer)
        if np.array_equal(further, pointer):
            return pointer
        pointer = further


def across(ray: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors square to the ray and to each other, right-handed with it as the third.

    T. Duff et al.: Building an orthonormal basis, revisited, Journal of Computer Graphics
    Techniques 6(1), 2017.
    """
    x, y, z = ray.tolist()
    sign = math.copysign(1.0, z)
    a = -1.0 / (sign + z)
    b = x * y * a
    first = np.array([1.0 + sign * x * x * a, sign * b, -sign * x])
    return first, np.array([b, sign + y * y * a, -y])
