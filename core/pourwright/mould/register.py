"""How the halves of a cut mould find each other again: a wavy cut, or keys in the box walls."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pourwright.errors import Point
from pourwright.mould.box import MouldBox
from pourwright.mould.cut import CutLine
from pourwright.mould.leaves import Sheet
from pourwright.mould.parting import Parting
from pourwright.mould.settings import KeySettings
from pourwright.solid.lines import samples
from pourwright.solid.mesh import Floats

_STEP_MM = 1.0
# Of the rubber wall, how much a key or the wave may take at most.
_MOST_OF_WALL = 0.5
# Heights of keys as shares of the fill height, on one wall and the wall across from it: unlike, so
# that the block goes back one way only.
_HEIGHTS = ((0.25, 0.7), (0.45,))


@dataclass(frozen=True)
class Key:
    """A half ball on a box wall, frame of the board. inwards : level unit vector (x, y)."""

    at_mm: Point
    inwards: tuple[float, float]
    diameter_mm: float


def outside_line(
    parting: Parting, line: CutLine, box: MouldBox, settings: KeySettings
) -> Floats:
    """Return where the knife enters the block, (k, 3), from the board up, over and down.

    It is as far off the plane of the cut as the line on the master that it is nearest to. With a
    wavy cut it swings by the amplitude, held to half of the rubber wall, and straight at its ends;
    towards the master the knife takes the swing back to nothing.
    """
    line_out = parting.out_mm(line.cut_mm)
    side = 1.0 if line_out[: max(len(line_out) // 2, 1)].mean() >= 0 else -1.0
    edge = _walls_along(box, parting)
    near, far = (edge[1], edge[0]) if side > 0 else (edge[0], edge[1])
    top, bottom = box.fill_line_mm, box.board_mm
    end = float(np.clip(line.cut_mm[-1, 2], bottom, top))
    corners = np.array([[near, bottom], [near, top], [far, top], [far, end]])
    flat = samples(corners, _STEP_MM)
    off = Sheet.of(parting, line).height_mm(flat[:, 0], flat[:, 1])
    if settings.kind == "wavy cut":
        way = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(flat, axis=0), axis=1))]
        swing = min(settings.amplitude_mm, _MOST_OF_WALL * box.wall_mm)
        ends = np.minimum(np.minimum(way, way[-1] - way) / settings.wavelength_mm, 1.0)
        off = off + swing * ends * np.sin(2 * math.pi * way / settings.wavelength_mm)
    points: Floats = (
        parting.centre_mm * [1.0, 1.0, 0.0]
        + flat[:, :1] * parting.along
        + off[:, None] * parting.opening
        + flat[:, 1:] * np.array([0.0, 0.0, 1.0])
    )
    return points


def keys_of(parting: Parting, box: MouldBox, settings: KeySettings) -> tuple[Key, ...]:
    """Return keys for the two walls that the leaves lean on: two on one, one on the other.

    Each sticks out by half its diameter, held to half of the rubber wall.
    """
    if settings.kind != "keys":
        return ()
    size = min(settings.diameter_mm, 2 * _MOST_OF_WALL * box.wall_mm)
    found = []
    for sign, heights, aside in ((1.0, _HEIGHTS[0], 0.2), (-1.0, _HEIGHTS[1], -0.15)):
        outwards = sign * parting.opening[:2]
        if box.shape == "rectangular":
            reach = box.axes @ outwards
            axis = int(np.argmax(np.abs(reach)))
            outwards = box.axes[axis] * math.copysign(1.0, reach[axis])
            half, across = box.size_mm[axis] / 2, box.size_mm[1 - axis]
        else:
            half = across = box.size_mm[0] / 2
        beside = np.array([-outwards[1], outwards[0]])
        for height, share in zip(heights, (aside, -aside), strict=False):
            way = share * across
            middle = np.array(box.centre_mm)
            if box.shape == "round":
                turn = way / half
                towards = math.cos(turn) * outwards + math.sin(turn) * beside
                at = middle + half * towards
            else:
                towards = outwards
                at = middle + half * outwards + way * beside
            z = box.board_mm + height * box.size_mm[2]
            found.append(
                Key((float(at[0]), float(at[1]), z), (-float(towards[0]), -float(towards[1])), size)
            )
    return tuple(found)


def _walls_along(box: MouldBox, parting: Parting) -> tuple[float, float]:
    """Where the plane of the cut meets the box's inner walls, as places along it."""
    start = parting.centre_mm[:2] - np.array(box.centre_mm)
    way = parting.along[:2]
    if box.shape == "round":
        along, radius = float(start @ way), box.size_mm[0] / 2
        root = math.sqrt(max(along**2 - float(start @ start) + radius**2, 0.0))
        return -along - root, -along + root
    low, high = -math.inf, math.inf
    for axis, size in zip(box.axes, box.size_mm[:2], strict=True):
        speed, place = float(axis @ way), float(axis @ start)
        if abs(speed) > 1e-12:
            ends = sorted(((-size / 2 - place) / speed, (size / 2 - place) / speed))
            low, high = max(low, ends[0]), min(high, ends[1])
    return low, high
