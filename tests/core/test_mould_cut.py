"""The line of the cut: on the surface, least-cost, closed, in the plane of symmetry; it parts."""

from __future__ import annotations

import functools
import heapq
import itertools
from dataclasses import replace

import numpy as np
import pytest
from mould_bodies import Manifold, ball_on_plinth, beast, gate, mesh_of

from pourwright.errors import InputError
from pourwright.mould import CutPlan, MouldSettings, make_mould, plan_cut
from pourwright.mould.box import make_box
from pourwright.mould.cut import TOP, moved, shortest_way, solve_loop
from pourwright.mould.parting import find_parting, locked_mm3
from pourwright.mould.settings import BoxSettings, CutSettings
from pourwright.mould.tunnels import Polygons
from pourwright.solid import TriMesh
from pourwright.solid.gaps import GapMeter
from pourwright.solid.protect import Protection

MASTERS = {"ball": (ball_on_plinth, 8.0), "beast": (beast, 5.0), "gate": (gate, 4.0)}


@functools.cache
def cut_of(name: str) -> CutPlan:
    make, base_top = MASTERS[name]
    mesh = make()
    choices = MouldSettings(cut=CutSettings(edge_mm=2.0 if name == "gate" else 1.0))
    return plan_cut(mesh, make_box(mesh, BoxSettings()), choices, base_top_mm=base_top)


def linking_number(one: np.ndarray, other: np.ndarray) -> int:
    return int(Polygons([other]).linked_by(one)[0])


def mesh_named(name: str) -> TriMesh:
    return MASTERS[name][0]()


@pytest.mark.parametrize("name", MASTERS)
def test_every_point_is_on_the_surface(name):
    line = cut_of(name).line
    meter = GapMeter(mesh_named(name))
    middles = (line.points_mm + np.roll(line.points_mm, -1, axis=0)) / 2
    points = np.vstack([line.points_mm[::4], middles[1::5]])
    assert max(meter.gap_mm(p[None], 1.0) for p in points) < 0.01


@pytest.mark.parametrize("name", MASTERS)
def test_it_is_a_simple_closed_way_of_arcs_through_the_base(name):
    cut = cut_of(name)
    corners = cut.line.corners
    assert len(np.unique(corners)) == len(corners) and not cut.line.passes_twice
    arcs = set(map(tuple, cut.graph.arcs.tolist()))
    for pair in zip(corners.tolist(), np.roll(corners, -1).tolist(), strict=True):
        assert tuple(sorted(pair)) in arcs
    heights = cut.line.points_mm[:, 2]
    mesh = mesh_named(name)
    assert heights[0] == pytest.approx(mesh.vertices[:, 2].min(), abs=1e-6)
    assert heights.max() > mesh.vertices[:, 2].max() - 2
    for way in cut.line.way_points:
        assert way.corner in corners


def plain_dijkstra(graph, arcs, start, end) -> float:
    """Least cost by the textbook, sharing no code with the room."""
    links: dict[int, list[tuple[int, float]]] = {}
    for (a, b), price in zip(graph.arcs.tolist(), arcs.tolist(), strict=True):
        links.setdefault(a, []).append((b, price))
        links.setdefault(b, []).append((a, price))
    best, queue = {start: 0.0}, [(0.0, start)]
    while queue:
        cost, at = heapq.heappop(queue)
        if at == end:
            return cost
        if cost > best[at]:
            continue
        for to, price in links[at]:
            if cost + price < best.get(to, np.inf):
                best[to] = cost + price
                heapq.heappush(queue, (cost + price, to))
    return np.inf


def test_a_stretch_costs_no_more_than_the_least():
    cut = cut_of("beast")
    graph, arcs = cut.graph, cut.price.arcs
    ways = [w.corner for w in cut.line.way_points]
    free = np.zeros(len(graph.points), dtype=bool)
    for start, end in itertools.pairwise(ways[1:4]):
        corners, price = shortest_way(graph, arcs, start, end, free)
        assert price == pytest.approx(plain_dijkstra(graph, arcs, start, end), rel=1e-9)
        keys = graph.arcs[:, 0] * len(graph.points) + graph.arcs[:, 1]
        pairs = np.sort(np.stack([corners[:-1], corners[1:]], axis=1), axis=1)
        taken = np.searchsorted(keys, pairs[:, 0] * len(graph.points) + pairs[:, 1])
        assert arcs[taken].sum() == pytest.approx(price)


@pytest.mark.parametrize("name", ["ball", "beast"])
def test_it_lies_in_the_plane_of_symmetry_within_one_edge(name):
    cut = cut_of(name)
    assert cut.parting.opening == pytest.approx((0, -1, 0))
    assert np.abs(cut.line.points_mm[:, 1]).max() <= MouldSettings().cut.edge_mm
    assert cut.leaves.parted
    areas = [r.area_mm2 for r in cut.reports]
    assert areas[0] == pytest.approx(areas[1], rel=0.02)


def test_the_hinge_stays_as_long_as_asked():
    for hinge in (0.0, 10.0, 25.0):
        cut = cut_of("beast")
        choices = replace(MouldSettings().cut, hinge_mm=hinge)
        line = solve_loop(cut.graph, cut.price, cut.parting, cut.line.way_points, choices)
        rim = line.way_points[-1].corner
        at = int(np.flatnonzero(line.corners == rim)[0])
        kept = line.points_mm[line.cut_count - 1 : at + 1]
        length = np.linalg.norm(np.diff(kept, axis=0), axis=1).sum()
        assert hinge <= length + 1e-9 <= hinge + 2 * MouldSettings().cut.edge_mm
        np.testing.assert_array_equal(line.hinge_mm[-1], line.points_mm[0])


def test_protected_surface_is_gone_round():
    mesh = ball_on_plinth()
    angle = np.linspace(-0.6, 0.6, 60)
    patch = np.c_[15 * np.sin(0.8 + angle), 0 * angle, 20 + 15 * np.cos(0.8 + angle)]
    guard = Protection(patch, np.ones(len(patch)), 2.5)
    cut = plan_cut(
        mesh, make_box(mesh, BoxSettings()),
        MouldSettings(cut=CutSettings(opening_deg=0.0, edge_mm=1.5)),
        base_top_mm=8.0, protection=guard,
    )
    inside = guard.at(cut.line.points_mm) > 0.5
    assert inside.sum() == 0
    assert (guard.at(cut_of("ball").line.points_mm) > 0.5).sum() > 10


def test_a_way_point_is_moved_and_the_rest_solved_again():
    cut = cut_of("beast")
    number = next(i for i, w in enumerate(cut.line.way_points) if w.name == TOP)
    ways = moved(cut.graph, cut.price, cut.line.way_points, number, (0.0, 6.0, 24.0))
    line = solve_loop(cut.graph, cut.price, cut.parting, ways, MouldSettings().cut)
    assert ways[number].corner in line.corners
    assert np.abs(line.points_mm[:, 1]).max() > 4
    with pytest.raises(InputError, match="no way point 99"):
        moved(cut.graph, cut.price, ways, 99, (0, 0, 0))
    with pytest.raises(InputError, match="three way points"):
        solve_loop(cut.graph, cut.price, cut.parting, ways[:2], MouldSettings().cut)


def test_an_opening_is_found_and_slit():
    cut = cut_of("gate")
    assert cut.tunnels.count == 1 and len(cut.tunnels.loops) == 1
    loop = cut.slits_mm[0]
    # It runs round the opening, between the posts, under the beam.
    assert np.ptp(loop[:, 2]) > 15 and 8 < np.ptp(loop[:, 0]) < 18
    assert linking_number(loop, np.array([[0, -30, 12], [0, 30, 12], [0, 30, 90], [0, -30, 90.0]]))
    assert cut.leaves.parted
    for name in ("ball", "beast"):
        assert cut_of(name).tunnels.count == 0


def test_a_rod_s_ring_does_not_count_as_an_opening_of_the_figure():
    """Rods are left out: the same ball with one of them on it has no opening of its own."""

    class Rod:
        path_mm = ((-13.0, 0.0, 24.0), (-16.0, 0.0, 7.0))
        diameter_mm = 1.5

    start, end = (np.array(p) for p in Rod.path_mm)
    bead = mesh_of(Manifold.sphere(0.75, 24)).vertices
    rod = Manifold.hull_points(np.vstack([start + bead, end + bead]))
    plinth = Manifold.cylinder(8, 18, 18, 96)
    master = mesh_of(plinth + Manifold.sphere(15, 96).translate((0, 0, 20)) + rod)
    coarse = MouldSettings(cut=CutSettings(edge_mm=2.0))
    mould = make_mould(master, (0, 0, -1), coarse, base_height_mm=-8.0, rods=[Rod()])
    assert mould.cut.tunnels.count == 0
    (found,) = mould.cut.rods
    assert found.reached and found.gap_mm == 0.0
    plain = plan_cut(master, mould.box, coarse, base_top_mm=8.0)
    assert plain.tunnels.count == 1


def test_locked_rubber_by_hand():
    """Between two posts of 6 mm, 16 mm apart: along their row, rubber is locked, across it none."""
    mesh = gate(16.0)
    along = locked_mm3(mesh, np.array([1.0, 0, 0]))
    # Clear height from plinth (4) to beam (21.5); chords of two round posts in between.
    by_hand = 17.5 * (6 * 16 - np.pi * 9)
    assert along == pytest.approx(by_hand, rel=0.05)
    assert locked_mm3(mesh, np.array([0, 1.0, 0])) == pytest.approx(0.0, abs=1e-6)
    assert find_parting(mesh, CutSettings()).opening == pytest.approx((0, -1, 0))


def gauss(one: np.ndarray, two: np.ndarray) -> int:
    """Gauss's integral over polygons: the solid angle each pair of pieces sees."""
    a, b = one[:, None], np.roll(one, -1, axis=0)[:, None]
    c, d = two[None], np.roll(two, -1, axis=0)[None]
    p, q, r, s = (x / np.linalg.norm(x, axis=-1, keepdims=True)
                  for x in (c - a, d - a, d - b, c - b))

    def angle(u, v, w):
        bottom = 1 + (u * v).sum(-1) + (v * w).sum(-1) + (w * u).sum(-1)
        return 2 * np.arctan2((u * np.cross(v, w)).sum(-1), bottom)

    return round(float((angle(p, q, r) + angle(p, r, s)).sum()) / (4 * np.pi))


def test_linking_numbers():
    turn = np.linspace(0, 2 * np.pi, 40)[:-1]
    ring = np.c_[np.cos(turn), np.sin(turn), 0 * turn]
    through = np.array([[0, 0, -1], [0, 0, 1], [5, 0, 1], [5, 0, -1.0]])
    beside = through + [1.5, 0, 0]
    assert abs(linking_number(ring, through)) == 1
    assert linking_number(ring[::-1], through) == -linking_number(ring, through)
    assert linking_number(ring, beside) == 0
    rng = np.random.default_rng(5)
    for _ in range(200):  # symmetric, and as Gauss's integral says
        one, two = rng.normal(size=(9, 3)), rng.normal(size=(12, 3))
        assert linking_number(one, two) == linking_number(two, one) == gauss(one, two)
    twice = np.c_[(1 + 0.2 * np.cos(turn)) * np.cos(2 * turn),
                  (1 + 0.2 * np.cos(turn)) * np.sin(2 * turn), 0.2 * np.sin(turn)]  # fmt: skip
    assert abs(linking_number(twice, through)) == 2


def test_another_pour_direction_is_another_frame_only():
    """Master and pour turned together: the same mould, and places come back by `standing`."""
    turn = np.linalg.qr(np.random.default_rng(4).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    master, coarse = beast(), MouldSettings(cut=CutSettings(edge_mm=3.0, viewer=None))
    plain = make_mould(master, (0, 0, -1), coarse, base_height_mm=-5.0)
    other = make_mould(
        replace(master, vertices=master.vertices @ turn.T), turn @ (0, 0, -1), coarse,
        base_height_mm=-5.0,
    )  # fmt: skip
    assert other.box.inner_mm3 == pytest.approx(plain.box.inner_mm3)
    assert other.rubber.volume_mm3 == pytest.approx(plain.rubber.volume_mm3)
    back = other.standing(other.cut.line.points_mm) @ turn
    meter = GapMeter(master)
    assert max(meter.gap_mm(p[None], 1.0) for p in back[::4]) < 0.01


def test_two_openings_get_a_slit_each():
    posts = Manifold.cylinder(20, 3, 3, 24).translate((0, 0, 3))
    for x in (-18, 18):
        posts += Manifold.cylinder(20, 3, 3, 24).translate((x, 0, 3))
    beam = Manifold.cube((42, 6, 5), True).translate((0, 0, 24))
    mesh = mesh_of(posts + beam + Manifold.cube((50, 16, 4), True).translate((0, 0, 2)))
    coarse = MouldSettings(cut=CutSettings(edge_mm=3.0))
    cut = plan_cut(mesh, make_box(mesh, BoxSettings()), coarse, base_top_mm=4.0)
    assert cut.tunnels.count == 2
    middles = sorted(float(s[:, 0].mean()) for s in cut.slits_mm)
    assert middles == [pytest.approx(-9, abs=2), pytest.approx(9, abs=2)]


def test_way_points_out_of_order_make_no_line_that_meets_itself():
    """The cheapest stretches would cross; those solved later go round."""
    cut = cut_of("ball")
    ways = [*cut.line.way_points]
    ways[1], ways[2] = ways[2], ways[1]
    line = solve_loop(cut.graph, cut.price, cut.parting, ways, MouldSettings().cut)
    assert not line.passes_twice
    assert len(np.unique(line.corners)) == len(line.corners)
