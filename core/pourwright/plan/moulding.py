"""The mould of a finished master: planned, its guide line drawn on it if asked for, and told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from pourwright.errors import GeometryError, MeshError, Point
from pourwright.mould import Mould, make_mould
from pourwright.mould.cost import RodLike
from pourwright.mould.fit import PoseSize, fit_poses
from pourwright.mould.guide import guide_body, guided
from pourwright.mould.rubber import rubber_for
from pourwright.plan.airing import air_of
from pourwright.plan.findings import PlanWarning, place
from pourwright.plan.job import Job
from pourwright.plan.sprued import Sprued
from pourwright.plan.venting import Vented
from pourwright.progress import Progress, silent
from pourwright.solid import boolean
from pourwright.solid.frames import rotated
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.protect import Protection

# Openings with a shorter way round hold so little rubber that it tears or comes along.
_TOLD_ROUND_MM = 6.0
# The ways to stand that are tried where a mould does not fit: the figure's six sides.
_SIDES = {
    "-Z": (0.0, 0.0, -1.0), "+Z": (0.0, 0.0, 1.0), "-X": (-1.0, 0.0, 0.0),
    "+X": (1.0, 0.0, 0.0), "-Y": (0.0, -1.0, 0.0), "+Y": (0.0, 1.0, 0.0),
}  # fmt: skip


def with_mould(
    done: Vented, fed: Sprued, gates: Sequence[RodLike], job: Job, progress: Progress
) -> tuple[Vented, Mould | None, PlanWarning | None]:
    """Plan the mould of a vented master; None where the job asks for none.

    Where a guide line is asked for, it comes onto the master, which is looked at for air again.
    A master that no mould can be planned for is still a master: then the reason is told.
    """
    if not job.mould.enabled:
        return done, None, None
    try:
        return (*_with_mould(done, fed, gates, job, progress), None)
    except (GeometryError, MeshError) as error:
        words = f"No mould could be planned: {error}"
        return done, None, PlanWarning("no_mould", words, error.at_mm, open=True)


def _with_mould(
    done: Vented, fed: Sprued, gates: Sequence[RodLike], job: Job, progress: Progress
) -> tuple[Vented, Mould]:
    mould = mould_for(
        job,
        done.mesh,
        tuple(fed.up.tolist()),
        figure=fed.figure,
        base_height_mm=fed.base_height_mm,
        rods=[*done.vents.vents, *gates],
        protection=fed.protection,
        progress=progress,
    )
    guide = guide_body(mould.cut.line.cut_mm, job.mould.guide, -fed.base_height_mm)
    if guide is None:
        return done, mould
    guide = boolean.difference(guide, [_under_board(guide, mould.box.board_mm)], guide.name)
    mesh = guided(done.mesh, rotated(guide, mould.turn.T), job.mould.guide.kind)
    chamber = job.bench.vessel("chamber")
    anew = rubber_for(
        rotated(mesh, mould.turn), mould.box, mould.rubber.silicone, job.mould.box.margin,
        cup_ml=job.bench.mix.cup_ml,
        chamber_mm=None if chamber is None else (chamber.diameter_mm, chamber.height_mm),
    )  # fmt: skip
    done = replace(done, mesh=mesh, air=air_of(mesh, fed.up)[0].pockets)
    return done, replace(mould, rubber=anew)


def mould_for(
    job: Job,
    master: TriMesh,
    up: Point,
    *,
    figure: TriMesh,
    base_height_mm: float,
    rods: Sequence[RodLike],
    protection: Protection | None,
    progress: Progress = silent,
) -> Mould:
    """Plan a master's mould by a job's choices and the vessels of its bench; see `make_mould`."""
    return make_mould(
        master,
        up,
        job.mould,
        figure=figure,
        base_height_mm=base_height_mm,
        rods=rods,
        protection=protection,
        cup_ml=job.bench.mix.cup_ml,
        chamber=job.bench.vessel("chamber"),
        pot=job.bench.vessel("pot"),
        visible_mm=job.process.visible_defect_mm,
        progress=progress,
    )


MOULD_CODES = ("mould_too_big", "rubber_air", "slits", "cut_incomplete", "rods_tie", "no_mould")


def mould_warnings(
    mould: Mould | None, figure: TriMesh, master: TriMesh, job: Job
) -> Iterator[PlanWarning]:
    """Say what the mould leaves to decide, and what to know before rubber is mixed."""
    if mould is None:
        return
    yield from _fits(mould, figure, master, job)
    warts = [p for p in mould.trapped.pockets if p.matters]
    if warts:
        at = _standing(mould, warts[0].peak_mm)
        yield PlanWarning(
            "rubber_air",
            f"Rubber traps air in {_counted(len(warts), 'place')}, the most at {place(at)}, "
            f"{warts[0].volume_mm3:.3g} mm3: {warts[0].advice}",
            at,
        )
    slits = [s for s in mould.cut.slits_mm if _round_mm(s) >= _TOLD_ROUND_MM]
    if slits:
        at = _standing(mould, max(slits, key=_round_mm).mean(axis=0))
        yield PlanWarning(
            "slits",
            f"Rubber is locked in {_counted(len(slits), 'opening')} of the master, the largest "
            f"about {place(at)}: slit it there, each slit up to the cut",
            at,
        )
    cut = mould.cut
    if not cut.leaves.parted or cut.line.passes_twice:
        yield PlanWarning(
            "cut_incomplete",
            "The cut line does not part the rubber in two: cut as far as it goes and look where "
            "the leaves still hang together, or move its way points",
            _standing(mould, cut.line.points_mm[0]),
        )
    tied = [rod for rod in cut.rods if rod.ties]
    if tied:
        at = _standing(mould, tied[0].at_mm)
        yield PlanWarning(
            "rods_tie",
            f"{len(tied)} rods tie the two leaves, the first at {place(at)}: break them off "
            "first, or slit the rubber along them",
            at,
        )


def _under_board(guide: TriMesh, board_mm: float) -> TriMesh:
    """What of a guide line lies under the board: the mould top plane must stay where it is."""
    low, high = guide.bounds_mm[0] - 1.0, guide.bounds_mm[1] + 1.0
    corners = np.array(np.meshgrid(*zip(low, [high[0], high[1], board_mm], strict=True)))
    return boolean.convex_hull(corners.reshape(3, -1).T, "under the board")


def _fits(mould: Mould, figure: TriMesh, master: TriMesh, job: Job) -> Iterator[PlanWarning]:
    for fit in (f for f in mould.fits if not f.fits):
        low, high = rotated(master, mould.turn).bounds_mm
        own_low, own_high = rotated(figure, mould.turn).bounds_mm
        # What stands below the figure on the board is there in every pose.
        more = float((high - low)[2] - (own_high - own_low)[2])
        poses = [PoseSize(name, _size(figure, up, more)) for name, up in _SIDES.items()]
        best = [pose.name for pose, found in fit_poses(poses, job.mould.box, fit.vessel)
                if found.fits]  # fmt: skip
        would = f"; poured with {' or '.join(best[:2])} up it would" if best else ""
        yield PlanWarning("mould_too_big", f"The mould: {fit.message}{would}", open=True)


def _size(figure: TriMesh, up: Sequence[float], more_mm: float) -> tuple[float, float, float]:
    """Size of the figure with a direction up, along, across and tall, with what stands below."""
    size = np.ptp(figure.bounds_mm, axis=0)
    axis = int(np.argmax(np.abs(up)))
    along, across = (float(size[i]) for i in range(3) if i != axis)
    return along, across, float(size[axis]) + more_mm


def _round_mm(loop: Floats) -> float:
    return float(np.linalg.norm(np.roll(loop, -1, axis=0) - loop, axis=1).sum())


def _standing(mould: Mould, at: Sequence[float] | Floats) -> tuple[float, float, float]:
    x, y, z = (float(c) for c in mould.standing(np.asarray(at, dtype=np.float64)[None])[0])
    return (x, y, z)


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
