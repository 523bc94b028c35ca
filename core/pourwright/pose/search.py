"""The search for the way up: sweep, look closer where it pays, refine the best few, rank."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pourwright.air import Crew, unit_vector
from pourwright.pose.directions import (
    angle_deg,
    cone_directions,
    in_cone,
    spacing_deg,
    thinned,
)
from pourwright.pose.judge import Figure, Judged, judge, judge_if_sound, ready, score
from pourwright.pose.model import Pose, PoseReport, Terms
from pourwright.pose.reasons import reasons
from pourwright.pose.refine import FINEST_DEG, Basin, apart, rank, refine, sound
from pourwright.pose.settings import PoseSettings
from pourwright.pose.special import suggested_directions
from pourwright.pose.sweep import processes_for, sweep
from pourwright.progress import Progress, part, silent
from pourwright.shop.process import Process
from pourwright.solid.mesh import Floats, Ints
from pourwright.solid.solid import Solid

# Numbers of places that are looked at more closely, and of basins that are followed down; with
# them and the radii below the search was measured against brute force.
_BEST, _PROMISING, _CLOSER = 6, 8, 13
_BASINS = 8
# In spacings of the sweep: how far apart such places are, how far round them is looked, and how
# wide the first ring of the refinement is.
_APART, _AROUND, _FIRST_RING = 0.9, 0.55, 0.165
_WIDEST_DEG = 60.0
# Poses of the ranking are at least this far apart; closer in narrow cones.
_RANKED_APART_DEG = 15.0


def search(
    solid: Solid,
    process: Process,
    settings: PoseSettings,
    embed_mm: float,
    progress: Progress = silent,
    processes: int | None = None,
) -> PoseReport:
    """Try every way up and return the best ones, ranked, with reasons.

    embed_mm : how deep the figure sinks into its sprue base. processes : None for one per
    processor where that is quicker; the result does not depend on it. Raises MeshError where the
    surface is not closed, GeometryError where the standing pose cannot be judged as the surface
    crosses itself (other directions are then left out), and what `progress` raises.
    """
    progress(0.0, "Preparing the surface")
    many = processes or processes_for(settings.directions, len(solid.mesh.faces))
    # Helpers start while the surface is made ready.
    with Crew(many, refine.__module__) as crew:
        figure = ready(solid, process, settings, embed_mm)
        tried = _Tried(figure, crew)
        first = directions_of(figure)
        tried.add(first, part(progress, 0.02, 0.45), "Trying directions")
        swept, scores = tried.directions, tried.scores
        tried.look_closer(part(progress, 0.45, 0.55))
        best = tried.refine(part(progress, 0.55, 1.0))
    return PoseReport(
        settings=settings,
        poses=tuple(tried.pose(i) for i in tried.ranked(best)),
        standing=tried.pose(0),
        directions=swept,
        scores=scores,
        process=process,
        embed_mm=embed_mm,
        left_out=len(first) - len(swept),
    )


def directions_of(figure: Figure) -> Floats:
    """Return the directions that a sweep tries, (n, 3), the axis first; always the same ones.

    As many as were asked for are spread evenly over the cone; then come those in it that the
    figure's shape suggests.
    """
    settings = figure.settings
    spread = cone_directions(settings.axis, settings.cone_deg, settings.directions)
    if len(spread) == 1:
        return spread
    special = suggested_directions(figure.surface, figure.hull)
    special = special[in_cone(special, unit_vector(settings.axis), settings.cone_deg)]
    return np.vstack([spread, thinned(special, FINEST_DEG, spread)])


class _Tried:
    """All directions judged so far; the first one is the standing pose."""

    def __init__(self, figure: Figure, crew: Crew):
        self._figure, self._crew = figure, crew
        settings = figure.settings
        self.axis = unit_vector(settings.axis)
        spacing = spacing_deg(settings.cone_deg, settings.directions)
        # With the axis alone there is nothing round it to look at.
        self._spacing_deg = min(spacing, _WIDEST_DEG) if settings.directions > 1 else 0.0
        self._ranked_apart = min(_RANKED_APART_DEG, settings.cone_deg / 4)
        self.directions = np.empty((0, 3))
        self.scores = np.empty(0)
        self._promised = np.empty(0)
        self.terms: list[Terms] = []
        judge(figure, self.axis)  # the standing pose must not fail

    def add(self, directions: Floats, progress: Progress, text: str) -> None:
        """Judge directions."""
        judged = sweep(self._figure, judge_if_sound, directions, progress, text, self._crew)
        self._keep(*sound(directions, judged))

    def _keep(self, directions: Floats, judged: Sequence[Judged]) -> None:
        weights = self._figure.settings.weights
        points = np.array([score(j.terms, weights) for j in judged])
        self.directions = np.concatenate([self.directions, directions])
        self.scores = np.append(self.scores, points)
        self._promised = np.append(self._promised, points - [j.promise for j in judged])
        self.terms += [j.terms for j in judged]

    def look_closer(self, progress: Progress) -> None:
        """Try more directions round the best ones, and round those that promise to be."""
        least = _APART * self._spacing_deg
        best = apart(self.directions, self._order(self.scores), least, _BEST)
        promising = apart(self.directions, self._order(self._promised), least, _PROMISING)
        around = [
            cone_directions(self.directions[i], _AROUND * self._spacing_deg, _CLOSER)[1:]
            for i in np.union1d(best, promising)
        ]
        more = np.concatenate(around)
        more = more[in_cone(more, self.axis, self._figure.settings.cone_deg)]
        self.add(more, progress, "Looking closer")

    def refine(self, progress: Progress) -> Ints:
        """Follow the best directions down, and return the numbers of where they lead."""
        basins = self._basins()
        ring = _FIRST_RING * self._spacing_deg
        tasks = [Basin(self.directions[i], float(self.scores[i]), ring) for i in basins]
        found = sweep(self._figure, refine, tasks, progress, "Refining the best", self._crew)
        best = []
        for number, refined in zip(basins, found, strict=True):
            best.append(number if refined.best < 0 else len(self.terms) + refined.best)
            self._keep(refined.directions, refined.judged)
        return np.array(best, dtype=np.int64)

    def _basins(self) -> Ints:
        """Return where to refine: the best directions, and enough to fill the ranking."""
        order = self._order(self.scores)
        best = apart(self.directions, order, _APART * self._spacing_deg, _BASINS)
        keep = self._figure.settings.keep
        others = apart(self.directions, np.append(best, order), self._ranked_apart, keep)
        return np.union1d(best, others)

    def ranked(self, numbers: Ints) -> Ints:
        """Return those of some directions that are ranked, best first."""
        ups = self.directions[numbers]
        order = rank(ups, self.scores[numbers], self.axis)
        kept = apart(ups, order, self._ranked_apart, self._figure.settings.keep)
        return numbers[kept]

    def pose(self, number: int) -> Pose:
        """Return one of the directions as a pose, with its reasons."""
        weights = self._figure.settings.weights
        x, y, z = (float(c) for c in self.directions[number])
        terms, standing = self.terms[number], self.terms[0]
        return Pose(
            up=(x, y, z),
            tilt_deg=float(angle_deg(self.directions[number], self.axis)),
            terms=terms,
            score=float(self.scores[number]),
            reasons=reasons(terms, standing, weights) if number else ("the standing pose",),
        )

    def _order(self, scores: Floats) -> Ints:
        return rank(self.directions, scores, self.axis)
