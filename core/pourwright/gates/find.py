"""Which parts of the figure the base does not feed well, and what holds the resin up."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pourwright.gates.inside import sliced
from pourwright.gates.network import Filling, Network, network, parts, upstream
from pourwright.gates.settings import FedPart, Neck
from pourwright.shop.flow import Liquid
from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, Ints, TriMesh, concatenate

# Of the loss at the worst slice of a neck: what loses less is no part of the neck any more.
_NECK_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class LatePart:
    """A part that is not full in time.

    slices : (s,) all beyond its neck. late : (l,) those of them that are not full in time; what
    lies deeper has more head and may be, but it hangs on the same neck. neck : (n,) slices of the
    neck that are late with it. part : as data.
    """

    slices: Ints
    late: Ints
    neck: Ints
    part: FedPart


def network_of(
    mesh: TriMesh, axes: Floats, centre_mm: Floats, liquid: Liquid, pitch_mm: float
) -> Network:
    """Slice a closed mesh of the standing frame from its mould top plane on.

    axes : (3, 3) rows of the pour frame. centre_mm : (3,) its origin in the standing frame.
    """
    turned = TriMesh((mesh.vertices - centre_mm) @ axes.T, mesh.faces, mesh.name)
    top = float(turned.bounds_mm[1, 2])
    return network(sliced(separate_bodies(turned), top, pitch_mm), liquid, top)


def separate_bodies(mesh: TriMesh) -> list[TriMesh]:
    """Bodies of a closed mesh that touch nowhere, each with its voids, the largest first."""
    pieces = boolean.pieces(mesh)
    if len(pieces) == 1:
        return [mesh]
    solids = sorted((p for p in pieces if p.volume_mm3 > 0), key=lambda p: -p.volume_mm3)
    if len(solids) <= 1:
        return [mesh]
    shells = [[s] for s in solids]
    for void in (p for p in pieces if p.volume_mm3 < 0):
        low, high = void.bounds_mm
        # The smallest one round it: bodies may lie in hollows of others.
        around = [
            i for i, s in enumerate(solids)
            if (s.bounds_mm[0] <= low).all() and (s.bounds_mm[1] >= high).all()
        ]
        if around:
            shells[around[-1]].append(void)
    return [concatenate(s, mesh.name) for s in shells]


def late_parts(
    net: Network, filling: Filling, limit_s: float, axes: Floats, centre_mm: Floats
) -> list[LatePart]:
    """Find the parts that are not full in time, the largest first."""
    late = filling.time_s > limit_s
    left = late.copy()
    # Beyond the neck, all of it that is late with it, and the neck.
    found: list[tuple[Ints, Ints, Neck | None]] = []
    while left.any():
        start = int(np.flatnonzero(left)[np.argmax(filling.loss[left])])
        neck, after = None, filling.loss[start]
        if np.isfinite(after):
            neck, after = neck_of(net, filling, start, axes, centre_mm)
        over = filling.loss >= after
        both = over[net.a] & over[net.b]
        label = parts(len(late), net.a[both], net.b[both])
        mine = np.flatnonzero(over & (label == label[start]))
        left[mine] = False
        # What is late in the neck of a part comes after it, and goes with it.
        same = [one for one in found if np.isin(one[1], mine).any()]
        found = [one for one in found if not np.isin(one[1], mine).any()]
        beyond, neck = (same[0][0], same[0][2]) if same else (mine, neck)
        found.append((beyond, mine[late[mine]], neck))
    result = [
        LatePart(
            beyond,
            np.intersect1d(mine, beyond),
            np.setdiff1d(mine, beyond),
            _described(net, filling, beyond, mine, neck, axes, centre_mm),
        )
        for beyond, mine, neck in found
    ]
    return sorted(result, key=lambda p: -p.part.volume_mm3)


def _described(
    net: Network,
    filling: Filling,
    beyond: Ints,
    late: Ints,
    neck: Neck | None,
    axes: Floats,
    centre_mm: Floats,
) -> FedPart:
    slices = net.slices
    volume = slices.volume_mm3[beyond]
    middle = (volume[:, None] * slices.middle_mm[beyond]).sum(axis=0) / volume.sum()
    return FedPart(
        volume_mm3=float(volume.sum()),
        middle_mm=_standing(middle, axes, centre_mm),
        head_mm=float(net.head_mm[beyond].min()),
        time_s=None if neck is None else float(filling.time_s[late].max()),
        neck=neck,
    )


def neck_of(
    net: Network, filling: Filling, start: int, axes: Floats, centre_mm: Floats
) -> tuple[Neck, float]:
    """Find the neck on the main way to a slice: where most of the head is lost.

    The way goes back from there to the pour opening. The neck is the stretch round the worst
    slice in which each loses half as much at least. Also returns the loss just beyond it.
    """
    slices = net.slices
    way = np.array(upstream(filling, start, len(slices.volume_mm3)))
    through = np.zeros(len(slices.volume_mm3))
    np.maximum.at(through, filling.b, filling.flow_mm3)
    np.maximum.at(through, filling.a, -filling.flow_mm3)
    lost = net.resistance[way] * through[way]
    worst = int(np.argmax(lost))
    first = last = worst
    while first > 0 and lost[first - 1] >= _NECK_SHARE * lost[worst]:
        first -= 1
    while last < len(way) - 1 and lost[last + 1] >= _NECK_SHARE * lost[worst]:
        last += 1
    neck = way[first : last + 1]
    length = float(slices.length_mm[neck].sum())
    resistance = float(net.resistance[neck].sum())
    found = Neck(
        at_mm=_standing(slices.middle_mm[way[(first + last) // 2]], axes, centre_mm),
        # pi d^4 / 128 conducts what area times radius squared over 8 does.
        diameter_mm=(128.0 * length / (math.pi * resistance)) ** 0.25,
        length_mm=length,
        beyond_mm3=float(through[way[worst]]),
    )
    return found, float(filling.loss[way[max(first - 1, 0)]])


def _standing(point: Floats, axes: Floats, centre_mm: Floats) -> tuple[float, float, float]:
    x, y, z = (float(c) for c in point @ axes + centre_mm)
    return (x, y, z)


