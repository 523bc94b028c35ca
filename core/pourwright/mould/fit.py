"""Whether a mould fits into a pot or a vacuum chamber, by how much not, and which pose would."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pourwright.checks import check_number
from pourwright.mould.box import MouldBox
from pourwright.mould.settings import BoxSettings
from pourwright.shop.vessel import Vessel


@dataclass(frozen=True)
class VesselFit:
    """How a mould stands in a vessel.

    needs_mm : diameter and height that it takes. over_mm : by how much each is too large, 0 where
    it fits.
    """

    vessel: Vessel
    needs_mm: tuple[float, float]
    over_mm: tuple[float, float]

    @property
    def fits(self) -> bool:
        """Whether it fits both ways."""
        return self.over_mm == (0.0, 0.0)

    @property
    def message(self) -> str:
        """One sentence."""
        across, tall = self.over_mm
        if self.fits:
            return f"Fits into the {self.vessel.title}"
        wrong = [f"{across:.1f} mm too wide"] if across else []
        wrong += [f"{tall:.1f} mm too tall"] if tall else []
        return f"Does not fit into the {self.vessel.title}: " + " and ".join(wrong)


@dataclass(frozen=True)
class PoseSize:
    """A way to stand the master in its box.

    name : of the pose. size_mm : of the master along, across and up, as it stands there.
    """

    name: str
    size_mm: tuple[float, float, float]


def fit_box(box: MouldBox, vessel: Vessel, *, with_walls: bool = True) -> VesselFit:
    """Return how a box stands upright in a vessel; `with_walls` False for the rubber alone."""
    along, across, tall = box.outer_mm if with_walls else box.size_mm
    round_ = box.shape == "round"
    return _fit(along if round_ else math.hypot(along, across), tall, vessel)


def fit_poses(
    poses: Sequence[PoseSize], settings: BoxSettings, vessel: Vessel
) -> tuple[tuple[PoseSize, VesselFit], ...]:
    """Return the poses with how the rubber alone stands in a vessel, those that fit first.

    A rectangular block is taken, or where the settings ask for a tube, one round the master's
    rectangle. What does not fit comes in order of how far it is too large.
    """
    found = []
    for pose in poses:
        along, across, up = pose.size_mm
        for value in pose.size_mm:
            check_number(f"The size of pose '{pose.name}'", value, 0.0, 1e5)
        wall = 2 * settings.wall_mm
        if settings.shape == "round":
            wide = math.hypot(along, across) + wall
        else:
            wide = math.hypot(along + wall, across + wall)
        found.append((pose, _fit(wide, up + settings.cover_mm, vessel)))
    return tuple(sorted(found, key=lambda pair: max(pair[1].over_mm)))


def _fit(wide_mm: float, tall_mm: float, vessel: Vessel) -> VesselFit:
    over = (max(wide_mm - vessel.diameter_mm, 0.0), max(tall_mm - vessel.height_mm, 0.0))
    return VesselFit(vessel, (wide_mm, tall_mm), over)
