"""Poses as data: what the ranking, its picture and Blender read."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.errors import Point
from pourwright.pose.settings import PoseSettings
from pourwright.shop.process import Process
from pourwright.solid.mesh import Floats


@dataclass(frozen=True)
class Terms:
    """What a pose is judged by, each in its unit.

    pockets : air pockets that matter, with the highest point open. residual_mm3 : air left of
    them in the cast. rods : vents that take it out, none for what is sunk in the base; rod_mm :
    their length, each straight up to the level of the figure's highest point. height_mm : of the
    figure along the pour. footprint_cm2 : smallest rectangle round its outline on the board.
    protected : sum of the protect weights where rods start, and the largest weight that sinks in
    the base. misfit_mm : by how much the figure is too tall and too wide for the pot.
    """

    pockets: int
    residual_mm3: float
    rods: int
    rod_mm: float
    height_mm: float
    footprint_cm2: float
    protected: float
    misfit_mm: float


WEIGHT_OF = {
    "pockets": "pocket",
    "residual_mm3": "residual_mm3",
    "rods": "rod",
    "rod_mm": "rod_mm",
    "height_mm": "height_mm",
    "footprint_cm2": "footprint_cm2",
    "protected": "protected",
    "misfit_mm": "misfit_mm",
}
"""The weight, in `settings.PoseWeights`, of each of the `Terms`."""


@dataclass(frozen=True)
class Pose:
    """One way up, judged.

    up : unit vector, standing frame. tilt_deg : angle from the settings' axis. terms : what was
    found. score : points, fewest is best. reasons : in words, against the standing pose.
    """

    up: Point
    tilt_deg: float
    terms: Terms
    score: float
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class PoseReport:
    """The ranking, best first, and the whole sweep for its picture.

    standing : the pose along the settings' axis, judged like the others. directions : (n, 3) all
    that the sweep tried, scores : (n,) their points. process, embed_mm : how the figure is poured
    and how deep it sinks in its base. left_out : directions of the sweep that could not be judged,
    as the surface crosses itself there.
    """

    settings: PoseSettings
    poses: tuple[Pose, ...]
    standing: Pose
    directions: Floats
    scores: Floats
    process: Process
    embed_mm: float
    left_out: int = 0
