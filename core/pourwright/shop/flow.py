"""How fast a liquid runs through a narrow round channel (Hagen-Poiseuille), and where that ends.

A channel is a row of round sections, one after the other. Lengths are mm, volumes mm3 and times s;
pressures Pa and viscosities Pa s need no factor then: mm4 * Pa / (Pa s * mm) is mm3/s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pourwright.checks import check_number
from pourwright.errors import InputError
from pourwright.shop.resin import Resin, liquid_density_g_ml

GRAVITY_M_S2 = 9.80665  # standard gravity, exact by definition (ISO 80000-3)
# Pipe flow is laminar below about this; textbooks give 2000 to 2300 (from memory).
LAMINAR_REYNOLDS = 2000.0
# Length over diameter and Reynolds number until the profile has formed (from memory).
_ENTRY = 0.06
# In a shorter channel, in diameters, and with a longer entry, as a share of the channel, the
# losses at its mouth count as well (common practice, no source).
_SHORT, _ENTRY_SHARE = 5.0, 0.1

_POSITIVE = (1e-12, 1e12)


@dataclass(frozen=True)
class Liquid:
    """A liquid as it is poured.

    Raises InputError for a number that is not above zero.
    """

    viscosity_pa_s: float
    density_kg_m3: float

    def __post_init__(self) -> None:
        check_number("The viscosity in Pa s", self.viscosity_pa_s, *_POSITIVE)
        check_number("The density in kg/m3", self.density_kg_m3, *_POSITIVE)


@dataclass(frozen=True)
class Section:
    """A round piece of a channel, mm. Raises InputError for a number that is not above zero."""

    diameter_mm: float
    length_mm: float

    def __post_init__(self) -> None:
        check_number("The diameter of a channel in mm", self.diameter_mm, *_POSITIVE)
        check_number("The length of a channel in mm", self.length_mm, *_POSITIVE)


@dataclass(frozen=True)
class Flow:
    """Flow through a channel under a constant head.

    flow_mm3_s : by Hagen-Poiseuille, but never more than a free jet out of its narrowest section.
    speed_m_s, reynolds : in the narrowest section. laminar : Reynolds number at most 2000.
    notes : where the model does not hold, a sentence each; empty where it does.
    """

    flow_mm3_s: float
    speed_m_s: float
    reynolds: float
    laminar: bool
    notes: tuple[str, ...]


def liquid_of(resin: Resin) -> Liquid:
    """Return a resin as it is poured; its density as `liquid_density_g_ml` has it."""
    return Liquid(resin.viscosity_mpa_s / 1000.0, liquid_density_g_ml(resin) * 1000.0)


def head_pa(density_kg_m3: float, height_mm: float) -> float:
    """Return the pressure under a column of liquid."""
    return density_kg_m3 * GRAVITY_M_S2 * height_mm / 1000.0


def resistance_per_mm3(sections: Sequence[Section]) -> float:
    """Return pressure over flow and viscosity, 128 L / (pi d^4), summed along the channel."""
    if not sections:
        raise InputError("A channel has no sections", hint="give one at least")
    return sum(128.0 * s.length_mm / (math.pi * s.diameter_mm**4) for s in sections)


def flow_mm3_s(sections: Sequence[Section], viscosity_pa_s: float, pressure_pa: float) -> float:
    """Return the laminar flow that a pressure difference drives through a channel."""
    check_number("The viscosity in Pa s", viscosity_pa_s, *_POSITIVE)
    check_number("The pressure in Pa", pressure_pa, 0.0, _POSITIVE[1])
    return pressure_pa / (viscosity_pa_s * resistance_per_mm3(sections))


def pressure_pa(sections: Sequence[Section], viscosity_pa_s: float, flow_mm3_s: float) -> float:
    """Return the pressure difference that drives a laminar flow through a channel."""
    check_number("The viscosity in Pa s", viscosity_pa_s, *_POSITIVE)
    check_number("The flow in mm3/s", flow_mm3_s, 0.0, _POSITIVE[1])
    return flow_mm3_s * viscosity_pa_s * resistance_per_mm3(sections)


def fill_time_s(
    sections: Sequence[Section],
    liquid: Liquid,
    volume_mm3: float,
    head_mm: float,
    end_head_mm: float | None = None,
) -> float:
    """Return how long a volume takes to fill through a channel.

    head_mm : height of the free surface above the level behind the channel.
    end_head_mm : the same once the volume is full, None where it stays as it is. Between the two
    it falls in step with the volume, which makes the mean head the logarithmic one.
    """
    check_number("The volume in mm3", volume_mm3, 0.0, _POSITIVE[1])
    check_number("The head in mm", head_mm, *_POSITIVE)
    mean_mm = head_mm
    if end_head_mm is not None:
        check_number("The head at the end in mm", end_head_mm, _POSITIVE[0], head_mm)
        fallen = (head_mm - end_head_mm) / head_mm
        if fallen > 1e-9:  # under it the logarithm has no digits left, and the mean no need of it
            mean_mm = head_mm * fallen / -math.log1p(-fallen)
    driving_pa = head_pa(liquid.density_kg_m3, mean_mm)
    return volume_mm3 / flow_mm3_s(sections, liquid.viscosity_pa_s, driving_pa)


def diameter_for_mm(
    length_mm: float, liquid: Liquid, volume_mm3: float, head_mm: float, time_s: float
) -> float:
    """Return the diameter of the round channel through which a volume fills in a given time.

    The head is constant. Halving the time takes a channel 2^(1/4) = 1.19 times as wide.
    """
    check_number("The volume in mm3", volume_mm3, *_POSITIVE)
    check_number("The time in s", time_s, *_POSITIVE)
    check_number("The head in mm", head_mm, *_POSITIVE)
    unit = Section(1.0, length_mm)
    pressure = head_pa(liquid.density_kg_m3, head_mm)
    flow = flow_mm3_s([unit], liquid.viscosity_pa_s, pressure)
    return (volume_mm3 / time_s / flow) ** 0.25


def torricelli_m_s(head_mm: float) -> float:
    """Return the speed of a free jet without any friction: no channel lets more through."""
    check_number("The head in mm", head_mm, 0.0, _POSITIVE[1])
    return math.sqrt(2.0 * GRAVITY_M_S2 * head_mm / 1000.0)


def reynolds(flow_mm3_s: float, diameter_mm: float, liquid: Liquid) -> float:
    """Return the Reynolds number 4 rho Q / (pi d mu) of a flow in a round channel."""
    # mm3/s over mm is mm2/s: 1e-6 m2/s.
    speed_length_m2_s = 4.0 * flow_mm3_s / (math.pi * diameter_mm) * 1e-6
    return liquid.density_kg_m3 * speed_length_m2_s / liquid.viscosity_pa_s


def entry_length_mm(reynolds_number: float, diameter_mm: float) -> float:
    """Return the length until laminar flow has its final profile, 0.06 Re d (from memory)."""
    return _ENTRY * reynolds_number * diameter_mm


def flow_under_head(sections: Sequence[Section], liquid: Liquid, head_mm: float) -> Flow:
    """Return the flow through a channel under a constant head, and what the model leaves out."""
    check_number("The head in mm", head_mm, *_POSITIVE)
    viscous = flow_mm3_s(
        sections, liquid.viscosity_pa_s, head_pa(liquid.density_kg_m3, head_mm)
    )
    narrow = min(sections, key=lambda s: s.diameter_mm)
    area_mm2 = math.pi / 4.0 * narrow.diameter_mm**2
    jet = torricelli_m_s(head_mm)
    flow = min(viscous, jet * 1000.0 * area_mm2)
    number = reynolds(flow, narrow.diameter_mm, liquid)
    length = sum(s.length_mm for s in sections)
    entry = entry_length_mm(number, narrow.diameter_mm)
    notes = []
    if number > LAMINAR_REYNOLDS:
        notes.append(
            f"The Reynolds number is {number:.0f}, above {LAMINAR_REYNOLDS:.0f}: the flow is "
            "turbulent and slower than computed"
        )
    if flow < viscous:
        notes.append(
            f"Friction would allow more than a free jet of {jet:.3g} m/s, so the jet is taken: "
            "an upper bound"
        )
    elif entry > _ENTRY_SHARE * length:
        notes.append(
            f"The flow takes {entry:.2g} mm of the {length:.2g} mm to form its profile: it is "
            "slower than computed"
        )
    if length < _SHORT * narrow.diameter_mm:
        notes.append(
            f"The channel is only {length / narrow.diameter_mm:.2g} diameters long: losses at "
            "its mouth, which are left out, count as well"
        )
    return Flow(flow, flow / area_mm2 / 1000.0, number, number <= LAMINAR_REYNOLDS, tuple(notes))
