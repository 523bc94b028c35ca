"""The pipeline: figure and settings in, a pour plan out, with the proof at its end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pourwright.air import unit_vector
from pourwright.errors import InputError
from pourwright.plan.airing import check_air, judge, point_of
from pourwright.plan.checked import account, funnel_check, socket_print
from pourwright.plan.job import Job
from pourwright.plan.model import PourPlan
from pourwright.plan.moulding import with_mould
from pourwright.plan.readiness import check_print
from pourwright.plan.scale import moulded, scale_of, scaled
from pourwright.plan.sprued import air_before, gated, gates_for, sprued
from pourwright.plan.venting import vented, vents_for
from pourwright.plan.warnings import plan_warnings
from pourwright.progress import Progress, part, silent
from pourwright.shop.printer import DEFAULT_PRINTER
from pourwright.shop.resin import mix
from pourwright.solid.mesh import TriMesh
from pourwright.solid.solid import Solid
from pourwright.vents.settings import GivenVent

__all__ = ["check_air", "judge", "plan_pour"]


def plan_pour(
    solid: Solid,
    job: Job,
    progress: Progress = silent,
    given: Sequence[GivenVent] | None = None,
    own_base: TriMesh | None = None,
) -> PourPlan:
    """Make the master for a figure and prove it: fed, every pocket found, vented, looked at again.

    given : rods as the user put them; then these are taken as they are and none is routed.
    own_base : a closed body of the user's as the base, standing frame; it is not changed.

    Raises InputError for settings that make no master or no socket, MeshError for a body that is
    no base, GeometryError where a union fails.
    """
    up = unit_vector(job.up)
    scale = scale_of(solid.mesh, job)
    figure, protection = moulded(solid, scale)
    if own_base is not None and scale.used != 1.0:
        own_base = scaled(own_base, scale.used, scale.about_mm)
    try:
        bare = sprued(figure, protection, up, job, own_base, part(progress, 0.0, 0.2))
    except InputError as error:
        raise _with_doubts(error, solid) from error
    progress(0.2, "Finding air pockets")
    air = air_before(bare)
    gates = gates_for(bare, air, job, part(progress, 0.25, 0.3))
    fed = gated(bare, gates)
    if gates.bodies:
        air = air_before(fed)
    before = judge(air.report.pockets, job.process)
    vents = vents_for(fed, air, job, given, part(progress, 0.3, 0.5))
    del air
    done = vented(fed, vents, job, given is None, part(progress, 0.5, 0.7))
    done, mould, no_mould = with_mould(done, fed, gates.gates, job, part(progress, 0.7, 0.9))
    master = account(
        done.mesh, fed.filled_mm3 + done.filled_mm3, fed, gates.bodies, done.vents.bodies
    )
    progress(0.9, "Checking funnel and print")
    after = judge(done.air, job.process)
    socket = None
    if job.socket.enabled:
        socket = socket_print(fed, gates.bodies, done.vents.bodies, job)
    printed = master.mesh if socket is None else socket.mesh
    plan = PourPlan(
        job=job,
        up=point_of(up),
        figure=solid,
        moulded_figure=figure,
        scale=scale,
        pockets=before,
        gates=gates.gates,
        fill=gates.fill,
        vents=done.vents.vents,
        pockets_after=after,
        master=master,
        base=fed.base,
        base_facts=fed.sprue.facts,
        funnel=fed.funnel,
        gate_meshes=gates.bodies,
        vent_meshes=done.vents.bodies,
        board_height_mm=-fed.sprue.board_z_mm,
        figure_side_height_mm=fed.base_height_mm,
        funnel_check=funnel_check(fed, master, after, scale.resin, job),
        resin=mix(job.resin, master.volume_mm3 / 1000.0, job.margin),
        ready=check_print(printed, job.printer or DEFAULT_PRINTER, job.up),
        warnings=(),
        rings=done.vents.rings,
        own_base=own_base is not None,
        base_cut=fed.cut,
        socket=socket,
        mould=mould,
    )
    told = plan_warnings(plan, done.vents.blocked, gates.blocked)
    plan = replace(plan, warnings=told if no_mould is None else (*told, no_mould))
    progress(1.0, "Plan is ready")
    return plan


def _with_doubts(error: InputError, solid: Solid) -> InputError:
    """Return the error with the likelier cause: a figure of an odd size in the wrong unit."""
    doubts = [f.message for f in solid.findings if f.kind == "unit_suspected"]
    if not doubts or "check the unit" in error.hint:
        return error
    told = doubts[0][0].lower() + doubts[0][1:]
    hint = f"{error.hint}; {told}" if error.hint else told
    return InputError(error.what, hint=hint, at_mm=error.at_mm)
