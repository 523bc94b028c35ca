"""The search for a way up on shapes whose best pose follows from the definition of a pocket.

Shapes and their numbers of maxima: tests of air pockets on the same shapes have them; a pose with
its highest point open traps one pocket fewer than it has maxima.
"""

from __future__ import annotations

from dataclasses import replace

import manifold3d
import numpy as np
import pytest

from pourwright.air import unit_vector
from pourwright.errors import Cancelled
from pourwright.plan.pipeline import check_air
from pourwright.pose.judge import judge, ready
from pourwright.pose.search import search
from pourwright.pose.settings import PoseSettings, PoseWeights
from pourwright.shop.process import PROCESSES
from pourwright.solid import Solid, intake
from pourwright.solid.boolean import from_manifold

Manifold = manifold3d.Manifold
OPEN = PROCESSES["open"]
EMBED_MM = 1.0


def block(low, high) -> manifold3d.Manifold:
    size = np.subtract(high, low)
    return Manifold.cube(tuple(map(float, size)), False).translate(tuple(map(float, low)))


def stool() -> manifold3d.Manifold:
    """A seat on four legs that point down."""
    body = block((0, 0, 30), (30, 30, 36))
    for x in (0, 24):
        for y in (0, 24):
            body += block((x, y, 0), (x + 6, y + 6, 31))
    return body


def u_shape() -> manifold3d.Manifold:
    """Two legs that point down, joined above."""
    return block((0, 0, 20), (30, 8, 28)) + block((0, 0, 0), (8, 8, 21)) + block(
        (22, 0, 0), (30, 8, 21)
    )


def star() -> manifold3d.Manifold:
    """A five-pointed star, r/R 0.2, upright with a point to +Z; as thick as its hub."""
    turn = np.pi / 2 + np.arange(10) * np.pi / 5
    radius = np.where(np.arange(10) % 2 == 0, 30.0, 6.0)
    outline = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    flat = manifold3d.CrossSection([outline])
    return Manifold.extrude(flat, 8).rotate((90, 0, 0))


def solid_of(body: manifold3d.Manifold) -> Solid:
    return intake([from_manifold(body, "body")])


@pytest.mark.parametrize("make", [stool, u_shape])
def test_the_best_pose_of_what_stands_on_legs_has_one_maximum(make):
    """Legs hang down, or it lies level; as it stands each leg but one is a pocket."""
    report = search(solid_of(make()), OPEN, PoseSettings(directions=150), EMBED_MM)
    best = report.poses[0]
    assert best.terms.pockets == best.terms.rods == 0
    figure = ready(solid_of(make()), OPEN, PoseSettings(), EMBED_MM)
    assert judge(figure, unit_vector((0.05, 0.03, 1))).terms.pockets == 0
    assert report.standing.terms.pockets == (3 if make is stool else 1)
    assert best.score <= min(p.score for p in report.poses)
    assert report.poses[0].reasons


def test_a_star_with_a_point_down_traps_less_than_with_a_point_up():
    """Point up it has three maxima, point down two."""
    figure = ready(solid_of(star()), OPEN, PoseSettings(), EMBED_MM)
    up, down = judge(figure, unit_vector((0, 0, 1))), judge(figure, unit_vector((0, 0, -1)))
    assert (up.terms.pockets, down.terms.pockets) == (2, 1)
    weights = PoseWeights(residual_mm3=0, rod_mm=0, height_mm=0, footprint_cm2=0)
    flat = PoseSettings(directions=150, cone_deg=40.0, weights=weights)
    assert search(solid_of(star()), OPEN, flat, EMBED_MM).poses[0].terms.pockets <= 1


@pytest.mark.parametrize("make", [stool, star])
def test_every_direction_of_the_sweep_says_what_a_single_check_says(make):
    solid = solid_of(make())
    settings = PoseSettings(directions=40)
    report = search(solid, OPEN, settings, EMBED_MM)
    figure = ready(solid, OPEN, settings, EMBED_MM)
    for up in report.directions[::5]:
        single = check_air(solid, tuple(up), (), OPEN)
        terms = judge(figure, up).terms
        mattering = [p for p in single.pockets if p.matters]
        assert terms.pockets == len(mattering)
        left = sum(p.volume_mm3 for p in mattering) * OPEN.residual_factor
        assert terms.residual_mm3 == pytest.approx(left, rel=1e-6, abs=1e-9)


def test_the_search_is_the_same_on_any_number_of_processors_and_every_time():
    solid, settings = solid_of(stool()), PoseSettings(directions=80)
    one, two, again = (
        search(solid, OPEN, settings, EMBED_MM, processes=n) for n in (1, 2, 2)
    )
    assert one.poses == two.poses == again.poses
    np.testing.assert_array_equal(one.scores, two.scores)
    np.testing.assert_array_equal(one.directions, two.directions)


def test_poses_stay_in_their_cone_and_apart():
    settings = PoseSettings(directions=80, cone_deg=30.0, axis=(0.0, 1.0, -1.0), keep=4)
    report = search(solid_of(stool()), OPEN, settings, EMBED_MM)
    axis = unit_vector(settings.axis)
    limit = np.cos(np.radians(30.0)) - 1e-9
    assert (report.directions @ axis >= limit).all()
    ups = np.array([p.up for p in report.poses])
    assert 1 <= len(ups) <= 4 and (ups @ axis >= limit).all()
    assert report.standing.up == pytest.approx(tuple(axis))
    angles = np.degrees(np.arccos(np.clip(ups @ ups.T, -1, 1)))
    assert (angles[~np.eye(len(ups), dtype=bool)] >= 30.0 / 4 - 1e-6).all()


def test_poses_that_are_as_good_go_by_the_smaller_tilt():
    """A ball is the same any way up: nothing beats leaving it as it stands."""
    ball = solid_of(Manifold.sphere(10, 32))
    weights = PoseWeights(residual_mm3=0, rod_mm=0, height_mm=0, footprint_cm2=0)
    report = search(ball, OPEN, PoseSettings(directions=60, weights=weights), EMBED_MM)
    assert report.poses[0].up == pytest.approx((0, 0, -1), abs=1e-9)
    assert report.poses[0].tilt_deg == pytest.approx(0.0, abs=1e-6)


def test_weights_change_what_is_best():
    """Lying down is low; standing, a rod has the smaller footprint."""
    rod = solid_of(block((0, 0, 0), (4, 4, 60)))
    low = PoseSettings(directions=120, weights=PoseWeights(height_mm=1.0, footprint_cm2=0.0))
    slim = PoseSettings(directions=120, weights=PoseWeights(height_mm=0.0, footprint_cm2=10.0))
    lying, upright = (search(rod, OPEN, s, EMBED_MM).poses[0] for s in (low, slim))
    assert lying.terms.height_mm < 7.0 and upright.terms.height_mm > 55.0
    assert upright.terms.footprint_cm2 < 0.3 < lying.terms.footprint_cm2


def test_what_does_not_fit_the_pot_costs():
    rod = solid_of(block((0, 0, 0), (4, 4, 60)))
    figure = ready(rod, OPEN, PoseSettings(pot_height_mm=40.0, pot_diameter_mm=50.0), EMBED_MM)
    tall, wide = judge(figure, unit_vector((0, 0, -1))), judge(figure, unit_vector((1, 0, 0)))
    assert tall.terms.misfit_mm == pytest.approx(20.0, abs=1e-6)
    # Lying it is a rectangle of 4 by 60, whose circle is its diagonal.
    assert wide.terms.misfit_mm == pytest.approx(np.hypot(60, 4) - 50.0, abs=1e-6)


def test_turning_the_figure_turns_its_poses():
    body, settings = star() + block((0, 0, 0), (4, 12, 4)), PoseSettings()
    turn = manifold3d.Manifold.rotate(body, (0, 0, 70))
    a, b = np.cos(np.radians(70)), np.sin(np.radians(70))
    spin = np.array([[a, -b, 0], [b, a, 0], [0, 0, 1]])
    before, after = (ready(solid_of(m), OPEN, settings, EMBED_MM) for m in (body, turn))
    rng = np.random.default_rng(0)
    for up in rng.normal(size=(12, 3)):
        up = unit_vector(up)
        one, two = judge(before, up).terms, judge(after, spin @ up).terms
        assert (one.pockets, one.rods) == (two.pockets, two.rods)
        for name in ("residual_mm3", "rod_mm", "height_mm", "footprint_cm2"):
            assert getattr(one, name) == pytest.approx(getattr(two, name), rel=1e-5, abs=1e-5)


def test_a_progress_that_raises_stops_the_search():
    def stop(fraction: float, text: str) -> None:
        if fraction > 0.2:
            raise Cancelled

    with pytest.raises(Cancelled):
        search(solid_of(stool()), OPEN, PoseSettings(directions=400), EMBED_MM, stop)


def test_a_process_under_which_nothing_matters_leaves_only_size_to_judge():
    """Where no pocket counts there are no rods either, and the lowest pose wins."""
    calm = replace(OPEN, visible_defect_mm=60.0)
    report = search(solid_of(stool()), calm, PoseSettings(directions=60), EMBED_MM)
    assert all(p.terms.pockets == p.terms.rods == 0 for p in report.poses)
