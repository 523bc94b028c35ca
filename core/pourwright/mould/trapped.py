"""Air that the rubber traps under arms and chins while it is poured: warts on every cast.

The cavity is now the rubber itself, box less master, and its top is open. Same engine, other solid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pourwright.air import AirReport, find_pockets, prepare, top_plane_vertices
from pourwright.errors import Point
from pourwright.progress import Progress, silent
from pourwright.solid.mesh import Floats, Ints, TriMesh

UP = np.array([0.0, 0.0, 1.0])
# Tilts that are tried while the rubber is poured, degrees; beyond the last the box runs over.
TILTS_DEG = (5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0)
_AZIMUTHS = 16
# Pockets whose tilt is looked for, the largest first.
_MOST_TILTED = 40
# Air left after a vacuum of 29 inHg at sea level: 3.12 of 101.325 kPa, by Boyle's law.
VACUUM_SHARE = 0.0308


@dataclass(frozen=True)
class Tilt:
    """The least tilt that lets a pocket's air out: towards where, and by how much.

    angle_deg : of the board. raised_side : unit vector (x, y) in the board's plane towards the side
    that is raised.
    """

    angle_deg: float
    raised_side: tuple[float, float]


@dataclass(frozen=True)
class RubberPocket:
    """Air that stays under the master when the rubber rises; places in the frame of the board, mm.

    peak_mm : the highest point. saddle_mm : height at which it closes off, None where no rubber
    gets in at all. volume_mm3 : of the air. wart_mm : diameter of a ball of that volume, and
    vacuum_wart_mm : of what a vacuum of 29 inHg leaves of it. matters : whether the first exceeds
    what can be seen.
    tilt : the least tilt that frees it, None where none of those tried does.
    advice : what to do, the surest first.
    """

    peak_mm: Point
    saddle_mm: float | None
    volume_mm3: float
    wart_mm: float
    vacuum_wart_mm: float
    matters: bool
    tilt: Tilt | None
    advice: str


@dataclass(frozen=True, eq=False)
class TrappedAir:
    """All of it, the largest first, and the report it was read from, frame of the board."""

    pockets: tuple[RubberPocket, ...]
    report: AirReport


def trapped_air(
    rubber: TriMesh,
    *,
    visible_mm: float = 0.3,
    tilts_deg: Sequence[float] = TILTS_DEG,
    progress: Progress = silent,
) -> TrappedAir:
    """Find the air that rubber traps, exactly, and what frees it.

    rubber : box less master as a closed mesh, frame of the board; its top is open.
    visible_mm : diameter of a wart that can be seen. tilts_deg : angles to try, the least first.

    A tilt frees a pocket when, with the whole box tilted, no pocket that holds a part of its
    surface keeps enough air to be seen. The box is then filled over the pocket and set level.
    """
    progress(0.0, "Finding air under the master")
    surface = prepare(rubber)
    report = find_pockets(surface, UP, top_plane_vertices(surface, UP))
    harmless = math.pi / 6 * visible_mm**3
    wanted = [
        i for i, p in enumerate(report.pockets)
        if p.volume_mm3 > harmless and p.saddle_height_mm is not None
    ][:_MOST_TILTED]  # fmt: skip
    tilts = _tilts(report, wanted, harmless, sorted(tilts_deg), progress)
    pockets = []
    for i, pocket in enumerate(report.pockets):
        wart = _ball_mm(pocket.volume_mm3)
        matters = pocket.volume_mm3 > harmless
        tilt = tilts.get(i)
        pockets.append(
            RubberPocket(
                peak_mm=pocket.peak_mm,
                saddle_mm=pocket.saddle_height_mm,
                volume_mm3=pocket.volume_mm3,
                wart_mm=wart,
                vacuum_wart_mm=_ball_mm(VACUUM_SHARE * pocket.volume_mm3),
                matters=matters,
                tilt=tilt,
                advice=_advice(pocket.volume_mm3, pocket.saddle_height_mm, matters, tilt, harmless),
            )
        )
    progress(1.0, f"{len(wanted)} places to brush")
    return TrappedAir(tuple(pockets), report)


def _tilts(
    report: AirReport, wanted: Sequence[int], harmless: float, angles: Sequence[float],
    progress: Progress,
) -> dict[int, Tilt]:
    """The least tilt that frees each pocket, of those in which one was found."""
    left = {i: _surface_of(report, i) for i in wanted}
    openings = top_plane_vertices(report.surface, UP)
    found: dict[int, Tilt] = {}
    for step, angle in enumerate(angles):
        if not left:
            break
        progress(0.2 + 0.8 * step / len(angles), f"Tilting by {angle:g} degrees")
        for turn in range(_AZIMUTHS):
            side = _side(turn)
            up = _tilted(side, angle)
            tilted = find_pockets(report.surface, up, openings)
            for i in [i for i, own in left.items() if _left_of(tilted, own) <= harmless]:
                found[i] = Tilt(angle, side)
                del left[i]
            if not left:
                break
    return found


def _side(turn: int) -> tuple[float, float]:
    angle = 2 * math.pi * turn / _AZIMUTHS
    return round(math.cos(angle), 12), round(math.sin(angle), 12)


def _tilted(side: tuple[float, float], angle_deg: float) -> Floats:
    """Up as the box sees it when one side is raised: it leans towards that side."""
    lean = math.radians(angle_deg)
    return np.array([side[0] * math.sin(lean), side[1] * math.sin(lean), math.cos(lean)])


def _surface_of(report: AirReport, pocket: int) -> Ints:
    """Vertices of the surface round a pocket."""
    saddle = report.pockets[pocket].saddle_height_mm
    own = report.pocket_of_climb[report.tree.climb] == pocket
    if saddle is not None:
        shift = float(report.surface.centre_mm @ report.tree.up)
        own &= report.tree.heights + shift > saddle
    return np.flatnonzero(own)


def _left_of(tilted: AirReport, own: Ints) -> float:
    """Air in pockets of a tilted box that hold any of these vertices, mm3."""
    pockets = tilted.pocket_of_climb[tilted.tree.climb[own]]
    saddles = np.array(
        [-np.inf if p.saddle_height_mm is None else p.saddle_height_mm for p in tilted.pockets]
        + [np.inf]
    )
    shift = float(tilted.surface.centre_mm @ tilted.tree.up)
    above = tilted.tree.heights[own] + shift > saddles[pockets]
    held = np.unique(pockets[above & (pockets >= 0)])
    return float(sum(tilted.pockets[i].volume_mm3 for i in held))


def _ball_mm(volume_mm3: float) -> float:
    return float(np.cbrt(6 * max(volume_mm3, 0.0) / math.pi))


def _advice(
    volume: float, saddle: float | None, matters: bool, tilt: Tilt | None, harmless: float
) -> str:
    if saddle is None:
        return "No rubber gets in here: open the hollow, or fill it on the master"
    if not matters:
        return "Too small to be seen"
    advice = "Brush rubber in here first, then pour"
    if tilt is not None:
        advice += (
            f"; or pour with the {_side_name(tilt.raised_side)} of the board raised by "
            f"{tilt.angle_deg:g} degrees until it is covered, then set level"
        )
    if VACUUM_SHARE * volume <= harmless:
        advice += "; or degas the filled box at 29 inHg, which leaves too little to be seen"
    return advice


def _side_name(side: tuple[float, float]) -> str:
    """A side of the board in words, the figure's front being -Y."""
    x, y = side
    parts = ["back" if y > 0 else "front"] if abs(y) > 0.35 else []
    parts += ["right" if x > 0 else "left"] if abs(x) > 0.35 else []
    return " ".join(parts) + " side"
