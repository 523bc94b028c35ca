"""Cautions, by the place at the bench where they stand. None of them says that something is safe.

Where a text rests on a published limit or rule it is named; "from memory" and "common practice, no
source" mean what they say.
"""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.shop.clock import has_pressure, has_vacuum
from pourwright.shop.process import ATMOSPHERE_PA, Process
from pourwright.shop.resin import Resin

PLACES = ("mixing", "rubber", "vacuum", "pressure", "knife", "copying")


@dataclass(frozen=True)
class Caution:
    """One hazard. place : one of `PLACES`. defer_to : who knows more. source : of the facts."""

    place: str
    hazard: str
    words: str
    defer_to: str
    source: str


ISOCYANATE = Caution(
    "mixing",
    "Isocyanate",
    "A sensitiser. Extraction, gloves, eye protection. Stop for good if you wheeze. NIOSH limit in "
    "air 0.05 mg/m3, ceiling 0.2. The EU asks for training at 0.1 % or more. This cannot assess "
    "exposure.",
    "Safety data sheet; EH40 and COSHH, or NIOSH and OSHA",
    "NIOSH recommended limit 0.05 mg/m3, ceiling 0.2 for 10 min; OSHA ceiling 0.2; EU 2020/1149: "
    "published copies",
)
HARDENER = Caution(
    "mixing",
    "Resin and hardener",
    "Gloves, eye protection, extraction; both parts can sensitise skin. Do not alter the ratio to "
    "change the speed. A large mix left in its cup heats up and may smoke. This cannot "
    "assess exposure.",
    "Safety data sheet",
    "from memory",
)
PEROXIDE = Caution(
    "mixing",
    "Peroxide catalyst and styrene",
    "Eye protection before the bottle is opened: peroxide in the eye can blind. Keep it away from "
    "heat, metal and accelerator. Extraction for styrene; no flames. This cannot assess "
    "exposure.",
    "Safety data sheet",
    "from memory",
)
TIN = Caution(
    "rubber",
    "Tin catalyst",
    "Condensation-cure silicone with a tin catalyst is classed as a hazard to reproduction. "
    "Gloves; risk in pregnancy.",
    "Safety data sheet",
    "hazard class from memory",
)
VACUUM = Caution(
    "vacuum",
    "Vacuum",
    "Look the chamber over for crazing and cracks before every use. Shield your face: a lid of "
    "250 mm carries about 5 kN.",
    "The chamber's manual; NRC, Prudent Practices in the Laboratory, 6.E",
    "NRC Prudent Practices 6.E, published copy; lid force computed",
)
PRESSURE = Caution(
    "pressure",
    "Pressure",
    "Only a rated, marked vessel with a relief valve set at or under the marked maximum and no "
    "valve in between. Stay below the mark. Never PVC. Have a home-made or altered pot inspected "
    "by a competent person or do not use it. Vent fully before you unclamp the lid.",
    "The nameplate; ASME BPVC VIII, PED or PSSR",
    "relief valve and PVC (OSHA hazard bulletin, 20 May 1988): published copies",
)
NOISE = Caution(
    "pressure",
    "Noise",
    "Wear hearing protection while the compressor runs or the pot vents: action is due from "
    "85 dBA.",
    "OSHA 1910.95",
    "OSHA 1910.95, published copy",
)
KNIFE = Caution(
    "knife",
    "Knife",
    "Cut away from you. Hold the mould in a jig, not in the hand; cut-resistant glove.",
    "",
    "common practice, no source",
)
RIGHTS = Caution(
    "copying",
    "Rights",
    "Make moulds of what is yours to copy.",
    "",
    "common practice, no source",
)

_BY_RESIN = (("isocyanate", ISOCYANATE), ("peroxide", PEROXIDE))


def resin_caution(resin: Resin) -> Caution:
    """Return what stands where this resin is mixed, by what its parts and title say they are."""
    words = f"{resin.part_a} {resin.part_b} {resin.title} {resin.name}".lower()
    for word, caution in (*_BY_RESIN, ("urethane", ISOCYANATE), ("polyester", PEROXIDE)):
        if word in words:
            return caution
    return HARDENER


def cautions_for(
    resin: Resin, process: Process, ambient_pa: float = ATMOSPHERE_PA, tin: bool = True
) -> tuple[Caution, ...]:
    """Return the cautions of a job in the order of work.

    tin : the rubber is condensation-cure silicone, or not known.
    """
    found = [TIN] if tin else []
    found += [KNIFE, resin_caution(resin)]
    if has_vacuum(process, ambient_pa):
        found.append(VACUUM)
    if has_pressure(process, ambient_pa):
        found += [PRESSURE, NOISE]
    return (*found, RIGHTS)
