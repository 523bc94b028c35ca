"""One direction judged: what it would take to pour the figure that way up, in points.

The sweep, its refinement, the final ranking and any brute force ask the same function.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pourwright.air import AirPocket, AirReport, Surface, find_pockets, prepare
from pourwright.errors import GeometryError
from pourwright.pose.model import WEIGHT_OF, Terms
from pourwright.pose.outline import Hull, diameter_mm, footprint_mm2, height_mm, hull_of, outline
from pourwright.pose.rods import rod_tips
from pourwright.pose.settings import PoseSettings, PoseWeights
from pourwright.shop.process import Process
from pourwright.solid.mesh import Floats, Ints
from pourwright.solid.solid import Solid

_MM2_PER_CM2 = 100.0
# Volumes nearer to the harmless one than this share are asked of the process itself.
_NEAR = 1e-6
# A pocket this many times the harmless one, twice its diameter, is not about to vanish.
_FAR_BEYOND = 8.0


@dataclass(frozen=True)
class Judged:
    """What a direction takes, and the points that a small turn from it may well save.

    The promise tells a search where to look more closely; it is no part of the score.
    """

    terms: Terms
    promise: float


@dataclass(frozen=True, eq=False)
class Figure:
    """A figure made ready once, to be judged in any direction and by several threads at once.

    surface : for the air analysis. hull : for its outline. protect : (n,) weight of each vertex of
    the surface, or None where nothing is protected. embed_mm : how deep it sinks into its base.
    """

    surface: Surface
    hull: Hull
    protect: Floats | None
    process: Process
    settings: PoseSettings
    embed_mm: float


def ready(solid: Solid, process: Process, settings: PoseSettings, embed_mm: float) -> Figure:
    """Make a solid ready. Raises MeshError where its surface is not closed."""
    surface = prepare(solid.mesh)
    protect = None
    if solid.protection is not None:
        protect = solid.protection.at(surface.vertices + surface.centre_mm)
    return Figure(surface, hull_of(surface.vertices), protect, process, settings, embed_mm)


def judge(figure: Figure, up: Floats) -> Judged:
    """Judge one direction, a unit vector (3,), by the exact air analysis.

    The highest vertex is open, as when no vent is named. What the base takes in, the top
    `embed_mm`, is drained through it and needs no rod; the other air that matters needs as many
    as the plan would make. Each rod counts from its high point straight up to the level of the
    figure's highest point: an upper bound but for bends, less the base and funnel above, which
    all poses share.
    """
    surface, process, settings = figure.surface, figure.process, figure.settings
    report = find_pockets(surface, up)  # open at its highest vertex
    matters = _which_matter(report, process)
    heights = report.tree.heights
    top = float(heights.max())
    drained = top - figure.embed_mm
    shift = float(surface.centre_mm @ up)
    tips = rod_tips(report, matters, process.harmless_mm3, drained + shift)
    pockets = [p for p, m in zip(report.pockets, matters, strict=True) if m]
    trapped = sum(p.volume_mm3 for p in pockets)
    starts, ends = outline(figure.hull, up)
    height = height_mm(figure.hull, up)
    terms = Terms(
        pockets=len(pockets),
        residual_mm3=trapped * process.residual_factor,
        rods=len(tips),
        rod_mm=float((top - heights[tips]).sum()),
        height_mm=height,
        footprint_cm2=footprint_mm2(starts, ends) / _MM2_PER_CM2,
        protected=_protected(figure.protect, heights, tips, drained),
        misfit_mm=_misfit_mm(settings, height, np.concatenate([starts, ends])),
    )
    return Judged(terms, _promise(pockets, process, settings.weights, top + shift, figure.embed_mm))


def judge_if_sound(figure: Figure, up: Floats) -> Judged | None:
    """Judge one direction, or return None where the surface crosses itself so that it has no air.

    Closed scans may hold such a spot, and then a direction in some hundreds is lost to it.
    """
    try:
        return judge(figure, up)
    except GeometryError:
        return None


def score(terms: Terms, weights: PoseWeights) -> float:
    """Return the points of a direction: each term times its weight, added up."""
    return float(
        sum(getattr(weights, name) * getattr(terms, term) for term, name in WEIGHT_OF.items())
    )


def _which_matter(report: AirReport, process: Process) -> np.ndarray:
    """Which pockets matter, (p,) bool, to the last digit as a single check says."""
    floor = process.harmless_mm3 * (1.0 - _NEAR)
    return np.array(
        [
            p.saddle_height_mm is None
            or (p.volume_mm3 > floor and process.matters(p.volume_mm3))
            for p in report.pockets
        ],
        dtype=bool,
    )


def _promise(
    pockets: list[AirPocket], process: Process, weights: PoseWeights, top: float, embed_mm: float
) -> float:
    """Add up what pockets cost that a small turn may be rid of.

    Of two high points that sink into the base the turn decides which is open and which a pocket.
    The smaller a pocket, the less turn it takes until it no longer matters.
    """
    saved = 0.0
    for pocket in pockets:
        depth = top - pocket.peak_height_mm
        if pocket.saddle_height_mm is None:
            continue
        if depth <= embed_mm:
            residual = pocket.volume_mm3 * process.residual_factor
            saved += weights.pocket + weights.residual_mm3 * residual
            continue
        beyond = math.log(pocket.volume_mm3 / process.harmless_mm3) / math.log(_FAR_BEYOND)
        saved += max(0.0, 1.0 - beyond) * (weights.pocket + weights.rod + weights.rod_mm * depth)
    return saved


def _protected(protect: Floats | None, heights: Floats, tips: Ints, drained: float) -> float:
    """Add up the weights where rods start, and the heaviest that goes into the base."""
    if protect is None:
        return 0.0
    return float(protect[tips].sum() + protect[heights >= drained].max())


def _misfit_mm(settings: PoseSettings, height: float, outline_mm: Floats) -> float:
    """Add up by how much the figure is too tall and too wide for the pot that is given."""
    misfit = 0.0
    if settings.pot_height_mm is not None:
        misfit += max(0.0, height - settings.pot_height_mm)
    if settings.pot_diameter_mm is not None:
        misfit += max(0.0, diameter_mm(outline_mm) - settings.pot_diameter_mm)
    return misfit
