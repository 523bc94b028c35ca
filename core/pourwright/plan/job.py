"""Settings of one job: every choice a user can make, with its default."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pourwright.checks import check_direction, check_number
from pourwright.errors import InputError
from pourwright.gates.settings import GateSettings
from pourwright.mould.settings import MouldSettings
from pourwright.pose.settings import PoseSettings
from pourwright.shop.bench import BenchSettings
from pourwright.shop.printer import Printer
from pourwright.shop.process import DEFAULT_PROCESS, Process
from pourwright.shop.resin import MARGIN_RANGE, Resin, resin_named
from pourwright.shop.shrinkage import ShrinkageSettings
from pourwright.sprue.settings import (
    BaseSettings,
    FunnelSettings,
    OwnBaseSettings,
    SocketSettings,
)
from pourwright.vents.settings import VentSettings


@dataclass(frozen=True)
class Job:
    """Choices for one pour.

    up : direction that points up while resin is poured, in the standing frame; any length.
    material : name of a resin preset, of `materials` or, where that is None, a generic one.
    margin : share of resin mixed beyond the poured volume (0.10 is 10 %).
    pose : how a better pour direction is searched for, where that is asked for.
    own_base : how a body of the user's becomes the base, where one is given.
    printer : what prints the master, None where the user has not said.
    mould : how the rubber is boxed and cut.
    bench : what the shop has and how it works, for the pour sheet.

    Raises InputError for a direction without length, an unknown material or a number out of
    range; the settings of the rooms check themselves.
    """

    up: tuple[float, float, float] = (0.0, 0.0, -1.0)
    process: Process = DEFAULT_PROCESS
    material: str = "polyurethane"
    margin: float = 0.10
    base: BaseSettings = field(default_factory=BaseSettings)
    own_base: OwnBaseSettings = field(default_factory=OwnBaseSettings)
    socket: SocketSettings = field(default_factory=SocketSettings)
    funnel: FunnelSettings = field(default_factory=FunnelSettings)
    gates: GateSettings = field(default_factory=GateSettings)
    vents: VentSettings = field(default_factory=VentSettings)
    pose: PoseSettings = field(default_factory=PoseSettings)
    shrinkage: ShrinkageSettings = field(default_factory=ShrinkageSettings)
    printer: Printer | None = None
    bench: BenchSettings = field(default_factory=BenchSettings)
    mould: MouldSettings = field(default_factory=MouldSettings)
    materials: Mapping[str, Resin] | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        check_direction("pour.up", self.up)
        check_number("pour.margin", self.margin, *MARGIN_RANGE)
        resin_named(self.material, self.materials)
        for name, value, kind in (
            ("process", self.process, Process),
            ("base", self.base, BaseSettings),
            ("own_base", self.own_base, OwnBaseSettings),
            ("socket", self.socket, SocketSettings),
            ("funnel", self.funnel, FunnelSettings),
            ("gates", self.gates, GateSettings),
            ("vents", self.vents, VentSettings),
            ("pose", self.pose, PoseSettings),
            ("shrinkage", self.shrinkage, ShrinkageSettings),
            ("printer", self.printer, Printer | None),
            ("bench", self.bench, BenchSettings),
            ("mould", self.mould, MouldSettings),
        ):
            if not isinstance(value, kind):
                wanted = getattr(kind, "__name__", str(kind))
                raise InputError(
                    f"The job's {name} is a {type(value).__name__}", hint=f"give a {wanted}"
                )

    @property
    def resin(self) -> Resin:
        """What is poured."""
        return resin_named(self.material, self.materials)
