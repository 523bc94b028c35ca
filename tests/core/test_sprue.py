"""Bases and funnel: right sizes and volumes, drained underside, settings that make no body."""

from __future__ import annotations

import numpy as np
import pytest
from shapes import as_mesh, box

from pourwright.air import find_pockets, prepare, top_plane_vertices
from pourwright.errors import InputError
from pourwright.solid import boolean
from pourwright.solid.topology import is_watertight
from pourwright.sprue import BASE_KINDS, BaseSettings, FunnelSettings, build_sprue
from pourwright.sprue.base import _OUTLINES

FIGURE = as_mesh(box((-5, -3, 0), (5, 3, 40)))
DOWN = np.array([0.0, 0.0, -1.0])


def frustum_mm3(r1: float, r2: float, h: float) -> float:
    return np.pi * h / 3 * (r1 * r1 + r1 * r2 + r2 * r2)


def test_every_kind_has_an_outline():
    assert set(_OUTLINES) == set(BASE_KINDS)


def test_round_plinth_volume_by_formula():
    """Frustum with 96 sides: (sides / 2 pi) sin(2 pi / sides) of the round one."""
    base = BaseSettings("round_plinth", width_mm=40, height_mm=8, draft_deg=10)
    sprue = build_sprue(FIGURE, base, FunnelSettings(enabled=False))
    round_one = frustum_mm3(20, 20 + 8 * np.tan(np.radians(10)), 8)
    many_sided = 96 / (2 * np.pi) * np.sin(2 * np.pi / 96)
    assert sprue.base.volume_mm3 == pytest.approx(round_one * many_sided, rel=1e-9)
    assert sprue.funnel is None


def test_frustum_formula_itself():
    """Moscow papyrus, problem 14: square frustum 4, 2, height 6 holds 56; the cone one derived."""
    assert 6 / 3 * (4 * 4 + 4 * 2 + 2 * 2) == 56
    assert frustum_mm3(3, 2, 5) == pytest.approx(99.484, abs=5e-4)


@pytest.mark.parametrize("kind", BASE_KINDS)
@pytest.mark.parametrize("size", [None, 25.0, 60.0])
@pytest.mark.parametrize("closed", [True, False])
def test_bases_are_closed_and_drained(kind, size, closed):
    base = BaseSettings(kind, width_mm=size, depth_mm=size)
    sprue = build_sprue(FIGURE, base, FunnelSettings(enabled=closed, height_mm=20))
    parts = [sprue.base] if sprue.funnel is None else [sprue.base, sprue.funnel]
    body = boolean.union(parts)
    assert is_watertight(body)
    assert len(boolean.pieces(body)) == 1
    assert body.bounds_mm[0, 2] == pytest.approx(sprue.board_z_mm, abs=1e-9)
    surface = prepare(body)
    assert find_pockets(surface, DOWN, top_plane_vertices(surface, DOWN)).pockets == ()


@pytest.mark.parametrize("kind", BASE_KINDS)
def test_a_flat_closed_underside_leaves_no_air_but_a_dished_one_would(kind):
    """The slope towards the funnel is what drains it: turned the other way air would stay."""
    sprue = build_sprue(FIGURE, BaseSettings(kind), FunnelSettings())
    body = boolean.union([sprue.base, sprue.funnel])
    surface = prepare(body)
    tilted = np.array([np.sin(0.3), 0, -np.cos(0.3)])  # 17 degrees, more than the 5 of the crown
    open_mouth = top_plane_vertices(surface, DOWN)
    assert find_pockets(surface, tilted, open_mouth).pockets


@pytest.mark.parametrize("kind", BASE_KINDS)
def test_automatic_size_holds_the_feet_and_the_centre_of_mass(kind):
    leaning = as_mesh(box((0, 0, 0), (6, 6, 30)))
    top = as_mesh(box((0, 0, 25), (60, 6, 45)))
    figure = boolean.union([leaning, top])
    base = BaseSettings(kind, margin_mm=3)
    sprue = build_sprue(figure, base, FunnelSettings(enabled=False))
    low, high = sprue.base.bounds_mm
    assert (low[:2] <= np.array([-3, -3]) + 1e-6).all()
    assert high[0] >= 27 + 3  # the centre of mass lies near x = 29


@pytest.mark.parametrize("kind", BASE_KINDS)
def test_a_base_of_a_given_size_goes_where_the_figure_stands(kind):
    figure = boolean.union([as_mesh(box((-4, -4, 0), (4, 4, 40))),
                            as_mesh(box((0, -4, 6), (60, 4, 20)))])
    sprue = build_sprue(figure, BaseSettings(kind, width_mm=24, depth_mm=24), FunnelSettings())
    middle = sprue.base.bounds_mm.mean(axis=0)
    assert middle[:2] == pytest.approx((0, 0), abs=1e-6)


@pytest.mark.parametrize("kind", BASE_KINDS)
def test_automatic_size_holds_the_funnel_under_a_thin_figure(kind):
    needle = as_mesh(box((-0.5, -0.5, 0), (0.5, 0.5, 40)))
    sprue = build_sprue(needle, BaseSettings(kind, margin_mm=0), FunnelSettings())
    assert (np.ptp(sprue.base.bounds_mm, axis=0)[:2] >= 12 - 1e-9).all()


def test_the_figure_sinks_in_by_the_embed_depth():
    sprue = build_sprue(FIGURE, BaseSettings(embed_mm=1.5, height_mm=7), FunnelSettings())
    assert sprue.top_z_mm == pytest.approx(1.5)
    assert sprue.base.bounds_mm[1, 2] == pytest.approx(1.5)


def test_a_neck_wider_than_the_base_is_refused():
    with pytest.raises(InputError, match="neck"):
        build_sprue(
            FIGURE, BaseSettings(width_mm=10), FunnelSettings(neck_mm=20, mouth_mm=30)
        )


def test_a_slope_that_eats_the_funnel_is_refused():
    with pytest.raises(InputError, match="slope"):
        build_sprue(FIGURE, BaseSettings(width_mm=200), FunnelSettings(height_mm=5))
