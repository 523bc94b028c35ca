"""The pipeline: figure and settings in, a pour plan out, with the proof at its end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pourwright.air import (
    AirPocket,
    AirReport,
    Surface,
    find_pockets,
    highest_vertex,
    nearest_vertices,
    prepare,
    top_plane_vertices,
    unit_vector,
)
from pourwright.errors import GeometryError, Point
from pourwright.plan.job import Job
from pourwright.plan.model import AirCheck, JudgedPocket, Master, PourPlan
from pourwright.plan.warnings import TOLD_MM, plan_warnings
from pourwright.progress import Progress, part, silent
from pourwright.shop.process import Process
from pourwright.shop.resin import mix, resin_named
from pourwright.solid import boolean
from pourwright.solid.contacts import open_contacts
from pourwright.solid.frames import board_rotation, rotated
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.solid import Solid
from pourwright.solid.topology import is_watertight
from pourwright.sprue.base import build_sprue
from pourwright.vents.given import given_vents
from pourwright.vents.place import Vents, place_vents
from pourwright.vents.rings import rings_of
from pourwright.vents.settings import GivenVent

# Longest edge of the surface on which rods may start.
_CONTACT_MM = 1.5
# Times that a vented master is looked at for air to vent.
_ROUNDS = 3


def check_air(
    solid: Solid,
    up: Sequence[float],
    vent_points_mm: Sequence[Point],
    process: Process,
    progress: Progress = silent,
) -> AirCheck:
    """Find the air pockets of a solid as it is.

    vent_points_mm : places where the surface is open to the air (the nearest surface vertex of
    each); with none, the highest vertex along `up` is the opening.
    """
    direction = unit_vector(up)
    progress(0.0, "Preparing the surface")
    surface = prepare(solid.mesh)
    openings = (
        nearest_vertices(surface, vent_points_mm)
        if len(vent_points_mm)
        else highest_vertex(surface, direction)
    )
    progress(0.6, "Finding air pockets")
    report = find_pockets(surface, direction, openings)
    progress(1.0, f"{len(report.pockets)} air pockets")
    return AirCheck(
        up=_point(direction),
        process_name=process.name,
        residual_factor=process.residual_factor,
        visible_defect_mm=process.visible_defect_mm,
        figure=solid,
        openings_mm=tuple(_point(surface.vertices[v] + surface.centre_mm) for v in openings),
        pockets=judge(report.pockets, process),
    )


def plan_pour(
    solid: Solid,
    job: Job,
    progress: Progress = silent,
    given: Sequence[GivenVent] | None = None,
) -> PourPlan:
    """Make the master for a figure and prove it: every pocket found, vented, and looked at again.

    given : rods as the user put them; then these are taken as they are and none is routed.

    Raises InputError for settings that make no master, GeometryError where a union fails.
    """
    up = unit_vector(job.up)
    turn = board_rotation(up)
    progress(0.0, "Shaping the sprue base")
    sprue = build_sprue(rotated(solid.mesh, turn), job.base, job.funnel)
    base = rotated(sprue.base, turn.T)
    funnel = None if sprue.funnel is None else rotated(sprue.funnel, turn.T)
    carried = [solid.mesh, base] if funnel is None else [solid.mesh, base, funnel]
    voids = [p for p in boolean.pieces(solid.mesh) if p.volume_mm3 < 0]
    sprued, filled = boolean.without_voids(boolean.union(carried, "figure on its base"), voids)
    progress(0.2, "Finding air pockets")
    # Rods start at vertices, so flat faces need some of their own; the master keeps its mesh.
    before, openings = _air_of(_fine(sprued), up)
    if given is None:
        vents = place_vents(
            before,
            openings,
            job.process,
            job.vents,
            base_height_mm=-sprue.top_z_mm,
            protection=solid.protection,
            progress=part(progress, 0.3, 0.6),
        )
    else:
        vents = given_vents(before, given, job.vents)
    progress(0.6, "Uniting the master")
    mesh, more_filled = _united(sprued, vents, voids)
    progress(0.7, "Proving that no air is left")
    after, _ = _air_of(mesh, up)
    for _ in range(_ROUNDS if given is None else 0):
        if not _left_untold(after, vents, job):
            break
        # What rods left or made by standing where they do gets rods of its own.
        progress(0.8, "Venting what is left")
        vents = _with_more(mesh, vents, before, job, sprue.top_z_mm, solid, up)
        mesh, more_filled = _united(sprued, vents, voids)
        after, _ = _air_of(mesh, up)
    filled += more_filled
    master = account(mesh, filled, solid.mesh, base, funnel, vents.bodies)
    judged_before = judge(before.pockets, job.process)
    judged_after = judge(after.pockets, job.process)
    resin = mix(resin_named(job.material), master.volume_mm3 / 1000.0, job.margin)
    progress(1.0, "Plan is ready")
    return PourPlan(
        job=job,
        up=_point(up),
        figure=solid,
        pockets=judged_before,
        vents=vents.vents,
        pockets_after=judged_after,
        master=master,
        base=base,
        funnel=funnel,
        vent_meshes=vents.bodies,
        board_height_mm=-sprue.board_z_mm,
        resin=resin,
        rings=vents.rings,
        warnings=plan_warnings(vents, judged_before, judged_after, master, job, sprue.facts),
    )


def _united(sprued: TriMesh, vents: Vents, voids: Sequence[TriMesh]) -> tuple[TriMesh, float]:
    """The master's mesh, and the volume of hollows that rods closed in, which is filled."""
    mesh, filled = sprued, 0.0
    if vents.bodies:
        together = boolean.union([sprued, *vents.bodies], "master")
        mesh, filled = boolean.without_voids(together, voids)
    return open_contacts(mesh)[0], filled


def _left_untold(after: AirReport, vents: Vents, job: Job) -> bool:
    """Whether air is left that matters and is not known to be out of reach."""
    return any(
        p.matters and all(math.dist(p.peak_mm, at) > TOLD_MM for at, _ in vents.blocked)
        for p in judge(after.pockets, job.process)
    )


def _with_more(
    mesh: TriMesh, vents: Vents, before: AirReport, job: Job, top_z_mm: float, solid: Solid,
    up: Floats,
) -> Vents:
    """Add rods for what matters in a master that has rods already; these count as walls."""
    fine, openings = _air_of(_fine(mesh), up)
    more = place_vents(
        fine,
        openings,
        job.process,
        job.vents,
        base_height_mm=-top_z_mm,
        protection=solid.protection,
    )
    added = []
    for vent in more.vents:
        vertex = int(nearest_vertices(before.surface, [vent.path_mm[0]])[0])
        pocket = before.pocket_at(vertex)
        added.append(replace(vent, serves=(pocket,) if pocket >= 0 else ()))
    everyone = (*vents.vents, *added)
    return Vents(everyone, (*vents.bodies, *more.bodies), more.blocked, rings_of(everyone))


def _fine(mesh: TriMesh) -> TriMesh:
    """The same surface with vertices close enough for rods to start at."""
    return boolean.refined(mesh, max(_CONTACT_MM, mesh.diagonal_mm / 100))


def account(
    mesh: TriMesh,
    filled_mm3: float,
    figure: TriMesh,
    base: TriMesh,
    funnel: TriMesh | None,
    vent_bodies: Sequence[TriMesh],
) -> Master:
    """Account for the volume of each kind of part in the finished master `mesh`.

    filled_mm3 : volume of hollows that were filled because no rubber reaches them.
    """
    parts = {
        "figure": figure.volume_mm3,
        "base": base.volume_mm3,
        "vents": float(sum(v.volume_mm3 for v in vent_bodies)),
        "gates": 0.0,
        "funnel": 0.0 if funnel is None else funnel.volume_mm3,
    }
    volume = mesh.volume_mm3
    overlap = sum(parts.values()) + filled_mm3 - volume
    if overlap < -1e-6 * volume:
        raise GeometryError(
            f"The master holds {-overlap:.3g} mm3 more than its parts",
            hint="check the figure for faces that cross each other",
        )
    return Master(mesh, volume, is_watertight(mesh), parts, overlap, filled_mm3)


def judge(pockets: Sequence[AirPocket], process: Process) -> tuple[JudgedPocket, ...]:
    """Say of each pocket what is left of it in the cast; one without any opening always matters."""
    return tuple(
        JudgedPocket(
            peak_mm=p.peak_mm,
            peak_height_mm=p.peak_height_mm,
            saddle_height_mm=p.saddle_height_mm,
            volume_mm3=p.volume_mm3,
            component=p.component,
            residual_diameter_mm=process.residual_diameter_mm(p.volume_mm3),
            matters=p.saddle_height_mm is None or process.matters(p.volume_mm3),
        )
        for p in pockets
    )


def _air_of(mesh: TriMesh, up: Floats) -> tuple[AirReport, Ints]:
    """Air of a master-like mesh: open where it lies in the mould top plane."""
    surface: Surface = prepare(mesh)
    openings = top_plane_vertices(surface, up)
    return find_pockets(surface, up, openings), openings


def _point(values: Floats) -> Point:
    x, y, z = (float(c) for c in values)
    return (x, y, z)
