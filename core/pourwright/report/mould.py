"""What the report of a plan says of the mould."""

from __future__ import annotations

from collections.abc import Sequence

from pourwright.mould import Mould, MouldBox
from pourwright.report import text
from pourwright.report.text import INDENT

_KNIFE = (
    "Cut away from you, with the mould held in a jig and a cut-resistant glove on the other hand."
)


def mould_lines(mould: Mould | None) -> str:
    """Return box, panels, rubber, the air it traps, and the cut; "" where none is planned."""
    if mould is None:
        return ""
    box, rubber, cut = mould.box, mould.rubber, mould.cut
    warts = sum(p.matters for p in mould.trapped.pockets)
    reached = sum(rod.reached for rod in cut.rods)
    deepest = max(leaf.deepest_mm for leaf in cut.reports)
    return text.joined(
        f"Mould: {_inner(box)} inside up to the fill line, {box.wall_mm:g} mm of rubber or more",
        text.table(
            ("piece", "count", "width mm", "height mm"),
            [
                (p.name, str(p.count), f"{p.width_mm:.1f}", f"{p.height_mm:.1f}")
                for p in box.panels
            ],
            "<>>>",
        ),
        *(f"{INDENT}{fit.message}" for fit in mould.fits),
        f"Rubber: {rubber.silicone.title}",
        f"{INDENT}in the box {rubber.volume_mm3 / 1000:9.1f} ml",
        f"{INDENT}to mix     {rubber.to_mix_ml:9.1f} ml  in {rubber.mixes} "
        f"{'mix' if rubber.mixes == 1 else 'mixes'}",
        f"{INDENT}part A     {text.grams(rubber.part_a_g):>9} g   {rubber.silicone.part_a}",
        f"{INDENT}part B     {text.grams(rubber.part_b_g):>9} g   {rubber.silicone.part_b}",
        *(f"{INDENT}{note}." for note in rubber.notes),
        f"{INDENT}It traps air in {text.count(len(mould.trapped.pockets), 'place')}, of which "
        f"{warts or 'none'} would leave a wart that can be seen.",
        f"Cut: {cut.line.length_mm:.0f} mm round, opens towards "
        f"{text.direction(_opening(mould))}, {text.count(len(cut.slits_mm), 'opening')} to slit",
        f"{INDENT}{reached} of {text.count(len(cut.rods), 'rod')} come out with the cut; "
        "the others are broken off first or slit along, see plan.json",
        f"{INDENT}the rubber has to stretch over {deepest:.1f} mm at most",
        f"{INDENT}{_KNIFE}",
    )


def _inner(box: MouldBox) -> str:
    along, across, height = box.size_mm
    if box.shape == "round":
        return f"a tube {along:g} mm wide and {height:g} mm high"
    return f"a box {along:g} x {across:g} x {height:g} mm"


def _opening(mould: Mould) -> Sequence[float]:
    x, y, z = (float(c) for c in mould.standing(mould.cut.parting.opening[None])[0])
    return (x, y, z)
