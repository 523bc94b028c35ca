"""Rods for the air of a sprued figure, and the proof that they do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pourwright.air import AirPocket, nearest_vertices
from pourwright.plan.airing import air_of, judge
from pourwright.plan.findings import TOLD_MM
from pourwright.plan.job import Job
from pourwright.plan.sprued import BareAir, Sprued, air_before
from pourwright.progress import Progress, silent
from pourwright.solid import boolean
from pourwright.solid.contacts import open_contacts
from pourwright.solid.mesh import TriMesh
from pourwright.vents.given import given_vents
from pourwright.vents.place import Vents, place_vents
from pourwright.vents.rings import rings_of
from pourwright.vents.settings import GivenVent

# Times that a vented master is looked at for air to vent.
_ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Vented:
    """The finished master's mesh, its rods, and its air.

    filled_mm3 : hollows that rods closed in, which are filled. air : pockets that are left.
    """

    mesh: TriMesh
    filled_mm3: float
    vents: Vents
    air: tuple[AirPocket, ...]


def vents_for(
    sprued: Sprued,
    air: BareAir,
    job: Job,
    given: Sequence[GivenVent] | None,
    progress: Progress = silent,
) -> Vents:
    """Put up rods for the air that matters.

    given : rods as the user put them; then these are taken as they are and none is routed.
    """
    if given is not None:
        return given_vents(air.report, given, job.vents)
    return place_vents(
        air.report,
        air.openings,
        job.process,
        job.vents,
        base_height_mm=sprued.base_height_mm,
        protection=sprued.protection,
        progress=progress,
    )


def vented(sprued: Sprued, vents: Vents, job: Job, more: bool, progress: Progress) -> Vented:
    """Unite figure and rods, and look at the master again; more : put up rods for what is left."""
    progress(0.0, "Uniting the master")
    mesh, filled = _united(sprued, vents)
    progress(0.4, "Proving that no air is left")
    after = air_of(mesh, sprued.up)[0].pockets
    for _ in range(_ROUNDS if more else 0):
        if not _left_untold(after, vents, job):
            break
        # What rods left or made by standing where they do gets rods of its own.
        progress(0.6, "Venting what is left")
        vents = _with_more(mesh, vents, sprued, job)
        mesh, filled = _united(sprued, vents)
        after = air_of(mesh, sprued.up)[0].pockets
    return Vented(mesh, filled, vents, after)


def _united(sprued: Sprued, vents: Vents) -> tuple[TriMesh, float]:
    """The master's mesh, and the volume of hollows that rods closed in, which is filled."""
    mesh, filled = sprued.mesh, 0.0
    if vents.bodies:
        together = boolean.union([mesh, *vents.bodies], "master")
        mesh, filled = boolean.without_voids(together, sprued.voids)
    return open_contacts(mesh)[0], filled


def _left_untold(after: Sequence[AirPocket], vents: Vents, job: Job) -> bool:
    """Whether air is left that matters and is not known to be out of reach."""
    return any(
        p.matters and all(math.dist(p.peak_mm, at) > TOLD_MM for at, _ in vents.blocked)
        for p in judge(after, job.process)
    )


def _with_more(mesh: TriMesh, vents: Vents, sprued: Sprued, job: Job) -> Vents:
    """Add rods for what matters in a master that has rods already; these count as walls."""
    more = vents_for(sprued, air_before(replace(sprued, mesh=mesh)), job, None)
    before, added = air_before(sprued).report, []
    for vent in more.vents:
        vertex = int(nearest_vertices(before.surface, [vent.path_mm[0]])[0])
        pocket = before.pocket_at(vertex)
        added.append(replace(vent, serves=(pocket,) if pocket >= 0 else ()))
    everyone = (*vents.vents, *added)
    return Vents(everyone, (*vents.bodies, *more.bodies), more.blocked, rings_of(everyone))
