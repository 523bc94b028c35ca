"""The pour plan as data: what plan.json, the bench and Blender read."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.errors import Point
from pourwright.gates.settings import FillTime, Gate
from pourwright.mould import Mould
from pourwright.plan.findings import PlanWarning
from pourwright.plan.job import Job
from pourwright.plan.readiness import Readiness
from pourwright.plan.scale import MasterScale
from pourwright.shop.feed import FunnelCheck
from pourwright.shop.resin import ResinMix
from pourwright.solid.mesh import TriMesh
from pourwright.solid.solid import Solid
from pourwright.sprue.model import BaseFacts
from pourwright.sprue.own import Cut
from pourwright.vents.rings import Ring
from pourwright.vents.settings import Vent

__all__ = [
    "AirCheck", "JudgedPocket", "LeftOut", "Master", "PlanWarning", "PourPlan", "SocketPrint",
]  # fmt: skip


@dataclass(frozen=True)
class JudgedPocket:
    """An air pocket and what it leaves in the cast under the job's process.

    peak_mm : highest point, standing frame.
    peak_height_mm, saddle_height_mm : x . up there, and where the pocket closes off; the saddle
        is None for a part of the cavity that has no opening at all.
    component : number of the separate part of the cavity that the pocket lies in.
    """

    peak_mm: Point
    peak_height_mm: float
    saddle_height_mm: float | None
    volume_mm3: float
    component: int
    residual_diameter_mm: float
    matters: bool


@dataclass(frozen=True, eq=False)
class Master:
    """The thing that is printed and moulded.

    parts_mm3 : own volume of each kind of part: figure, base, vents, gates, funnel.
    overlap_mm3 : what the parts share; filled_mm3 : hollows closed in between them, which are
        filled as no rubber gets there; sum(parts_mm3) - overlap_mm3 + filled_mm3 == volume_mm3.
    """

    mesh: TriMesh
    volume_mm3: float
    watertight: bool
    parts_mm3: dict[str, float]
    overlap_mm3: float
    filled_mm3: float


@dataclass(frozen=True)
class LeftOut:
    """A rod that cannot be printed with the base.

    part : "funnel", "vent" or "gate". number : in the plan's own list. at_mm : where it stands in
    the way. reason : why, and what to do.
    """

    part: str
    number: int
    at_mm: Point
    reason: str


@dataclass(frozen=True, eq=False)
class SocketPrint:
    """Base, rods and funnel as one printable part, into which the figure is put."""

    mesh: TriMesh
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, eq=False)
class PourPlan:
    """Everything about one pour, in the standing frame, mm.

    figure : as it was given. moulded_figure : as it is in the master, which may be larger, see
        `scale`; all that follows belongs to the figure of that size.
    pockets : of figure, base, funnel and gates before vents; pockets_after : of the finished
        master.
    base, funnel, vent_meshes, gate_meshes : the separate parts as they went into the union.
    base_cut : what was cut off a base of the user's, None for nothing or no such base.
    board_height_mm : x . up of the mould top plane, where funnel and vents end;
    figure_side_height_mm : of the base's side that the figure stands on.
    rings : rods that close a loop of rubber, and where to slit it.
    funnel_check : whether the funnel holds enough, None where the underside is open.
    socket : the part to print where the figure exists already, else None.
    ready : the master, or that part, against the printer.
    mould : box, rubber and cut, frame of the board; None where none is planned.
    """

    job: Job
    up: Point
    figure: Solid
    moulded_figure: TriMesh
    scale: MasterScale
    pockets: tuple[JudgedPocket, ...]
    gates: tuple[Gate, ...]
    fill: FillTime
    vents: tuple[Vent, ...]
    pockets_after: tuple[JudgedPocket, ...]
    master: Master
    base: TriMesh
    base_facts: BaseFacts
    funnel: TriMesh | None
    gate_meshes: tuple[TriMesh, ...]
    vent_meshes: tuple[TriMesh, ...]
    board_height_mm: float
    figure_side_height_mm: float
    funnel_check: FunnelCheck | None
    resin: ResinMix
    ready: Readiness
    warnings: tuple[PlanWarning, ...]
    rings: tuple[Ring, ...] = ()
    own_base: bool = False
    base_cut: Cut | None = None
    socket: SocketPrint | None = None
    mould: Mould | None = None

    @property
    def undecided(self) -> bool:
        """Whether something remains that the user must decide."""
        return any(w.open for w in self.warnings)


@dataclass(frozen=True, eq=False)
class AirCheck:
    """The air of a solid as it is, without base or vents."""

    up: Point
    process_name: str
    residual_factor: float
    visible_defect_mm: float
    figure: Solid
    openings_mm: tuple[Point, ...]
    pockets: tuple[JudgedPocket, ...]
