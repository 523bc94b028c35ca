"""The layered sweep against scikit-image's least-cost paths with the same upward steps."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from grid_oracle import cheapest, costs_down_from

from pourwright.vents.sweep import moves_for, sweep

SHAPES = ((9, 12, 11), (14, 8, 9), (20, 10, 10))


def world(seed: int, share: float, shape: tuple[int, int, int]):
    """Random clear voxels with the top open and some priced ends below it."""
    rng = np.random.default_rng(seed)
    clear = rng.random(shape) < share
    ends = np.full(shape, np.inf, dtype=np.float32)
    ends[-1] = 0.25
    inside = rng.random(shape) < 0.02
    ends[inside] = rng.uniform(0.5, 30, int(inside.sum()))
    return SimpleNamespace(shape=shape, pitch_mm=float(rng.uniform(0.2, 1.0))), clear, ends, rng


@pytest.mark.parametrize("slope_deg", [12.0, 20.0, 30.0, 45.0, 60.0])
@pytest.mark.parametrize("share", [0.15, 0.5, 0.9])
def test_cost_of_every_voxel_is_the_oracles(slope_deg, share):
    moves, reached, blocked = moves_for(slope_deg), 0, 0
    for seed, shape in enumerate(SHAPES):
        grid, clear, ends, _ = world(seed, share, shape)
        routes = sweep(grid, clear, ends, moves)
        oracle = costs_down_from(clear, ends, moves, grid.pitch_mm)
        assert np.array_equal(np.isfinite(routes.cost), np.isfinite(oracle))
        there = np.isfinite(oracle)
        np.testing.assert_allclose(routes.cost[there], oracle[there], rtol=2e-6)
        reached, blocked = reached + there.sum(), blocked + (~there & clear).sum()
    assert reached > 50
    assert blocked > 0 or share > 0.5 or slope_deg < 45


def test_the_oracle_sees_what_a_wider_step_costs():
    """A detour by two steps of one voxel and one step over two are told apart."""
    grid = SimpleNamespace(shape=(3, 1, 3), pitch_mm=1.0)
    clear = np.ones(grid.shape, dtype=bool)
    clear[2, 0, :2] = False
    ends = np.full(grid.shape, np.inf, dtype=np.float32)
    ends[2, 0, 2] = 0.0
    wide = costs_down_from(clear, ends, moves_for(20.0), 1.0)
    assert wide[1, 0, 0] == pytest.approx(np.sqrt(5))
    assert wide[0, 0, 0] == pytest.approx(2 * np.sqrt(2))
    narrow = costs_down_from(clear, ends, moves_for(45.0), 1.0)
    assert np.isinf(narrow[1, 0, 0])
    assert narrow[0, 0, 0] == pytest.approx(2 * np.sqrt(2))


def test_paths_rise_a_layer_a_step_through_clear_voxels_and_add_up():
    for seed, slope in enumerate((15.0, 20.0, 45.0)):
        grid, clear, ends, rng = world(seed, 0.7, (16, 12, 12))
        moves = moves_for(slope)
        routes = sweep(grid, clear, ends, moves)
        starts = np.argwhere(np.isfinite(routes.cost))
        for start in starts[rng.choice(len(starts), 60, replace=False)]:
            path = routes.path(tuple(int(c) for c in start))
            assert tuple(path[0]) == tuple(start)
            steps = np.diff(path, axis=0)
            assert (steps[:, 0] == 1).all()
            assert clear[tuple(path.T)].all()
            allowed = {(int(a), int(b)) for a, b in moves}
            assert all((int(a), int(b)) in allowed for _, a, b in steps)
            length = np.linalg.norm(steps, axis=1).sum() * grid.pitch_mm
            last = float(ends[tuple(path[-1])])
            assert np.isfinite(last)
            assert routes.cost[tuple(start)] == pytest.approx(length + last, rel=1e-5)


def test_below_the_floor_nothing_is_known_and_above_it_nothing_changes():
    grid, clear, ends, _ = world(7, 0.8, (15, 10, 10))
    whole = sweep(grid, clear, ends, moves_for(20.0))
    part = sweep(grid, clear, ends, moves_for(20.0), 6)
    assert np.isinf(part.cost[:6]).all()
    assert np.array_equal(part.cost[6:], whole.cost[6:])


def test_a_route_stops_where_ending_is_as_cheap_as_going_on():
    """Ends cheaper than going on are taken, and no route runs on from one."""
    grid, clear, ends, _ = world(3, 0.6, (12, 10, 10))
    routes = sweep(grid, clear, ends, moves_for(20.0))
    stops = np.isfinite(routes.cost) & (routes.cost == ends)
    assert stops[:-1].any()
    for start in np.argwhere(stops):
        assert len(routes.path(tuple(int(c) for c in start))) == 1


@pytest.mark.parametrize("slope_deg", [11.5, 20.0, 26.0, 30.0, 45.0, 60.0, 89.0])
def test_moves_are_all_that_are_steep_enough(slope_deg):
    moves = {(int(a), int(b)) for a, b in moves_for(slope_deg)}
    for dy in range(-6, 7):
        for dx in range(-6, 7):
            run = float(np.hypot(dy, dx))
            steep = run <= 1 / np.tan(np.radians(slope_deg)) + 1e-9
            assert ((dy, dx) in moves) == (steep and run <= 5.0 + 1e-9), (dy, dx)


def test_the_whole_search_from_priced_starts_is_the_sweeps_best():
    """The oracle used on real figures, which starts from many voxels at once."""
    for seed in range(6):
        grid, clear, ends, rng = world(seed, 0.5, (15, 9, 9))
        moves = moves_for(20.0)
        routes = sweep(grid, clear, ends, moves)
        start = np.where(rng.random(grid.shape) < 0.05, rng.uniform(1, 9, grid.shape), np.inf)
        start[8:] = np.inf
        best = cheapest(clear, start, ends.astype(float), moves, grid.pitch_mm)
        assert best == pytest.approx(float((start + routes.cost)[clear].min()), rel=1e-5)
    assert np.isinf(cheapest(clear, np.full(grid.shape, np.inf), ends.astype(float), moves, 1.0))
