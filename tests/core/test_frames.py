"""The turn from the standing frame to the board."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourwright.solid.columns import frame
from pourwright.solid.frames import board_rotation

part = st.floats(-1, 1)
ups = st.tuples(part, part, part).filter(lambda v: np.linalg.norm(v) > 1e-3)


def test_the_default_direction_is_not_turned_at_all():
    np.testing.assert_array_equal(board_rotation(np.array([0.0, 0.0, -1.0])), np.eye(3))


@given(ups)
def test_up_turns_down_by_a_rotation(up):
    up = np.array(up) / np.linalg.norm(up)
    turn = board_rotation(up)
    np.testing.assert_allclose(turn @ up, [0, 0, -1], atol=1e-7)
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-7)
    assert np.linalg.det(turn) == pytest.approx(1, abs=1e-7)


@given(ups)
def test_ray_frame_has_up_as_its_third_axis(up):
    up = np.array(up) / np.linalg.norm(up)
    axes = frame(up)
    np.testing.assert_allclose(axes[2], up, atol=1e-12)
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1)
