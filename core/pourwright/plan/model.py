"""The pour plan as data: what plan.json, the bench and Blender read."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.errors import Point
from pourwright.plan.job import Job
from pourwright.shop.resin import ResinMix
from pourwright.solid.mesh import TriMesh
from pourwright.solid.solid import Solid
from pourwright.vents.rings import Ring
from pourwright.vents.settings import Vent


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


@dataclass(frozen=True)
class PlanWarning:
    """Something the user must decide or should know; `code` is for programs.

    open : True when it leaves something undone (exit status 1).
    """

    code: str
    message: str
    at_mm: Point | None = None
    open: bool = False


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


@dataclass(frozen=True, eq=False)
class PourPlan:
    """Everything about one pour, in the standing frame, mm.

    pockets : of figure, base and funnel before vents; pockets_after : of the finished master.
    base, funnel, vent_meshes : the separate parts as they went into the union.
    board_height_mm : x . up of the mould top plane, where funnel and vents end.
    rings : rods that close a loop of rubber, and where to slit it.
    """

    job: Job
    up: Point
    figure: Solid
    pockets: tuple[JudgedPocket, ...]
    vents: tuple[Vent, ...]
    pockets_after: tuple[JudgedPocket, ...]
    master: Master
    base: TriMesh
    funnel: TriMesh | None
    vent_meshes: tuple[TriMesh, ...]
    board_height_mm: float
    resin: ResinMix
    warnings: tuple[PlanWarning, ...]
    rings: tuple[Ring, ...] = ()

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
