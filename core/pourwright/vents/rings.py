"""Loops of rubber: a rod that joins the master at both ends locks the rubber between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pourwright.errors import Point
from pourwright.vents.settings import Vent


@dataclass(frozen=True)
class Ring:
    """A rod that closes a loop of rubber round the master, and where to slit it.

    vent : number of the rod in the plan. cut_at_mm : middle of the rubber to slit.
    """

    vent: int
    cut_at_mm: Point
    message: str


def rings_of(vents: Sequence[Vent]) -> tuple[Ring, ...]:
    """Report each rod that ends on the master: with it the master encloses a loop of rubber.

    A rod to the mould top plane does not, as the rubber ends there.
    """
    found = []
    for number, vent in enumerate(vents):
        if vent.kind != "bridge":
            continue
        points = np.array(vent.path_mm)
        length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
        middle = [float(np.interp(length[-1] / 2, length, points[:, i])) for i in range(3)]
        at = (middle[0], middle[1], middle[2])
        found.append(
            Ring(
                number,
                at,
                f"The rod from ({points[0][0]:.1f}, {points[0][1]:.1f}, {points[0][2]:.1f}) mm "
                "closes a loop of rubber: slit the rubber along it, or break it off first",
            )
        )
    return tuple(found)
