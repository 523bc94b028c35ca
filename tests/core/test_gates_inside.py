"""The inside on a grid and its slices, against the same counted one voxel at a time."""

from __future__ import annotations

import itertools
import math

import networkx
import numpy as np
import pytest
from gate_figures import ball, rod
from shapes import as_mesh, box

from pourwright.gates.filled import FULL, Filled, Stretches, filled, longest
from pourwright.gates.inside import Slices, sliced, slices_of

Voxel = tuple[int, int, int]
SIDES = [v for v in itertools.product((-1, 0, 1), repeat=3) if sum(map(abs, v)) == 1]
AROUND = [v for v in itertools.product((-1, 0, 1), repeat=3) if any(v)]


def grid_of(seed: int, bodies: int) -> Filled:
    """Voxels thrown at random, with a rim, some of them filled by less than half."""
    chance = np.random.default_rng(seed)
    shape = tuple(chance.integers(6, 15, size=3))
    inside = np.zeros(shape, dtype=bool)
    core = inside[1:-1, 1:-1, 1:-1]
    core[:] = chance.random(core.shape) < chance.choice([0.15, 0.3, 0.6, 0.9])
    if seed % 2:  # ways that wind: walls with a hole each
        core[1::3] &= chance.random(core[1::3].shape) < 0.1
    core[-1, 0, 0] = True
    share = np.where(inside, chance.integers(FULL // 2, FULL + 1, size=shape), 0)
    thin = chance.random(shape) < 0.1
    thin[0] = False
    share[thin & ~inside] = FULL // 3
    voxel = np.flatnonzero(inside)
    return Filled(
        voxel=voxel,
        body=chance.integers(0, bodies, len(voxel)).astype(np.int32),
        radius_mm=chance.random(len(voxel)).astype(np.float32),
        share=share.astype(np.int32),
        low_mm=np.array([1.0, 2.0, 3.0]),
        pitch_mm=0.5,
    )


def near(voxel: Voxel, moves: list[Voxel]) -> list[Voxel]:
    return [(voxel[0] + z, voxel[1] + y, voxel[2] + x) for z, y, x in moves]


def levels(body: dict[Voxel, int], top: int) -> dict[Voxel, int]:
    """Level of each voxel, a front at a time."""
    front = {v for v in body if v[0] == top}
    step = dict.fromkeys(front, 0)
    now = 0
    while True:
        while front:
            moves = AROUND if now % 3 == 2 else SIDES
            now += 1
            front = {
                w for v in front for w in near(v, moves)
                if w in body and w not in step and body[w] == body[v]
            }  # fmt: skip
            step.update(dict.fromkeys(front, now))
        left = body.keys() - step.keys()
        if not left:
            return {v: s // 3 for v, s in step.items()}
        now += 6 - now % 3
        front = {max(left)}
        step.update(dict.fromkeys(front, now))


@pytest.mark.parametrize("bodies", [1, 3])
@pytest.mark.parametrize("seed", range(7))
def test_slices_one_voxel_at_a_time(seed, bodies):
    grid = grid_of(seed, bodies)
    shape = grid.share.shape
    place = [tuple(v) for v in np.stack(np.unravel_index(grid.voxel, shape), axis=1).tolist()]
    body = dict(zip(place, grid.body.tolist(), strict=True))
    level = levels(body, shape[0] - 2)
    found = slices_of(grid)
    number = {v: int(found.number[v]) for v in place}
    assert (found.number >= 0).sum() == len(place)
    links, slices = set(), networkx.Graph()
    slices.add_nodes_from(place)
    for v in place:
        for w in near(v, AROUND):
            if w not in body or body[v] != body[w]:
                continue
            if level[v] == level[w]:
                slices.add_edge(v, w)
            else:
                links.add((min(number[v], number[w]), max(number[v], number[w])))
    parts = list(networkx.connected_components(slices))
    assert len(parts) == len(found.volume_mm3)
    for part in parts:
        (own,) = {number[v] for v in part}
        assert {body[v] for v in part} == {found.body[own]}
        radii = grid.radius_mm[[place.index(v) for v in part]]
        assert found.radius_mm[own] == radii.max()
        middle = np.mean([v[::-1] for v in part], axis=0) * 0.5 + grid.low_mm
        np.testing.assert_allclose(found.middle_mm[own], middle)
        top = max(v[0] for v in part)
        assert found.top_mm[own] == pytest.approx(3.0 + (top + 0.5) * 0.5)
        assert found.source[own] == (top == shape[0] - 2)
    assert links == set(zip(found.link_a.tolist(), found.link_b.tolist(), strict=True))
    np.testing.assert_allclose(found.volume_mm3.sum(), shares_by_hand(grid, found))


def shares_by_hand(grid: Filled, found: Slices) -> float:
    """All voxels that are inside, and those filled a little beside one that is, mm3."""
    count = 0
    for v in zip(*np.nonzero(grid.share), strict=True):
        around = [w for w in near(v, AROUND) if min(w) >= 0 and np.less(w, grid.share.shape).all()]
        if found.number[v] >= 0 or any(found.number[w] >= 0 for w in around):
            count += int(grid.share[v])
    return count / FULL * 0.5**3


def test_shares_add_up_to_the_volume_of_each_body():
    bodies = [as_mesh(b) for b in (box((-6, -6, 0), (6, 6, 4)), ball(3, -5), rod(0.2, -9, 0, 8))]
    grid = filled(bodies, 4.0, 0.5)
    assert grid.share.min() == 0 and grid.share.max() == FULL
    assert grid.share.sum() / FULL * 0.5**3 == pytest.approx(
        sum(b.volume_mm3 for b in bodies), rel=0.01
    )
    for number, body in enumerate(bodies):
        z, y, x = np.unravel_index(grid.voxel[grid.body == number], grid.share.shape)
        points = grid.low_mm + 0.5 * np.stack([x, y, z], axis=1)
        low, high = body.bounds_mm
        assert len(points) and (points > low - 0.5).all() and (points < high + 0.5).all()


@pytest.mark.parametrize("thick", [0.2, 0.9, 2.3])
def test_a_flat_sheet_is_as_thick_as_it_is(thick):
    """Thinner than the grid too: the lines know."""
    sheet, block = as_mesh(box((-9, -9, 0), (9, 9, thick))), as_mesh(box((-9, -9, 20), (9, 9, 40)))
    grid = filled([sheet, block], 40.0, 0.8)
    assert grid.radius_mm[grid.body == 0].max() == pytest.approx(max(thick / 2, 0.2), rel=1e-5)
    assert grid.radius_mm[grid.body == 1].max() == pytest.approx(9.0, abs=1.0)


def test_the_longest_of_the_stretches_through_a_voxel_counts():
    column = np.array([4, 4, 4, 7], dtype=np.int32)
    low, high = np.array([1.5, 0.25, 1.75, 2.0]), np.array([4.25, 1.75, 2.0, 3.0])
    for order in (slice(None), slice(None, None, -1)):
        found = longest([Stretches(column[order], low[order], high[order])], (5, 3, 3))
        assert found[:, 1, 1].tolist() == [1.5, 2.75, 2.75, 2.75, 2.75]
        assert found[:, 2, 1].tolist() == [0, 0, 1, 0, 0]


def test_a_thick_ball_is_as_thick_as_it_is_up_to_the_reach():
    for radius in (3.0, 20.0):
        grid = filled([as_mesh(ball(radius, 0))], radius, 0.5)
        assert grid.radius_mm.max() == pytest.approx(min(radius, 15.35 * 0.5), abs=0.3)


def test_coarser_where_it_has_to_be():
    grid = filled([as_mesh(box((-60, -60, 0), (60, 60, 60)))], 60.0, 0.1)
    assert 0.7 < grid.pitch_mm < 1.1 and len(grid.voxel) < 1_300_000
    one = sliced([as_mesh(box((-6, -6, 0), (6, 6, 6)))], 6.0, 0.5)
    assert math.isclose(one.volume_mm3.sum(), 864, rel_tol=0.01) and one.pitch_mm == 0.5
