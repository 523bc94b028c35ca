"""What a direction is judged by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pose_bodies import Manifold, pose_body, solid_of

from pourwright.air import find_pockets, prepare
from pourwright.errors import InputError
from pourwright.plan.pipeline import check_air
from pourwright.pose.directions import cone_directions
from pourwright.pose.judge import Figure, judge, ready, score
from pourwright.pose.model import WEIGHT_OF, Terms
from pourwright.pose.reasons import reasons
from pourwright.pose.settings import PoseSettings, PoseWeights
from pourwright.shop.process import PROCESSES, Process
from pourwright.solid import Solid
from pourwright.solid.protect import Protection
from pourwright.vents.needs import find_needs

UP, DOWN = np.array([0, 0, 1.0]), np.array([0, 0, -1.0])
OPEN, VACUUM = PROCESSES["open"], PROCESSES["vacuum_pressure"]


def figure_of(solid: Solid, process: Process = OPEN, embed_mm: float = 1.0, **more) -> Figure:
    return ready(solid, process, PoseSettings(**more), embed_mm)


def gallows(post_mm: float = 30.0) -> Solid:
    """A post with an arm, at whose end a bar hangs down 10 mm: a dead end when turned over."""
    body = Manifold.cube((6, 6, post_mm)) + Manifold.cube((26, 6, 6)).translate((0, 0, post_mm - 6))
    return solid_of(body + Manifold.cube((6, 6, 10)).translate((20, 0, post_mm - 16)))


def rotation(rng: np.random.Generator) -> np.ndarray:
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    return turn * np.sign(np.linalg.det(turn))


@pytest.mark.parametrize("process", [OPEN, VACUUM], ids=["open", "vacuum"])
@pytest.mark.parametrize("number", [0, 1, 3, 7])
def test_pockets_are_those_of_the_single_analysis(number, process):
    _, solid = pose_body(number)
    figure = figure_of(solid, process)
    for up in cone_directions((0, 0, -1), 180.0, 25):
        check = check_air(solid, up, (), process)
        matter = [p for p in check.pockets if p.matters]
        terms = judge(figure, up).terms
        assert terms.pockets == len(matter)
        left = sum(p.volume_mm3 for p in matter) * process.residual_factor
        assert terms.residual_mm3 == pytest.approx(left, rel=1e-12)


@pytest.mark.parametrize("process", [OPEN, VACUUM], ids=["open", "vacuum"])
@pytest.mark.parametrize("number", [0, 2, 3, 7, 9])
def test_rods_are_as_many_as_the_plan_makes(number, process):
    """Against the search for needs, with all open that the base takes in."""
    _, solid = pose_body(number)
    for embed_mm in (0.0, 1.0, 8.0):
        figure = figure_of(solid, process, embed_mm)
        for up in cone_directions((0, 0, -1), 180.0, 20):
            heights = figure.surface.vertices @ up
            sunk = np.flatnonzero(heights >= heights.max() - embed_mm)
            needs, _ = find_needs(find_pockets(figure.surface, up, sunk), sunk, process)
            terms = judge(figure, up).terms
            assert terms.rods == len(needs)
            straight_mm = sum(heights.max() - heights[n.peak] for n in needs)
            assert terms.rod_mm == pytest.approx(straight_mm, abs=1e-6)


def terrain(rng: np.random.Generator, size: int = 16) -> Solid:
    """A block with a top of random hills: many peaks, and passes at every height."""
    heights = rng.uniform(2, 12, (size, size))
    body = Manifold()
    for i in range(size):
        for j in range(size):
            column = Manifold.cube((3.0, 3.0, float(heights[i, j])))
            body += column.translate((3.0 * i, 3.0 * j, 0.0))
    return solid_of(body)


@pytest.mark.parametrize("defect_mm", [1.0, 3.0, 6.0])
def test_rods_of_hills_are_as_many_as_the_plan_makes(defect_mm):
    """Parts of the air that run together again and again before they matter."""
    process = replace(OPEN, visible_defect_mm=defect_mm)
    rng = np.random.default_rng(4)
    solid = terrain(rng)
    counts = []
    for up in (UP, *(np.array([0, 0, 1.0]) + rng.normal(size=(5, 3)) * 0.2)):
        up = up / np.linalg.norm(up)
        figure = figure_of(solid, process, 0.5)
        heights = figure.surface.vertices @ up
        sunk = np.flatnonzero(heights >= heights.max() - 0.5)
        needs, _ = find_needs(find_pockets(figure.surface, up, sunk), sunk, process)
        terms = judge(figure, up).terms
        assert terms.rods == len(needs)
        straight_mm = sum(heights.max() - heights[n.peak] for n in needs)
        assert terms.rod_mm == pytest.approx(straight_mm, abs=1e-6)
        counts.append(terms.rods)
    assert max(counts) > 2


def test_rods_of_a_part_that_nothing_opens():
    """Two bodies apart: the lower one has no opening and needs a rod, however it lies."""
    body = Manifold.cube((4, 4, 4)) + Manifold.cube((3, 3, 3)).translate((0, 0, 20))
    terms = judge(figure_of(solid_of(body)), UP).terms
    assert (terms.pockets, terms.rods) == (1, 1)
    assert terms.residual_mm3 == pytest.approx(64.0)
    assert terms.rod_mm == pytest.approx(19.0)
    # Too little air to matter, were there a way out of it: with two peaks as with one.
    for low in (Manifold.cube((4, 4, 4)), Manifold.cube((4, 4, 1)) + Manifold.cube((1, 4, 4))
                + Manifold.cube((1, 4, 3)).translate((3, 0, 0))):  # fmt: skip
        apart = solid_of(low + Manifold.cube((3, 3, 3)).translate((0, 0, 20)))
        lenient = replace(OPEN, visible_defect_mm=10.0)
        assert judge(figure_of(apart, lenient), UP).terms.rods == 1


def test_one_pocket_may_take_several_rods():
    """A comb hanging from an arm: closed off together, but with an end for each tooth."""
    comb = Manifold.cube((6, 6, 40)) + Manifold.cube((60, 6, 6)).translate((0, 0, 34))
    comb += Manifold.cube((36, 6, 10)).translate((24, 0, 26))
    for x in (24, 39, 54):
        comb += Manifold.cube((6, 6, 14)).translate((x, 0, 14))
    terms = judge(figure_of(solid_of(comb)), DOWN).terms
    assert (terms.pockets, terms.rods) == (1, 3)
    assert terms.rod_mm == pytest.approx(3 * 14.0)


def test_gallows_in_numbers():
    standing = judge(figure_of(gallows()), DOWN).terms
    assert (standing.pockets, standing.rods) == (1, 1)
    assert standing.residual_mm3 == pytest.approx(6 * 6 * 10)
    assert standing.rod_mm == pytest.approx(14.0)
    assert standing.height_mm == pytest.approx(30.0)
    assert standing.footprint_cm2 == pytest.approx(1.56)
    assert (standing.protected, standing.misfit_mm) == (0.0, 0.0)
    assert judge(figure_of(gallows()), UP).terms.pockets == 0
    vacuum = judge(figure_of(gallows(), VACUUM), DOWN).terms
    assert vacuum.residual_mm3 == pytest.approx(360 * VACUUM.residual_factor)


@pytest.mark.parametrize(("embed_mm", "rods"), [(13.9, 1), (14.1, 0)])
def test_what_the_base_takes_in_needs_no_rod(embed_mm, rods):
    terms = judge(figure_of(gallows(), embed_mm=embed_mm), DOWN).terms
    assert (terms.pockets, terms.rods) == (1, rods)
    assert terms.rod_mm == pytest.approx(14.0 * rods)


def test_protected_surface_at_rods_and_in_the_base():
    points = np.array([[23, 3, 14], [20, 0, 14], [26, 0, 14], [20, 6, 14], [26, 6, 14],
                       [0, 0, 0], [6, 0, 0], [0, 6, 0], [6, 6, 0.0]])  # fmt: skip
    weights = np.array([0.75] * 5 + [0, 0.5, 0, 0.25])
    solid = replace(gallows(), protection=Protection(points, weights))
    assert judge(figure_of(solid), DOWN).terms.protected == pytest.approx(0.75 + 0.5)
    assert judge(figure_of(solid, embed_mm=14.5), DOWN).terms.protected == pytest.approx(0.75)
    assert judge(figure_of(solid), UP).terms.protected == 0.0


def test_what_does_not_fit_the_pot():
    box = solid_of(Manifold.cube((30, 40, 70)))
    for pot, misfit in (
        ({}, 0.0), ({"pot_height_mm": 70.0}, 0.0), ({"pot_height_mm": 64.0}, 6.0),
        ({"pot_diameter_mm": 45.0}, 5.0), ({"pot_diameter_mm": 51.0}, 0.0),
        ({"pot_height_mm": 60.0, "pot_diameter_mm": 48.0}, 12.0),
    ):  # fmt: skip
        terms = judge(figure_of(box, **pot), UP).terms
        assert terms.misfit_mm == pytest.approx(misfit, abs=1e-6)


@pytest.mark.parametrize("number", [0, 1, 3])
def test_turning_the_figure_turns_the_judgement(number):
    _, solid = pose_body(number)
    rng = np.random.default_rng(number)
    turn = rotation(rng)
    moved = solid.mesh.vertices @ turn.T + rng.normal(size=3) * 100
    turned = replace(solid, mesh=replace(solid.mesh, vertices=moved))
    one, other = figure_of(solid, VACUUM), figure_of(turned, VACUUM)
    for up in cone_directions(rng.normal(size=3), 180.0, 12)[1:]:
        a, b = judge(one, up).terms, judge(other, turn @ up).terms
        assert (a.pockets, a.rods) == (b.pockets, b.rods)
        for name in ("residual_mm3", "rod_mm", "height_mm", "footprint_cm2"):
            assert getattr(a, name) == pytest.approx(getattr(b, name), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("number", [0, 7])
def test_larger_figure_with_larger_bubbles_allowed(number):
    """Twice the size, twice the visible defect and sink: the same counts, scaled measures."""
    _, solid = pose_body(number)
    large = replace(solid, mesh=replace(solid.mesh, vertices=2 * solid.mesh.vertices))
    coarse = replace(OPEN, visible_defect_mm=2 * OPEN.visible_defect_mm)
    one, other = figure_of(solid, OPEN, 1.0), figure_of(large, coarse, 2.0)
    power = {"residual_mm3": 3, "rod_mm": 1, "height_mm": 1, "footprint_cm2": 2}
    for up in cone_directions((0, 0, -1), 180.0, 12):
        a, b = judge(one, up).terms, judge(other, up).terms
        assert (a.pockets, a.rods) == (b.pockets, b.rods)
        for name, exponent in power.items():
            assert getattr(b, name) == pytest.approx(2**exponent * getattr(a, name), rel=1e-9)


TERMS = Terms(3, 2.5, 4, 80.0, 55.0, 12.0, 1.5, 7.0)


def test_score_is_each_term_times_its_weight():
    weights = PoseWeights(1, 10, 100, 0.1, 0.01, 0.5, 1000, 10_000)
    expected = 3 + 25 + 400 + 8 + 0.55 + 6 + 1500 + 70_000
    assert score(TERMS, weights) == pytest.approx(expected)
    nothing = dict.fromkeys(WEIGHT_OF.values(), 0.0)
    for term, weight in WEIGHT_OF.items():
        alone = PoseWeights(**{**nothing, weight: 2.0})
        assert score(TERMS, alone) == pytest.approx(2 * getattr(TERMS, term))


def test_heavier_weight_never_gives_more_of_the_thing():
    """Of the directions of a sweep, for each term and weight."""
    _, solid = pose_body(0)
    ups = cone_directions((0, 0, -1), 180.0, 150)
    figure = figure_of(solid)
    found = [judge(figure, up).terms for up in ups]
    for term, weight in WEIGHT_OF.items():
        chosen = [
            min(found, key=lambda t, w=w: score(t, replace(PoseWeights(), **{w: heavy})))
            for w, heavy in ((weight, 0.0), (weight, 1.0), (weight, 1000.0))
        ]
        amounts = [getattr(t, term) for t in chosen]
        assert amounts == sorted(amounts, reverse=True)
        assert amounts[-1] == pytest.approx(min(getattr(t, term) for t in found), rel=0.05)


def test_promise_is_high_where_little_air_is_left_and_nothing_otherwise():
    solid = gallows()
    assert judge(figure_of(solid), UP).promise == 0.0
    assert judge(figure_of(solid), DOWN).promise == 0.0  # 360 mm3 do not vanish by a small turn
    small = replace(OPEN, visible_defect_mm=(6 * 300 / np.pi) ** (1 / 3))  # 300 mm3 are harmless
    weights = PoseWeights()
    most = weights.pocket + weights.rod + 14 * weights.rod_mm
    assert 0.8 * most < judge(figure_of(solid, small), DOWN).promise < most
    sunk = judge(figure_of(solid, embed_mm=20.0), DOWN)
    assert sunk.promise == pytest.approx(weights.pocket + 360 * weights.residual_mm3)


def test_reasons_say_what_counts_most_first():
    standing = Terms(4, 3.0, 4, 100.0, 50.0, 20.0, 0.0, 0.0)
    pose = Terms(2, 2.96, 2, 100.0, 59.0, 20.4, 0.0, 0.0)
    weights = PoseWeights()
    assert reasons(pose, standing, weights) == (
        "2 rods fewer than standing", "2 pockets fewer", "9.0 mm taller",
    )  # fmt: skip
    assert reasons(standing, pose, weights) == (
        "2 rods more than standing", "2 pockets more", "9.0 mm lower",
    )  # fmt: skip
    assert reasons(standing, standing, weights) == ("as good as standing",)
    tall = replace(weights, height_mm=1.0)
    assert reasons(pose, standing, tall)[0] == "9.0 mm taller than standing"
    one = replace(standing, rods=3)
    assert reasons(one, standing, weights) == ("1 rod fewer than standing",)
    heavy = PoseWeights(*[10.0] * 8)
    every = reasons(TERMS, standing, heavy)
    assert len(every) == 5
    assert every[0] == "20 mm less rod than standing"
    assert "7.0 mm more beyond the pot" in every


@pytest.mark.parametrize(
    "wrong",
    [
        {"cone_deg": -1.0}, {"cone_deg": 181.0}, {"cone_deg": float("nan")}, {"directions": 0},
        {"directions": 2.0}, {"directions": True}, {"directions": 100_001}, {"keep": 0},
        {"keep": "8"}, {"axis": (0, 0, 0)}, {"axis": (0, 1)}, {"pot_height_mm": 0.0},
        {"pot_diameter_mm": "wide"}, {"weights": {"rod": 1.0}},
    ],
    ids=str,
)  # fmt: skip
def test_settings_out_of_range(wrong):
    with pytest.raises(InputError, match=f"pose.{next(iter(wrong))}"):
        PoseSettings(**wrong)


@pytest.mark.parametrize("name", WEIGHT_OF.values())
def test_weights_out_of_range(name):
    for wrong in (-0.1, float("inf"), "much", None):
        with pytest.raises(InputError, match=f"pose.weights.{name} is"):
            PoseWeights(**{name: wrong})


def test_surface_is_as_the_single_analysis_has_it():
    """The figure that all directions share is not changed by judging one."""
    _, solid = pose_body(1)
    figure = figure_of(solid)
    before = figure.surface.vertices.tobytes(), figure.hull.points.tobytes()
    first = judge(figure, UP)
    judge(figure, DOWN)
    assert judge(figure, UP) == first
    assert (figure.surface.vertices.tobytes(), figure.hull.points.tobytes()) == before
    np.testing.assert_array_equal(figure.surface.vertices, prepare(solid.mesh).vertices)
