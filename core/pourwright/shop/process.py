"""How the resin is poured and cured, as pressures; what is left of trapped air (Boyle)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pourwright.errors import InputError

ATMOSPHERE_PA = 101_325.0  # standard atmosphere, exact by definition (ISO 2533)
PSI_PA = 6_894.757  # pound-force per square inch, NIST SP 811 appendix B
INHG_PA = 3_386.389  # inch of mercury at 0 C, NIST SP 811 appendix B (from memory)


@dataclass(frozen=True)
class Process:
    """Absolute pressures of one way to pour, and the smallest bubble that counts as a defect.

    trap_pa : absolute pressure of the air when the resin closes round it, Pa.
    cure_pa : absolute pressure while the resin sets, Pa.
    visible_defect_mm : diameter above which a bubble in the cast is a defect.
    """

    name: str
    title: str
    trap_pa: float
    cure_pa: float
    visible_defect_mm: float = 0.3

    def __post_init__(self) -> None:
        for label, value in (
            ("pressure at the pour", self.trap_pa),
            ("pressure at cure", self.cure_pa),
            ("visible defect size", self.visible_defect_mm),
        ):
            if not (math.isfinite(value) and value > 0):
                raise InputError(
                    f"The {label} is {value}", hint="give a number above zero (pressures absolute)"
                )

    @property
    def residual_factor(self) -> float:
        """Volume left / volume trapped, by Boyle's law at constant temperature."""
        return self.trap_pa / self.cure_pa

    @property
    def harmless_mm3(self) -> float:
        """Largest trapped volume that leaves no visible defect."""
        return math.pi / 6.0 * self.visible_defect_mm**3 / self.residual_factor

    def residual_diameter_mm(self, volume_mm3: float) -> float:
        """Diameter of the sphere that the air of a pocket shrinks to."""
        return (6.0 * max(volume_mm3, 0.0) * self.residual_factor / math.pi) ** (1.0 / 3.0)

    def matters(self, volume_mm3: float) -> bool:
        """Whether a pocket of this volume leaves a visible defect."""
        return self.residual_diameter_mm(volume_mm3) > self.visible_defect_mm


PROCESSES: dict[str, Process] = {
    p.name: p
    for p in (
        Process("open", "Open pour, no vacuum, no pressure", ATMOSPHERE_PA, ATMOSPHERE_PA),
        # 40 psig and 60 psig, 29 inHg: common practice, no source.
        Process("pressure", "Pressure pot at 40 psi gauge", ATMOSPHERE_PA,
                ATMOSPHERE_PA + 40 * PSI_PA),
        Process("vacuum_pressure", "Vacuum at 29 inHg gauge held, then 60 psi gauge",
                ATMOSPHERE_PA - 29 * INHG_PA, ATMOSPHERE_PA + 60 * PSI_PA),
        Process("vacuum", "Vacuum at 29 inHg gauge held, then open air",
                ATMOSPHERE_PA - 29 * INHG_PA, ATMOSPHERE_PA),
    )
}

# Fast resin under vacuum and then pressure is what the trade does to small runs. Common practice,
# no source.
DEFAULT_PROCESS = PROCESSES["vacuum_pressure"]


def process_named(name: str) -> Process:
    """Return the process of that name; InputError lists the names there are."""
    try:
        return PROCESSES[name]
    except KeyError:
        raise InputError(
            f"There is no process '{name}'", hint="choose one of " + ", ".join(PROCESSES)
        ) from None
