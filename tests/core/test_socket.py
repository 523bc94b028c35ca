"""Sockets: volume and gap by hand, in and out straight up, rods cut back, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import as_mesh, box

from pourwright.errors import GeometryError, InputError
from pourwright.solid import TriMesh, boolean, fits
from pourwright.solid.topology import is_watertight
from pourwright.sprue.socket import socket_part, with_socket

BASE = as_mesh(box((-15, -15, 0), (15, 15, 6)), "base")
# Outlines are drawn this much too wide at most: a share for the round joins, and their points.
DRAWN_MM = 0.008


def rod(low: float, high: float, x: float, y: float = 0.0, radius: float = 0.75) -> TriMesh:
    body = trimesh.creation.cylinder(radius, high - low, sections=32)
    body.apply_translation((x, y, (low + high) / 2))
    return as_mesh(body, "rod")


def ball(radius: float, at: tuple[float, float, float]) -> TriMesh:
    body = trimesh.creation.icosphere(subdivisions=2, radius=radius)
    body.apply_translation(at)
    return as_mesh(body, "ball")


def up(mesh: TriMesh, height_mm: float) -> TriMesh:
    return mesh.moved(np.array([0.0, 0.0, height_mm]))


def assert_lifts_out(part: TriMesh, figure: TriMesh, clearance_mm: float) -> None:
    for height in (0.0, 0.03, 0.2, 0.7, 2.0, 6.0):
        gap = fits.gap_mm(part, up(figure, height), 2 * clearance_mm)
        assert gap >= 0.98 * clearance_mm, f"{height} mm up"


@pytest.mark.parametrize("clearance", [0.1, 0.25, 0.5])
def test_a_square_foot_by_hand(clearance):
    """A box with round corners: the foot, grown all round and below."""
    figure = as_mesh(box((-5, -3, 3), (5, 3, 40)))
    part = socket_part(figure, BASE, clearance, 5.0)
    c = clearance
    outline = 60 + 2 * c * (10 + 6) + math.pi * c * c
    removed = BASE.volume_mm3 - part.volume_mm3
    assert removed == pytest.approx(outline * (3 + c), abs=36 * DRAWN_MM * (3 + c))
    assert removed >= outline * (3 + c) * (1 - 1e-3)
    assert is_watertight(part) and len(boolean.pieces(part)) == 1
    gap = fits.gap_mm(part, figure, 2.0)
    assert c * (1 - 1e-6) <= gap <= c + DRAWN_MM
    assert_lifts_out(part, figure, c)


def test_a_foot_wider_below_can_be_put_in():
    """A ball sunk over its middle: nothing hangs over it, and it is as near as asked."""
    base = as_mesh(box((-8, -8, -4), (8, 8, 6)), "base")
    figure = boolean.union([ball(4, (0, 0, 3)), rod(4, 30, 0, radius=2)])
    part = socket_part(figure, base, 0.2, 8.0)
    assert_lifts_out(part, figure, 0.2)
    # Over the ball's middle the walls go straight up: as much as a cylinder there.
    above = fits.within_box(part, np.array([-8, -8, 3.5]), np.array([8, 8, 6]))
    hole = 16 * 16 * 2.5 - above.volume_mm3
    assert hole == pytest.approx(math.pi * 4.2**2 * 2.5, rel=0.03)


def test_what_flares_out_just_above_the_rim_keeps_the_gap_too():
    skirt = as_mesh(box((-9, -9, 6.05), (9, 9, 9)))
    figure = boolean.union([as_mesh(box((-5, -3, 3), (5, 3, 40))), skirt])
    part = socket_part(figure, BASE, 0.2, 3.0)
    assert_lifts_out(part, figure, 0.2)
    assert part.bounds_mm[1, 2] == pytest.approx(6.0), "the rim outside is left as it is"


def test_draft_leans_the_walls_outwards():
    figure = as_mesh(box((-5, -3, 1), (5, 3, 40)))
    straight, leaning = (socket_part(figure, BASE, 0.2, 6.0, draft_deg=d) for d in (0.0, 5.0))
    more = straight.volume_mm3 - leaning.volume_mm3
    # Grown by x more at each height: the sides, and the round corners; by layers, half of one more.
    depth, lean = 5.2 + 0.05, math.tan(math.radians(5.0))
    sides = 32 * lean * depth**2 / 2
    corners = math.pi * (0.2 * lean * depth**2 + lean**2 * depth**3 / 3)
    assert more == pytest.approx(sides + corners, rel=0.02)
    assert_lifts_out(leaning, figure, 0.2)


@settings(max_examples=4, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(-6, 6), st.floats(-6, 6), st.floats(2.2, 6), st.floats(1, 3)),
        min_size=1, max_size=3,
    ),
    st.floats(0.05, 0.6),
)  # fmt: skip
def test_any_feet_lift_out(balls, clearance):
    """Balls at random places, some sunk and some not, under a plate."""
    feet = [ball(r, (x, y, z)) for x, y, z, r in balls]
    stems = [rod(z, 12, x, y, 0.5) for x, y, z, _ in balls]
    low = min(f.bounds_mm[0, 2] for f in feet)
    figure = boolean.union([*feet, *stems, as_mesh(box((-8, -8, 11), (8, 8, 14)))])
    base = as_mesh(box((-15, -15, -4), (15, 15, 6)), "base")
    part = socket_part(figure, base, clearance, 6.0 - low + 1.0)
    assert is_watertight(part) and len(boolean.pieces(part)) == 1
    assert_lifts_out(part, figure, clearance)


class TestBodies:
    """Rods and funnel that are printed with the base."""

    arm = as_mesh(box((-2, -2, 14), (12, 2, 17)))
    figure = boolean.union([as_mesh(box((-2, -2, 3), (2, 2, 30))), arm])

    def test_a_rod_ends_the_clearance_short_of_the_figure(self):
        part = socket_part(self.figure, BASE, 0.3, 5.0, [rod(4, 14.5, 8)])
        assert part.bounds_mm[1, 2] == pytest.approx(14 - 0.3, abs=0.11)
        assert fits.gap_mm(part, self.figure, 2.0) == pytest.approx(0.3, rel=0.05)
        assert len(boolean.pieces(part)) == 1
        assert_lifts_out(part, self.figure, 0.3)

    def test_a_funnel_and_a_rod_on_a_rod_belong_to_it(self):
        funnel = rod(-8, 0.5, 0, radius=6)
        low, high = rod(4, 9, 8), rod(8.5, 14.5, 8)
        made = with_socket(self.figure, BASE, 0.3, 5.0, [high, funnel, low])
        assert made.refused == ()
        np.testing.assert_allclose(made.mesh.bounds_mm[:, 2], [-8, 14 - 0.3], atol=0.11)

    def test_what_cannot_be_part_of_it_is_refused_with_the_reason(self):
        bridge = rod(16.5, 22, 8)  # stands on the arm
        over = boolean.union([rod(4, 22, 14.5), as_mesh(box((8, -0.7, 20), (15, 0.7, 21.5)))])
        inside = as_mesh(box((-1, -1, 20), (1, 1, 22)))
        afloat = as_mesh(box((-12, 6, 20), (-10, 8, 22)))
        alone = socket_part(self.figure, BASE, 0.3, 5.0, [rod(4, 14.5, 8)])
        made = with_socket(
            self.figure, BASE, 0.3, 5.0, [bridge, over, inside, afloat, rod(4, 14.5, 8)]
        )
        refused = made.refused
        assert made.mesh.volume_mm3 == pytest.approx(alone.volume_mm3)
        assert [r.number for r in refused] == [0, 1, 2, 3]
        for r, word in zip(refused, ("over", "over", "within", "alone"), strict=True):
            assert word in r.reason
        assert refused[1].at_mm[0] <= 12.5
        with pytest.raises(GeometryError, match="cannot be put in from above"):
            socket_part(self.figure, BASE, 0.3, 5.0, [over])

    def test_bodies_far_from_the_figure_are_left_as_they_are(self):
        plain = socket_part(self.figure, BASE, 0.3, 5.0)
        more = socket_part(self.figure, BASE, 0.3, 5.0, [rod(-3, 4, -12, -12)])
        below = rod(-3, 0, -12, -12).volume_mm3
        assert more.volume_mm3 == pytest.approx(plain.volume_mm3 + below)


class TestRefused:
    """What makes no socket, with the place."""

    figure = as_mesh(box((-5, -3, 3), (5, 3, 40)))

    def test_feet_in_the_air(self):
        with pytest.raises(InputError, match="do not reach") as caught:
            socket_part(up(self.figure, 4), BASE, 0.2, 5.0)
        assert caught.value.at_mm == pytest.approx((0, 0, 7))

    def test_too_thin_a_floor(self):
        with pytest.raises(InputError, match="under the socket") as caught:
            socket_part(up(self.figure, -2.2), BASE, 0.2, 8.0)
        assert caught.value.at_mm[:2] == pytest.approx((0, 0), abs=0.1)
        socket_part(up(self.figure, -1.9), BASE, 0.2, 8.0)

    def test_a_figure_that_sinks_deeper_than_its_feet(self):
        with pytest.raises(GeometryError, match="nearer to the base") as caught:
            socket_part(
                boolean.union([self.figure, as_mesh(box((-9, -1, 4.5), (9, 1, 9)))]), BASE, 0.2, 1.0
            )
        assert 4 < caught.value.at_mm[2] < 7

    def test_a_socket_that_cuts_the_base_in_two(self):
        wide = as_mesh(box((-20, -3, 2), (20, 3, 10)))
        low = as_mesh(box((-15, -15, -0.5), (15, 15, 6)))
        halved = boolean.difference(low, [as_mesh(box((-16, -1, -1), (16, 1, 1.9)))])
        with pytest.raises((GeometryError, InputError)):
            socket_part(wide, halved, 0.2, 5.0)

    @pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf"), "1", None, True])
    def test_bad_numbers(self, bad):
        with pytest.raises(InputError, match="clearance_mm"):
            socket_part(self.figure, BASE, bad, 5.0)
        with pytest.raises(InputError, match="depth_mm"):
            socket_part(self.figure, BASE, 0.2, bad)
        if bad != 0.0:
            with pytest.raises(InputError, match="draft_deg"):
                socket_part(self.figure, BASE, 0.2, 5.0, draft_deg=bad)


def test_place_in_the_world_does_not_matter():
    figure = as_mesh(box((-5, -3, 3), (5, 3, 40)))
    far = np.array([700.0, -300.0, 150.0])
    here = socket_part(figure, BASE, 0.2, 5.0)
    there = socket_part(figure.moved(far), BASE.moved(far), 0.2, 5.0)
    assert there.volume_mm3 == pytest.approx(here.volume_mm3, rel=1e-9)
    np.testing.assert_allclose(there.bounds_mm, here.bounds_mm + far, atol=1e-9)


class TestFits:
    """The tools underneath."""

    def test_gap_meets_and_limit(self):
        one, other = as_mesh(box((0, 0, 0), (1, 1, 1))), as_mesh(box((3, 0, 0), (4, 1, 1)))
        assert fits.gap_mm(one, other, 5.0) == pytest.approx(2.0)
        assert fits.gap_mm(one, other, 1.5) == 1.5
        assert fits.gap_mm(one, one.moved(np.array([0.5, 0, 0])), 5.0) == 0.0

    def test_shared_and_remainder_add_up(self):
        one, other = BASE, ball(5, (2, 1, 5))
        both, left = fits.shared(one, other), fits.remainder(one, [other])
        assert both.volume_mm3 + left.volume_mm3 == pytest.approx(one.volume_mm3)
        assert fits.shared(one, up(other, 40)) is None
        assert fits.remainder(one, [as_mesh(box((-20, -20, -1), (20, 20, 9)))]) is None
        assert fits.within_box(one, np.array([50.0, 0, 0]), np.array([60.0, 1, 1])) is None

    def test_room_to_lift_a_step(self):
        """A pin on a plate, upside down: the plate's outline from the plate on."""
        pin, plate = box((-1, -1, 0), (1, 1, 3)), box((-4, -4, 2), (4, 4, 5))
        body = boolean.union([as_mesh(pin), as_mesh(plate)])
        room = fits.room_to_lift(body, below_mm=9, top_mm=6, clearance_mm=0.1)
        pin_part = (4 + 0.8 + 0.01 * math.pi) * (2.0 - 0.1 + 0.1)
        plate_part = (64 + 3.2 + 0.01 * math.pi) * (6 - 2 + 0.1)
        assert room.volume_mm3 == pytest.approx(pin_part + plate_part, rel=0.03)
        assert fits.room_to_lift(body, below_mm=-1, top_mm=6, clearance_mm=0.1) is None
