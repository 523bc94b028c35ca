"""Air measured above many levels: against single volumes, cut bodies and what must hold."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_bodies import CSG_KINDS, random_body
from reference import mesh_of, parts_above

from pourwright.air import (
    AirAbove,
    JoinTree,
    Surface,
    air_above,
    find_pockets,
    join_tree,
    prepare,
    volumes_above,
)

seeds = st.integers(0, 2**32 - 1)
some = settings(max_examples=50, deadline=None)

Setting = tuple[manifold3d.Manifold, Surface, JoinTree, np.random.Generator]


def setting(seed: int) -> Setting:
    rng = np.random.default_rng(seed)
    body = random_body(CSG_KINDS[seed % len(CSG_KINDS)], rng)
    up = rng.normal(size=3)
    surface = prepare(mesh_of(body))
    return body, surface, join_tree(surface, up / np.linalg.norm(up)), rng


def groups_above(tree: JoinTree, level: float) -> np.ndarray:
    """For each maximum the number of its part of the air above a level, or -1."""
    group = np.arange(len(tree.peaks))
    for a, b, h in zip(tree.pass_a, tree.pass_b, tree.pass_height, strict=True):
        if h > level:
            group[group == group[a]] = group[b]
    group[tree.heights[tree.peaks] <= level] = -1
    _, number = np.unique(group[group >= 0], return_inverse=True)
    group[group >= 0] = number
    return group


def some_levels(tree: JoinTree, rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.uniform(tree.heights.min(), tree.heights.max(), count)


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_volumes_at_any_level_equal_the_cut_body(seed):
    body, surface, tree, rng = setting(seed)
    above = air_above(surface, tree, np.arange(len(tree.peaks)))
    shift = float(surface.centre_mm @ tree.up)
    for level in some_levels(tree, rng, 3):
        group = groups_above(tree, level)
        got = above.volumes(group, np.full(group.max() + 1, level))
        want = [v for v, _ in parts_above(body, tree.up, level + shift)]
        np.testing.assert_allclose(
            np.sort(got[got > 1e-6]), np.sort([v for v in want if v > 1e-6]), rtol=1e-5, atol=1e-7
        )


@some
@given(seeds)
def test_gathered_and_single_volumes_agree(seed):
    """Also for some of the maxima only, taken directly or out of more, each with its own level."""
    _, surface, tree, rng = setting(seed)
    every = air_above(surface, tree, np.arange(len(tree.peaks)))
    level = float(some_levels(tree, rng, 1)[0])
    group = groups_above(tree, level)
    chosen = np.flatnonzero(np.isin(group, np.flatnonzero(rng.random(group.max() + 1) < 0.6)))
    rng.shuffle(chosen)
    numbers, of_chosen = np.unique(group[chosen], return_inverse=True)
    levels = level + rng.uniform(0, 1, len(numbers)) * (tree.heights.max() - level) / 3
    single_group = np.full(len(tree.peaks), -1)
    single_group[chosen] = of_chosen
    want = volumes_above(surface, tree, single_group, levels, 0.0)
    everywhere = every.volumes(single_group, levels)
    for above in (
        air_above(surface, tree, chosen),
        air_above(surface, tree, chosen, lowest=level),
        air_above(surface, tree, chosen, lowest=levels[of_chosen]),
        every.within(chosen),
    ):
        np.testing.assert_array_equal(above.climbs, chosen)
        got = above.volumes(of_chosen, levels)
        np.testing.assert_allclose(got, want, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(everywhere, want, rtol=1e-9, atol=1e-9)


@some
@given(seeds)
def test_air_shrinks_as_the_level_rises_down_to_nothing(seed):
    _, surface, tree, _ = setting(seed)
    above = air_above(surface, tree, np.arange(len(tree.peaks)))
    levels = np.linspace(tree.floor, tree.heights.max(), 40)
    all_one = np.zeros(len(tree.peaks), dtype=np.int64)
    volume = [above.volumes(all_one, np.array([level]))[0] for level in levels]
    whole = above.volumes(all_one, np.array([-np.inf]))[0]
    assert volume[0] == pytest.approx(whole, rel=1e-9)
    assert volume[-1] == pytest.approx(0.0, abs=1e-9 * whole)
    assert (np.diff(volume) <= 1e-9 * whole).all()


@some
@given(seeds)
def test_whole_parts_have_the_volume_of_their_bodies(seed):
    body, surface, tree, _ = setting(seed)
    report = find_pockets(surface, tree.up, np.empty(0, dtype=np.int64))
    assert all(p.saddle_height_mm is None for p in report.pockets)
    assert sum(p.volume_mm3 for p in report.pockets) == pytest.approx(body.volume(), rel=1e-7)
    above = air_above(surface, tree, np.arange(len(tree.peaks)))
    got = above.volumes(report.pocket_of_climb, np.full(len(report.pockets), -np.inf))
    np.testing.assert_allclose(got, [p.volume_mm3 for p in report.pockets], rtol=1e-9)


def test_lowest_leaves_out_most_walls():
    surface = prepare(mesh_of(manifold3d.Manifold.sphere(10, 96)))
    tree = join_tree(surface, np.array([0.0, 0.0, 1.0]))
    every = np.arange(len(tree.peaks))
    whole, cap = air_above(surface, tree, every), air_above(surface, tree, every, lowest=9.0)
    assert len(whole.owner) == len(surface.faces)
    assert 0 < len(cap.owner) < 0.2 * len(surface.faces)


def test_nothing_to_measure():
    surface = prepare(mesh_of(manifold3d.Manifold.sphere(10, 12)))
    tree = join_tree(surface, np.array([0.0, 0.0, 1.0]))
    none = np.empty(0, dtype=np.int64)
    above = air_above(surface, tree, none)
    assert isinstance(above, AirAbove)
    assert above.volumes(none, np.empty(0)).tolist() == []
    assert above.within(none).volumes(none, np.array([1.0])).tolist() == [0.0]
    every = np.arange(len(tree.peaks))
    in_no_group = air_above(surface, tree, every)
    assert in_no_group.volumes(np.full(len(every), -1), np.empty(0)).tolist() == []
    assert volumes_above(surface, tree, np.full(len(tree.peaks), -1), np.empty(0), 0.0).size == 0
