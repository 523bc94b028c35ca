"""What is worked out of a finished master: its volumes, its funnel, its print, its socket."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pourwright.errors import GeometryError
from pourwright.plan.job import Job
from pourwright.plan.model import JudgedPocket, LeftOut, Master, SocketPrint
from pourwright.plan.sprued import Sprued
from pourwright.shop.feed import FunnelCheck, check_funnel, funnel_need
from pourwright.solid.frames import board_rotation, rotated
from pourwright.solid.mesh import TriMesh
from pourwright.solid.topology import is_watertight
from pourwright.sprue import forms
from pourwright.sprue.socket import with_socket

# What with_socket takes.
_DEPTH_MM = (0.1, 200.0)


def account(
    mesh: TriMesh,
    filled_mm3: float,
    sprued: Sprued,
    gate_bodies: Sequence[TriMesh],
    vent_bodies: Sequence[TriMesh],
) -> Master:
    """Account for the volume of each kind of part in the finished master `mesh`.

    filled_mm3 : volume of hollows that were filled because no rubber reaches them.
    """
    parts = {
        "figure": sprued.figure.volume_mm3,
        "base": sprued.base.volume_mm3,
        "vents": float(sum(v.volume_mm3 for v in vent_bodies)),
        "gates": float(sum(g.volume_mm3 for g in gate_bodies)),
        "funnel": 0.0 if sprued.funnel is None else sprued.funnel.volume_mm3,
    }
    volume = mesh.volume_mm3
    overlap = sum(parts.values()) + filled_mm3 - volume
    if overlap < -1e-6 * volume:
        raise GeometryError(
            f"The master holds {-overlap:.3g} mm3 more than its parts",
            hint="check the figure for faces that cross each other",
        )
    return Master(mesh, volume, is_watertight(mesh), parts, overlap, filled_mm3)


def funnel_check(
    sprued: Sprued, master: Master, left: Sequence[JudgedPocket], resin_linear: float | None,
    job: Job,
) -> FunnelCheck | None:
    """Whether the funnel holds what the cavity draws from it; None where there is no funnel.

    left : air in the finished master. resin_linear : share of length that the resin loses.
    """
    sprue = sprued.sprue
    if sprue.funnel is None:
        return None
    need = funnel_need(
        master.volume_mm3 - master.parts_mm3["funnel"],
        resin_linear or 0.0,
        [p.volume_mm3 for p in left],
        job.process,
        job.funnel.head_mm,
    )
    # The neck as a circle of its area, however it is shaped; the height that there really is.
    neck = 2 * np.sqrt(forms.area_mm2(sprue.neck) / np.pi)
    mouth = max(job.funnel.mouth_mm, float(neck))
    return check_funnel(need, float(neck), mouth, sprue.neck_z_mm - sprue.board_z_mm)


def socket_print(
    sprued: Sprued, gate_bodies: Sequence[TriMesh], vent_bodies: Sequence[TriMesh], job: Job
) -> SocketPrint:
    """Return base, funnel and rods as one printable part with a socket for the figure's feet.

    Raises InputError and GeometryError as `sprue.socket.with_socket`, placed in the standing
    frame.
    """
    turn = board_rotation(sprued.up)
    figure, base = rotated(sprued.figure, turn), sprued.sprue.base
    bodies = [
        *((("funnel", 0, sprued.funnel),) if sprued.funnel is not None else ()),
        *(("gate", i, body) for i, body in enumerate(gate_bodies)),
        *(("vent", i, body) for i, body in enumerate(vent_bodies)),
    ]
    depth = job.socket.depth_mm
    if depth is None:  # all that lies below the base's highest point
        depth = float(base.bounds_mm[1, 2] - figure.bounds_mm[0, 2])
    made = with_socket(
        figure,
        base,
        job.socket.clearance_mm,
        float(np.clip(depth, *_DEPTH_MM)),
        [rotated(body, turn) for _, _, body in bodies],
        draft_deg=job.socket.draft_deg,
    )
    left_out = [
        LeftOut(bodies[r.number][0], bodies[r.number][1], _standing(r.at_mm, turn), r.reason)
        for r in made.refused
    ]
    return SocketPrint(rotated(made.mesh, turn.T), tuple(left_out))


def _standing(at_mm: Sequence[float], turn: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(c) for c in np.asarray(at_mm) @ turn)
    return (x, y, z)
