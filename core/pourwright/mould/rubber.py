"""The rubber: how much the box takes, what to weigh out, and in how many mixes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pourwright.checks import check_number
from pourwright.errors import GeometryError
from pourwright.mould.box import MouldBox, inside_of
from pourwright.shop.resin import mix
from pourwright.shop.silicone import Silicone
from pourwright.solid import boolean
from pourwright.solid.mesh import TriMesh

# Rubber foams up while it is degassed: a cup of this many times the mix holds it.
CUP_TIMES_MIX = 4.0
# Of a chamber's inner diameter and height, what a cup in it may take: hands have to get round it.
_CUP_ROOM_MM = 20.0
_AGREE = 1e-6


@dataclass(frozen=True, eq=False)
class Rubber:
    """Rubber for one mould.

    body : the rubber itself as a closed mesh, frame of the board.
    box_mm3, master_mm3, volume_mm3 : of the box up to the fill line, of the master in it with its
    closed hollows, which no rubber reaches (`hollow_mm3` of it), and of the rubber between.
    to_mix_ml, part_a_g, part_b_g : with the margin, all mixes together.
    mixes : how many; mix_ml, cup_ml : of one of them, and the cup that it is degassed in.
    notes : what to do at the bench, a sentence each.
    """

    body: TriMesh
    silicone: Silicone
    box_mm3: float
    master_mm3: float
    hollow_mm3: float
    volume_mm3: float
    to_mix_ml: float
    part_a_g: float
    part_b_g: float
    mixes: int
    mix_ml: float
    cup_ml: float
    notes: tuple[str, ...]


def rubber_for(
    master: TriMesh,
    box: MouldBox,
    silicone: Silicone,
    margin: float,
    *,
    cup_ml: float | None = None,
    chamber_mm: tuple[float, float] | None = None,
) -> Rubber:
    """Return the rubber round a master in its box.

    master : closed, frame of the board. margin : share mixed beyond the volume.
    cup_ml : of the largest cup at hand. chamber_mm : inner diameter and height of the vacuum
    chamber, which limits the cup; None where there is none.

    The body is box less master by a boolean; its volume must be the difference of the two volumes,
    or GeometryError is raised.
    """
    inside = inside_of(box)
    whole, hollow = boolean.without_voids(master)
    body = boolean.difference(inside, [whole], "rubber")
    volume, expected = body.volume_mm3, inside.volume_mm3 - whole.volume_mm3
    if abs(volume - expected) > _AGREE * box.inner_mm3:
        raise GeometryError(
            f"Box less master is {volume:.6g} mm3, but their volumes differ by {expected:.6g}",
            hint="the master reaches out of its box, or its faces cross each other",
        )
    mixed = mix(silicone, volume / 1000.0, margin)
    mixes, one_cup = _mixes(mixed.to_mix_ml, cup_ml, chamber_mm)
    return Rubber(
        body=body,
        silicone=silicone,
        box_mm3=box.inner_mm3,
        master_mm3=whole.volume_mm3,
        hollow_mm3=hollow,
        volume_mm3=volume,
        to_mix_ml=mixed.to_mix_ml,
        part_a_g=mixed.part_a_g,
        part_b_g=mixed.part_b_g,
        mixes=mixes,
        mix_ml=mixed.to_mix_ml / mixes,
        cup_ml=one_cup,
        notes=_notes(silicone, mixed.to_mix_ml, mixes, one_cup),
    )


def chamber_cup_ml(diameter_mm: float, height_mm: float) -> float:
    """Return the largest straight cup that stands in a chamber with room for a hand round it."""
    across = diameter_mm - _CUP_ROOM_MM
    tall = height_mm - _CUP_ROOM_MM
    return math.pi / 4 * max(across, 0.0) ** 2 * max(tall, 0.0) / 1000.0


def _mixes(
    to_mix_ml: float, cup_ml: float | None, chamber_mm: tuple[float, float] | None
) -> tuple[int, float]:
    """Number of mixes, and the cup of each: four times the mix or more."""
    largest = math.inf
    if cup_ml is not None:
        largest = check_number("The cup in ml", cup_ml, 1.0, 1e6)
    if chamber_mm is not None:
        check_number("The chamber's diameter in mm", chamber_mm[0], _CUP_ROOM_MM + 10.0, 5000.0)
        check_number("The chamber's height in mm", chamber_mm[1], _CUP_ROOM_MM + 10.0, 5000.0)
        largest = min(largest, chamber_cup_ml(*chamber_mm))
    count = max(math.ceil(CUP_TIMES_MIX * to_mix_ml / largest - 1e-9), 1)
    return count, CUP_TIMES_MIX * to_mix_ml / count


def _notes(silicone: Silicone, to_mix_ml: float, mixes: int, cup_ml: float) -> tuple[str, ...]:
    notes = [
        f"Degas in a cup of {cup_ml:.0f} ml or more, {CUP_TIMES_MIX:g} times the mix: it foams up"
    ]
    if mixes > 1:
        notes.append(
            f"Make {mixes} mixes of {to_mix_ml / mixes:.0f} ml, each poured while the one before "
            f"is wet, within its pot life of {silicone.pot_life_min:g} min"
        )
    notes.append(
        "If it turns out too little, do not mix more in a hurry: cured silicone takes a second "
        "pour of the same kind (common practice, no source)"
    )
    if silicone.inhibited_by:
        notes.append(f"Cure is inhibited by {silicone.inhibited_by}")
    return tuple(notes)
