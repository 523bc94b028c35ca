"""Air that the rubber traps, against cutting and taking apart, and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from mould_bodies import Manifold, mesh_of
from random_bodies import CSG_KINDS, random_body
from reference import parts_above

from pourwright.mould.box import make_box
from pourwright.mould.rubber import rubber_for
from pourwright.mould.settings import BoxSettings
from pourwright.mould.trapped import UP, _left_of, _surface_of, trapped_air
from pourwright.shop.silicone import silicone_named
from pourwright.solid.boolean import to_manifold

SETTINGS = BoxSettings(shape="rectangular", wall_mm=1, cover_mm=1, round_up_mm=0.01)


def rubber_of(master):
    return rubber_for(
        master, make_box(master, SETTINGS), silicone_named("addition"), 0.0
    ).body


def wrong_pockets(master, scale: float = 1.0) -> list[str]:
    """What differs from the reference: parts of the rubber just above each saddle."""
    rubber = rubber_of(master)
    found = trapped_air(rubber, tilts_deg=()).pockets
    body = to_manifold(rubber)
    wrong = []
    for pocket in found:
        if pocket.saddle_mm is None or pocket.peak_mm[2] - pocket.saddle_mm < 1e-4:
            continue
        parts = parts_above(body, UP, pocket.saddle_mm + 1e-5)
        if not any(
            abs(top - pocket.peak_mm[2]) < 1e-6
            and np.isclose(volume, scale * pocket.volume_mm3, rtol=1e-3, atol=1e-4)
            for volume, top in parts
        ):
            wrong.append(f"{pocket.peak_mm}: no such part")
    # And none is missed: closed parts at some levels lie in pockets found.
    heights = np.unique(np.round(rubber.vertices[:, 2], 6))
    top = heights[-1]
    for level in np.quantile(heights, (0.2, 0.5, 0.8)) + 3e-4:
        closed = [p for p in parts_above(body, UP, level) if p[1] < top - 1e-6 and p[0] > 1e-4]
        for _, peak in closed:
            if not any(
                p.peak_mm[2] >= peak - 1e-6 and (p.saddle_mm is None or p.saddle_mm <= level + 1e-6)
                for p in found
            ):
                wrong.append(f"closed part with its top at {peak} above {level} is missed")
    return wrong


@pytest.mark.parametrize("seed", range(50))
def test_pockets_are_the_parts_of_the_rubber(seed):
    rng = np.random.default_rng(1000 + seed)
    assert wrong_pockets(mesh_of(random_body(CSG_KINDS[seed % 3], rng))) == []


def test_the_reference_would_notice():
    rng = np.random.default_rng(1000)
    masters = [mesh_of(random_body("csg", rng)) for _ in range(8)]
    assert any(wrong_pockets(m, scale=1.01) for m in masters)


def bell(depth: float = 4.0):
    """A block on the board with a square hollow in the underside of its overhang."""
    post = Manifold.cube((4, 4, 20), True).translate((0, 0, 10))
    roof = Manifold.cube((30, 16, 8), True).translate((0, 0, 24))
    hollow = Manifold.cube((6, 6, depth), True).translate((9, 0, 20 + depth / 2))
    return mesh_of(post + roof - hollow)


def test_a_hollow_by_hand():
    pockets = trapped_air(rubber_of(bell())).pockets
    assert [p.volume_mm3 for p in pockets if p.matters] == [pytest.approx(6 * 6 * 4)]
    worst = pockets[0]
    assert worst.saddle_mm == pytest.approx(20) and worst.peak_mm[2] == pytest.approx(24)
    assert worst.wart_mm == pytest.approx((6 * 144 / math.pi) ** (1 / 3))
    assert worst.advice.startswith("Brush")


def test_a_shallow_dish_is_freed_by_the_least_tilt():
    """A dish with sides leaning by 22 degrees runs free once it is tilted by more than that."""
    post = Manifold.cube((4, 4, 20), True).translate((0, 0, 10))
    roof = Manifold.cube((40, 24, 8), True).translate((0, 0, 24))
    run = 2.0 / math.tan(math.radians(22))
    dish = Manifold.cylinder(2.0, 2 + run, 2, 64).translate((11, 0, 20))
    pocket = trapped_air(rubber_of(mesh_of(post + roof - dish))).pockets[0]
    assert pocket.tilt is not None and pocket.tilt.angle_deg == 25.0
    assert "degrees" in pocket.advice


def test_a_flat_roof_traps_nothing():
    body = Manifold.cube((4, 4, 20), True).translate((0, 0, 10)) + Manifold.cube(
        (30, 16, 8), True
    ).translate((0, 0, 24))
    assert not any(p.matters for p in trapped_air(rubber_of(mesh_of(body))).pockets)


def test_the_surface_round_a_pocket_is_what_lies_above_its_saddle():
    """Surface that only leads up to a pocket neither belongs to it nor holds its air."""
    air = trapped_air(rubber_of(bell()), tilts_deg=())
    report = air.report
    pocket = next(i for i, p in enumerate(air.pockets) if p.matters)
    heights = report.tree.heights + float(report.surface.centre_mm @ UP)
    own = _surface_of(report, pocket)
    below = np.flatnonzero(
        (report.pocket_of_climb[report.tree.climb] == pocket) & (heights <= 20 + 1e-9)
    )
    assert len(own) and len(below)
    assert heights[own].min() > 20
    assert _left_of(report, own) == pytest.approx(6 * 6 * 4)
    assert _left_of(report, below) == 0.0
