"""Which way up a cavity fills best, for shapes where it follows from the definitions.

A direction fills without pockets iff the cavity has one local maximum in it (after P. Bose, M. van
Kreveld, G. Toussaint: Filling polyhedral molds, Computer-Aided Design 30(4), 1998; wording from
memory). The expected numbers are derived by hand from that definition, as in test_filling.
"""

from __future__ import annotations

import numpy as np
import pytest

from pourwright.pose.model import PoseReport
from pourwright.pose.outline import diameter_mm
from pourwright.pose.search import search
from pourwright.pose.settings import PoseSettings
from pourwright.shop.process import PROCESSES
from tests.core.pose_bodies import solid_of
from tests.published.test_filling import DOWN, UP, box, maxima, star, stool


def poses(body, **settings) -> PoseReport:
    """Poured openly, where every limb of these shapes matters."""
    settings = PoseSettings(**{"directions": 40, "keep": 1, **settings})
    return search(solid_of(body), PROCESSES["open"], settings, 1.0, processes=1)


def test_stool_is_poured_legs_down(legs=4):
    report = poses(stool(legs))
    best = report.poses[0]
    assert best.up[2] > 0.9
    assert (best.terms.pockets, maxima(stool(legs), best.up)) == (0, 1)
    assert report.standing.terms.pockets == legs - 1 == maxima(stool(legs), DOWN) - 1
    assert best.reasons[0] == f"{legs - 1} pockets fewer than standing"


def test_u_tube_is_poured_legs_down_or_lying():
    tube = box((0, 0, 0), (10, 3, 3)) + box((0, 0, 2), (3, 3, 12)) + box((7, 0, 2), (10, 3, 12))
    best = poses(tube).poses[0]
    assert (best.terms.pockets, maxima(tube, best.up)) == (0, 1)
    legs_down, bend_down = (poses(tube, axis=up, directions=1).standing for up in (DOWN, UP))
    assert (legs_down.terms.pockets, maxima(tube, DOWN)) == (0, 1)
    assert (bend_down.terms.pockets, maxima(tube, UP)) == (1, 2)
    assert legs_down.score < bend_down.score


def test_slender_star_stands_point_down():
    """Within 40 degrees of a point straight up there are directions with a point straight down."""
    body = star(5, 0.2)
    report = poses(body, axis=UP, cone_deg=40.0)
    best = report.poses[0]
    assert maxima(body, report.standing.up) == 3
    assert maxima(body, best.up) == 2
    assert best.terms.pockets == 1
    points = [np.array([np.sin(a), 0, np.cos(a)]) for a in np.radians(72 * np.arange(5))]
    assert min(float(np.dot(p, best.up)) for p in points) < -0.9
    # Lying flat it has no pocket at all.
    assert poses(body, axis=(0, 1, 0), directions=1).standing.terms.pockets == 0


@pytest.mark.parametrize("sides", [3, 4])
def test_smallest_circle_round_a_regular_outline(sides):
    """Circumscribed circle of the triangle and the square of side 1: 2/sqrt(3) and sqrt(2)."""
    turn = 2 * np.pi * np.arange(sides) / sides
    corners = np.stack([np.cos(turn), np.sin(turn)], axis=1) / (2 * np.sin(np.pi / sides))
    expected = {3: 2 / np.sqrt(3), 4: np.sqrt(2)}[sides]
    assert diameter_mm(corners) == pytest.approx(expected)
