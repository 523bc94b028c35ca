"""How long each slice of the inside takes to fill: channels in series and side by side.

Every slice is a short channel; pressure is lost in it in proportion to the flow, by Hagen and
Poiseuille. With all slices filling evenly during one and the same time, the flow through each is
what lies beyond it over that time, so the loss up to a slice is viscosity times `loss` over time.
The head at the slice has to make up for it: that gives the time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import spsolve
from scipy.spatial import cKDTree

from pourwright.gates.inside import Slices
from pourwright.shop.flow import Liquid, head_pa
from pourwright.solid.mesh import Floats, Ints

NONE = -1


@dataclass(frozen=True, eq=False)
class Link:
    """A channel between two slices, resistance as `flow.resistance_per_mm3`."""

    a: int
    b: int
    resistance_per_mm3: float


@dataclass(frozen=True, eq=False)
class Network:
    """The slices as channels.

    resistance : (k,) of each slice along its length, 1/mm3. a, b, conductance : (m,) links.
    head_mm : (k,) resin above the highest point of each slice.
    """

    slices: Slices
    liquid: Liquid
    resistance: Floats
    a: Ints
    b: Ints
    conductance: Floats
    head_mm: Floats


@dataclass(frozen=True, eq=False)
class Filling:
    """Times to fill.

    time_s : (k,) of each slice, inf where no resin gets to. loss : (k,) see above, mm3 / mm3.
    a, b, flow_mm3 : (m,) volume that goes through each link from a to b, negative from b to a.
    """

    time_s: Floats
    loss: Floats
    a: Ints
    b: Ints
    flow_mm3: Floats


def network(slices: Slices, liquid: Liquid, top_mm: float) -> Network:
    """Make the slices a network; top_mm : height of the free surface, kept there by pouring on.

    A slice conducts as the round channel of its area does, or as one of its inner radius over all
    of its area where that is less: right for a round section, and for a flat one at most 2.7
    times too little. Pieces that the grid parts but the surface does not are joined by a
    channel half a voxel wide.
    """
    area = np.maximum(slices.volume_mm3, slices.pitch_mm**3) / slices.length_mm
    conducts = np.minimum(area * slices.radius_mm**2, area**2 / math.pi) / 8.0
    resistance = slices.length_mm / conducts
    a, b = slices.link_a, slices.link_b
    conductance = 2.0 / (resistance[a] + resistance[b])
    for link in _over_gaps(slices):
        a, b = np.append(a, link.a), np.append(b, link.b)
        conductance = np.append(conductance, 1.0 / link.resistance_per_mm3)
    head = np.maximum(top_mm - slices.top_mm, slices.pitch_mm / 2)
    return Network(slices, liquid, resistance, a, b, conductance, head)


def fill(net: Network, more: Sequence[Link] = ()) -> Filling:
    """Return the time at which each slice is full, with some more channels."""
    a = np.append(net.a, [link.a for link in more]).astype(np.int64)
    b = np.append(net.b, [link.b for link in more]).astype(np.int64)
    conductance = np.append(net.conductance, [1.0 / link.resistance_per_mm3 for link in more])
    slices = net.slices
    k = len(slices.volume_mm3)
    reached = np.isin(parts(k, a, b), np.unique(parts(k, a, b)[slices.source]))
    unknown = np.flatnonzero(reached & ~slices.source)
    ends = (np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]))
    matrix = coo_array(
        (np.concatenate([conductance, conductance, -conductance, -conductance]), ends),
        shape=(k, k),
    ).tocsr()
    loss = np.where(reached, 0.0, np.inf)
    if len(unknown):
        loss[unknown] = spsolve(
            matrix[unknown][:, unknown].tocsc(), slices.volume_mm3[unknown]
        )
    per_mm = head_pa(net.liquid.density_kg_m3, 1.0)
    time = net.liquid.viscosity_pa_s * loss / (per_mm * net.head_mm)
    finite = np.where(reached, loss, 0.0)
    return Filling(time, loss, a, b, conductance * (finite[b] - finite[a]))


def parts(count: int, a: Ints, b: Ints) -> Ints:
    """Number of the connected part that each of `count` slices lies in."""
    graph = coo_array((np.ones(len(a), dtype=np.int8), (a, b)), shape=(count, count))
    label: Ints = connected_components(graph, directed=False)[1].astype(np.int64)
    return label


def _over_gaps(slices: Slices) -> list[Link]:
    """Channels over gaps of the grid inside one body, to its part that is fed, or the largest."""
    label = parts(len(slices.volume_mm3), slices.link_a, slices.link_b)
    links = []
    size = np.bincount(label, weights=slices.volume_mm3)
    fed = np.zeros(len(size), dtype=bool)
    fed[label[slices.source]] = True
    for body in np.unique(slices.body):
        own = np.unique(label[slices.body == body])
        if len(own) == 1:
            continue
        main = own[fed[own]] if fed[own].any() else own[[np.argmax(size[own])]]
        links += _nearest(slices, label, main, own[~np.isin(own, main)])
    return links


def _nearest(slices: Slices, label: Ints, main: Ints, others: Ints) -> list[Link]:
    voxel = np.argwhere(slices.number >= 0)
    number = slices.number[tuple(voxel.T)]
    of_part = label[number]
    joined = np.isin(of_part, main)
    tree = cKDTree(voxel[joined])
    links = []
    for part in others:
        mine = np.flatnonzero(of_part == part)
        apart, nearest = tree.query(voxel[mine])
        k = int(np.argmin(apart))
        length = float(apart[k]) * slices.pitch_mm
        resistance = 128.0 * length / (math.pi * (slices.pitch_mm / 2) ** 4)
        links.append(
            Link(int(number[joined][nearest[k]]), int(number[mine[k]]), resistance)
        )
    return links


def upstream(filling: Filling, start: int, count: int) -> list[int]:
    """Slices from `start` back to the pour opening, each the one that feeds most to the last."""
    best = np.full(count, NONE)
    most = np.zeros(count)
    for one, other, flow in (
        (filling.a, filling.b, filling.flow_mm3), (filling.b, filling.a, -filling.flow_mm3)
    ):
        order = np.argsort(flow, kind="stable")
        order = order[flow[order] > most[other[order]]]
        best[other[order]] = one[order]
        most[other[order]] = flow[order]
    way = [start]
    while best[way[-1]] != NONE and len(way) <= count:
        way.append(int(best[way[-1]]))
    return way
