"""Faces round a crowded edge, paired so that each pair bounds one wedge of the inside.

Seen along the edge from its lower to its higher vertex number, the inside lies clockwise of a
face that runs forward and anticlockwise of one that runs backward. So a backward face opens a
wedge and the next forward face anticlockwise closes it, like brackets on a circle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.mesh import Floats, Ints

_TURN = 2 * np.pi
# Sectors narrower than this are rounding.
_NARROW = 1e-9


@dataclass(frozen=True, eq=False)
class Round:
    """The half-edges of one edge, (k,), and how they are seen along it.

    opens : whether each opens a wedge; angle : where its face lies, radians anticlockwise.
    order : the half-edges anticlockwise, from where they bound fewest wedges.
    middle, x, y : (3,) mm, the edge's middle and the directions of angles 0 and a quarter turn.
    height_mm : the lowest height of a face over the edge, no more than the edge's length.
    """

    half_edges: Ints
    opens: NDArray[np.bool_]
    angle: Floats
    order: Ints
    middle: Floats
    x: Floats
    y: Floats
    height_mm: float

    def turns(self, opening: Ints, closing: Ints) -> float:
        """How many turns the wedges between opening and closing faces make up.

        Other pairs of the same faces make up as much, or whole turns more.
        """
        return float(((self.angle[closing] - self.angle[opening]) % _TURN).sum()) / _TURN

    def beside(self) -> Floats | None:
        """A point in the widest sector that `bracketed` leaves to the outside, if there is one."""
        depth = np.cumsum(np.where(self.opens[self.order], 1, -1))
        angle = self.angle[self.order]
        width = np.where(depth == 0, (np.roll(angle, -1) - angle) % _TURN, 0.0)
        widest = int(np.argmax(width))
        if width[widest] < _NARROW:
            return None
        at = angle[widest] + width[widest] / 2
        away: Floats = np.cos(at) * self.x + np.sin(at) * self.y
        return self.middle + 0.1 * self.height_mm * away


def round_edge(vertices: Floats, faces: Ints, forward: Ints, backward: Ints) -> Round:
    """Look along an edge at the half-edges that run forward and backward on it."""
    both = np.concatenate([forward, backward])
    face, side = divmod(int(forward[0]), 3)
    low, high = vertices[faces[face, side]], vertices[faces[face, (side + 1) % 3]]
    length = max(float(np.linalg.norm(high - low)), 1e-300)
    axis = (high - low) / length
    opposite = vertices[faces[both // 3, (both % 3 + 2) % 3]] - low
    flat = opposite - np.outer(opposite @ axis, axis)
    height = np.linalg.norm(flat, axis=1)
    x = flat[np.argmax(height)] / max(float(height.max()), 1e-300)
    y = np.cross(axis, x)
    # Faces over the same third vertex must compare equal whatever rounding did to their angles.
    angle = np.round(np.arctan2(flat @ y, flat @ x), 12)
    opens = np.arange(len(both)) >= len(forward)
    # At equal angles a closing face comes first: coincident walls of two bodies part them.
    order = np.lexsort((opens, angle))
    depth = np.cumsum(np.where(opens[order], 1, -1))
    # Start where the circle is least deep, so that every bracket that closes was opened.
    order = np.roll(order, -(int(np.argmin(depth)) + 1))
    return Round(
        both, opens, angle, order, (low + high) / 2, x, y, min(float(height.min()), length)
    )


def bracketed(around: Round, shell: Ints) -> tuple[Ints, Ints]:
    """Return the opening and the closing face of each pair, numbers into the round.

    shell : of each face. Where faces lie on each other, those of one shell are paired.
    """
    shell = shell[around.half_edges // 3]
    stack: list[int] = []
    pairs: list[tuple[int, int]] = []
    for i in around.order.tolist():
        if around.opens[i]:
            stack.append(i)
        elif stack:
            alike = [
                k for k in range(len(stack)) if around.angle[stack[k]] == around.angle[stack[-1]]
            ]
            own = [k for k in alike if shell[stack[k]] == shell[i]]
            pairs.append((stack.pop(own[-1] if own else -1), i))
    opening, closing = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    return opening, closing
