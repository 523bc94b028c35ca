"""How far one rod is from others, and at which angle it comes onto one."""

from __future__ import annotations

import numpy as np
import pytest

from pourwright.vents.field import Rod
from pourwright.vents.route import _apart_mm, _sine


def rod(*path, ends_mm=(3.0, 3.0), joins=-1) -> Rod:
    return Rod(np.array(path, dtype=float), 1.0, -1, joins, 0.0, 0, ends_mm)


LONG = rod((0, 0, 0), (0, 0, 30))


@pytest.mark.parametrize("height", [5.0, 15.0, 25.0])
def test_a_rod_too_short_to_have_a_middle_keeps_off_the_middle_of_others(height):
    short = rod((2.5, 0, height - 1), (2.5, 0, height + 1))
    assert len(short.core) == 0
    assert _apart_mm(short, [LONG], 2.0) == pytest.approx(0.5, abs=1e-6)
    assert _apart_mm(LONG, [short], 2.0) == pytest.approx(0.5, abs=1e-6)


def test_a_rod_may_be_near_the_one_that_it_joins_and_at_the_ends_of_others():
    onto = rod((4, 0, 12), (0, 0, 15), ends_mm=(3.0, 3.0), joins=0)
    assert _apart_mm(onto, [LONG], 2.0) == 2.0
    assert _apart_mm(onto, [rod((9, 9, 0), (9, 9, 9)), LONG], 2.0) < 0
    foot = rod((2.5, 0, 0), (2.5, 0, 2))
    assert _apart_mm(foot, [LONG], 2.0) == pytest.approx(np.hypot(2.5, 1) - 2, abs=1e-6)


@pytest.mark.parametrize(
    ("end", "sine"), [((0, 0, 5), 1.0), ((5, 0, 15), np.sqrt(0.5))], ids=["upright", "leaning"]
)
def test_the_angle_onto_a_bent_rod_is_that_of_the_piece_it_meets(end, sine):
    bent = rod((0, 0, 0), (0, 0, 10), (10, 0, 20))
    level = np.array([np.add(end, (8, 0, 0)), end], dtype=float)
    assert _sine(level, bent, level[-1]) == pytest.approx(sine)
