"""Settings of one job: every choice a user can make, with its default."""

from __future__ import annotations

from dataclasses import dataclass, field

from pourwright.checks import check_direction, check_number
from pourwright.errors import InputError
from pourwright.pose.settings import PoseSettings
from pourwright.shop.process import DEFAULT_PROCESS, Process
from pourwright.shop.resin import MARGIN_RANGE, resin_named
from pourwright.sprue.settings import BaseSettings, FunnelSettings
from pourwright.vents.settings import VentSettings


@dataclass(frozen=True)
class Job:
    """Choices for one pour.

    up : direction that points up while resin is poured, in the standing frame; any length.
    material : name of a resin preset.
    margin : share of resin mixed beyond the poured volume (0.10 is 10 %).
    pose : how a better pour direction is searched for, where that is asked for.

    Raises InputError for a direction without length, an unknown material or a number out of
    range; the settings of base, funnel, vents and pose check themselves.
    """

    up: tuple[float, float, float] = (0.0, 0.0, -1.0)
    process: Process = DEFAULT_PROCESS
    material: str = "polyurethane"
    margin: float = 0.10
    base: BaseSettings = field(default_factory=BaseSettings)
    funnel: FunnelSettings = field(default_factory=FunnelSettings)
    vents: VentSettings = field(default_factory=VentSettings)
    pose: PoseSettings = field(default_factory=PoseSettings)

    def __post_init__(self) -> None:
        check_direction("pour.up", self.up)
        check_number("pour.margin", self.margin, *MARGIN_RANGE)
        resin_named(self.material)
        for name, value, kind in (
            ("process", self.process, Process),
            ("base", self.base, BaseSettings),
            ("funnel", self.funnel, FunnelSettings),
            ("vents", self.vents, VentSettings),
            ("pose", self.pose, PoseSettings),
        ):
            if not isinstance(value, kind):
                raise InputError(
                    f"The job's {name} is a {type(value).__name__}", hint=f"give a {kind.__name__}"
                )
