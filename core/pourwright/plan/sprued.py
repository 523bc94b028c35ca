"""The figure on its base, fed: base, funnel and gates, before any vent, and its air."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pourwright.air import AirReport
from pourwright.errors import InputError
from pourwright.gates import Gates, place_gates
from pourwright.plan.airing import air_of, fine
from pourwright.plan.job import Job
from pourwright.progress import Progress, silent
from pourwright.shop.flow import liquid_of
from pourwright.solid import boolean
from pourwright.solid.frames import board_rotation, rotated
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.protect import Protection
from pourwright.sprue.base import build_sprue
from pourwright.sprue.model import Sprue
from pourwright.sprue.own import Cut, base_from_mesh

_SECONDS = 60.0


@dataclass(frozen=True, eq=False)
class Sprued:
    """Figure, base, funnel and gates as one closed mesh.

    mesh, figure, base, funnel : standing frame; figure as it is in the master. filled_mm3 :
    hollows that were closed in between the parts, which are filled; voids : of the figure itself,
    which stay. sprue : as it was made, in the frame of the board. cut : of a base of the user's.
    """

    mesh: TriMesh
    figure: TriMesh
    protection: Protection | None
    base: TriMesh
    funnel: TriMesh | None
    voids: tuple[TriMesh, ...]
    filled_mm3: float
    up: Floats
    sprue: Sprue
    cut: Cut | None = None

    @property
    def base_height_mm(self) -> float:
        """x . up of the base's figure side."""
        return -self.sprue.top_z_mm


@dataclass(frozen=True, eq=False)
class BareAir:
    """The air of a sprued figure, on a surface whose vertices are close enough for rods to start.

    It takes several times the memory of the mesh: do not keep it for longer than rods are placed.
    openings : vertices in the mould top plane.
    """

    report: AirReport
    openings: Ints


def sprued(
    figure: TriMesh,
    protection: Protection | None,
    up: Floats,
    job: Job,
    own_base: TriMesh | None,
    progress: Progress,
) -> Sprued:
    """Put the figure on its base and funnel.

    up : (3,) unit vector. own_base : a closed body of the user's, standing frame.
    """
    progress(0.0, "Shaping the sprue base")
    turn = board_rotation(up)
    standing = rotated(figure, turn)
    cut = None
    if own_base is None:
        made = build_sprue(standing, job.base, job.funnel)
    else:
        own = base_from_mesh(rotated(own_base, turn), standing, job.own_base, job.funnel)
        made, cut = own.sprue, own.cut
    if own_base is None or job.own_base.place == "under":
        _check_stands_out(standing, made.top_z_mm, "base" if own_base is None else "own_base")
    base = rotated(made.base, turn.T)
    funnel = None if made.funnel is None else rotated(made.funnel, turn.T)
    voids = tuple(p for p in boolean.pieces(figure) if p.volume_mm3 < 0)
    parts = [figure, base] if funnel is None else [figure, base, funnel]
    progress(0.3, "Uniting figure and base")
    mesh, filled = _united(parts, voids)
    return Sprued(mesh, figure, protection, base, funnel, voids, filled, up, made, cut)


def air_before(fed: Sprued) -> BareAir:
    """Find the air of a figure on its base, before any vent."""
    return BareAir(*air_of(fine(fed.mesh), fed.up))


def gates_for(bare: Sprued, air: BareAir, job: Job, progress: Progress = silent) -> Gates:
    """Find what the base does not feed in time, and route gates to it."""
    return place_gates(
        bare.mesh,
        air.report,
        liquid_of(job.resin),
        _SECONDS * job.resin.pot_life_min,
        job.gates,
        base_height_mm=bare.base_height_mm,
        protection=bare.protection,
        progress=progress,
    )


def gated(bare: Sprued, gates: Gates) -> Sprued:
    """Unite the figure on its base with its gates."""
    if not gates.bodies:
        return bare
    mesh, filled = _united([bare.mesh, *gates.bodies], bare.voids)
    return replace(bare, mesh=mesh, filled_mm3=bare.filled_mm3 + filled)


def _check_stands_out(standing: TriMesh, face_z_mm: float, table: str) -> None:
    low, high = (float(z) for z in standing.bounds_mm[:, 2])
    if high <= face_z_mm:
        raise InputError(
            f"The figure is {high - low:.3g} mm high and would sink {face_z_mm - low:.3g} mm into "
            "the base, which leaves nothing of it to see",
            hint=f"check the unit, or make {table}.embed_mm smaller",
        )


def _united(parts: Sequence[TriMesh], voids: Sequence[TriMesh]) -> tuple[TriMesh, float]:
    return boolean.without_voids(boolean.union(parts, "figure on its base"), voids)
