"""Plinths by formula, funnel and underside, sizes that make no body, and the forms underneath."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapes import as_mesh, box

from pourwright.air import find_pockets, prepare, top_plane_vertices
from pourwright.errors import InputError
from pourwright.solid import boolean
from pourwright.solid.topology import is_watertight
from pourwright.sprue import BaseSettings, FunnelSettings, build_sprue, forms

FIGURE = as_mesh(box((-5, -3, 0), (5, 3, 40)))
DOWN = np.array([0.0, 0.0, -1.0])
PLINTHS = ("round_plinth", "rectangular_plinth", "stepped_plinth")
OPEN = FunnelSettings(enabled=False)
# Area of a regular 96-gon over that of its circumscribed circle.
MANY_SIDED = 96 / (2 * np.pi) * np.sin(2 * np.pi / 96)


def cone_mm3(r1: float, r2: float, h: float) -> float:
    return np.pi * h / 3 * (r1 * r1 + r1 * r2 + r2 * r2)


def pyramid_mm3(a: float, b: float, h: float) -> float:
    return h / 3 * (a * a + a * b + b * b)


def volume(kind, **settings):
    extras = settings.pop("extras", {})
    base = BaseSettings(kind, embed_mm=0.2, rounding_mm=0, extras=extras, **settings)
    return build_sprue(FIGURE, base, OPEN).facts.volume_mm3


class TestVolumes:
    """Against formulas; corners are never quite sharp, which costs little."""

    def test_cone_frustum(self):
        """Radii 3 and 2, height 5: 99.484 mm3 (derived), less what 96 chords cut off."""
        assert cone_mm3(3, 2, 5) == pytest.approx(99.484, abs=5e-4)
        draft = np.degrees(np.arctan(1 / 5))
        found = volume("round_plinth", width_mm=4, height_mm=5, draft_deg=draft)
        assert found == pytest.approx(99.484 * MANY_SIDED, rel=1e-5)
        assert found == pytest.approx(99.484, rel=1e-3)

    def test_square_frustum(self):
        """Moscow papyrus, problem 14: sides 4 and 2, height 6 hold 56."""
        assert pyramid_mm3(4, 2, 6) == 56
        found = volume("rectangular_plinth", width_mm=2, depth_mm=2, height_mm=6,
                       draft_deg=np.degrees(np.arctan(1 / 6)), extras={"corner_mm": 0.2})
        assert 56 - 6 * (4 - np.pi) * 1.2**2 < found < 56
        sharp = forms.hull("frustum", forms.at(forms.rectangle(2, 2), 0),
                           forms.at(forms.rectangle(1, 1), 6))
        assert sharp.volume_mm3 == pytest.approx(56, rel=1e-12)

    @pytest.mark.parametrize("draft", [0.0, 5.0, 12.0])
    def test_rounded_rectangle(self, draft):
        """Integral of the section's area, a rectangle less its four corners, over the height."""
        found = volume("rectangular_plinth", width_mm=40, depth_mm=26, height_mm=8,
                       draft_deg=draft, extras={"corner_mm": 5.0})
        grown = (8 - np.linspace(0, 8, 2001)) * np.tan(np.radians(draft))
        # Four quarters of a 48-gon at each corner.
        corner = 24 * np.sin(2 * np.pi / 48)
        area = (40 + 2 * grown) * (26 + 2 * grown) - (4 - corner) * (5 + grown) ** 2
        by_slices = ((area[1:] + area[:-1]) / 2).sum() * 8 / 2000
        assert found == pytest.approx(by_slices, rel=1e-6)

    def test_steps_add_up(self):
        found = volume("stepped_plinth", width_mm=20, depth_mm=14, height_mm=12, draft_deg=0,
                       extras={"steps": 4, "tread_mm": 2.5, "corner_mm": 0.2})
        sizes = [(20 + 5 * i, 14 + 5 * i) for i in range(4)]
        blocks = [a * b * h for (a, b), h in zip(sizes, (2, 2, 2, 6), strict=True)]
        corners = 12 * (4 - np.pi) * 8**2
        assert sum(blocks) - corners < found < sum(blocks)

    def test_plain_coin(self):
        """Disc, and a ring whose inner side slopes: 96 chords round about."""
        found = volume("coin", width_mm=30, height_mm=2.5, draft_deg=0,
                       extras={"milling_mm": 0, "rim_mm": 1.0, "rim_width_mm": 2.0})
        disc = np.pi * 17**2 * 3.5
        inside = cone_mm3(15, 15.35, 1.0)
        assert found == pytest.approx((disc - inside) * MANY_SIDED, rel=1e-9)

    def test_name_plate(self):
        """A block, a wedge before it and its toe."""
        found = volume("name_plate", width_mm=60, depth_mm=20, height_mm=12, draft_deg=0,
                       extras={"slant_deg": 30, "lip_mm": 2.0, "corner_mm": 0.2})
        reach = 10 * np.tan(np.radians(30))
        front = 60 * (reach * 10 / 2 + reach * 2 + 0.2 * 2 / 2)
        assert found == pytest.approx(60 * 20 * 12 + front, rel=1e-3)

    @pytest.mark.parametrize("kind", PLINTHS)
    def test_rounding_takes_a_little_off_the_upper_edges(self, kind):
        plain = BaseSettings(kind, width_mm=30, depth_mm=30, rounding_mm=0)
        sharp, soft = (
            build_sprue(FIGURE, replace(plain, rounding_mm=r), OPEN) for r in (0.0, 0.8)
        )
        assert soft.facts.rounding_mm == pytest.approx(0.8)
        lost = sharp.facts.volume_mm3 - soft.facts.volume_mm3
        # An edge of 90 degrees loses (1 - pi/4) r^2 of its section.
        edge = {"round_plinth": 94, "rectangular_plinth": 115, "stepped_plinth": 410}[kind]
        assert lost == pytest.approx(edge * 0.8**2 * (1 - np.pi / 4), rel=0.25)


@pytest.mark.parametrize("kind", ("round_plinth", "rectangular_plinth"))
def test_a_flat_closed_underside_leaves_no_air_but_a_dished_one_would(kind):
    """The slope towards the funnel is what drains it: turned the other way air would stay."""
    sprue = build_sprue(FIGURE, BaseSettings(kind), FunnelSettings())
    body = boolean.union([sprue.base, sprue.funnel])
    surface = prepare(body)
    tilted = np.array([np.sin(0.3), 0, -np.cos(0.3)])  # 17 degrees, more than the 5 of the crown
    open_mouth = top_plane_vertices(surface, DOWN)
    assert find_pockets(surface, tilted, open_mouth).pockets


@pytest.mark.parametrize("kind", PLINTHS)
@pytest.mark.parametrize("crown", [2.0, 5.0, 8.0])
def test_the_underside_slopes_as_promised_everywhere(kind, crown):
    funnel = FunnelSettings(height_mm=30)
    sprue = build_sprue(FIGURE, BaseSettings(kind, width_mm=50, crown_deg=crown), funnel)
    mesh = sprue.base
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    slope = np.degrees(np.arccos(np.clip(-normal[:, 2], -1, 1)))
    under = slope < 60
    at_the_neck = np.max([a[:, 2], b[:, 2], c[:, 2]], axis=0) < sprue.neck_z_mm + 1e-9
    assert sprue.neck_z_mm < sprue.board_z_mm + 30 - 1e-9
    assert (slope[under & ~at_the_neck] >= crown - 0.05).all()


@pytest.mark.parametrize("kind", ("round_plinth", "rectangular_plinth"))
def test_a_base_of_a_given_size_goes_where_the_figure_stands(kind):
    figure = boolean.union([as_mesh(box((-4, -4, 0), (4, 4, 40))),
                            as_mesh(box((0, -4, 6), (60, 4, 20)))])
    sprue = build_sprue(figure, BaseSettings(kind, width_mm=24, depth_mm=24), FunnelSettings())
    middle = sprue.base.bounds_mm.mean(axis=0)
    assert middle[:2] == pytest.approx((0, 0), abs=1e-6)


@pytest.mark.parametrize("kind", PLINTHS)
def test_automatic_size_holds_the_funnel_under_a_thin_figure(kind):
    needle = as_mesh(box((-0.5, -0.5, 0), (0.5, 0.5, 40)))
    sprue = build_sprue(needle, BaseSettings(kind, margin_mm=0), FunnelSettings())
    assert (np.ptp(sprue.base.bounds_mm, axis=0)[:2] >= 12 - 1e-9).all()


@pytest.mark.parametrize("kind", ("plant_marker", "wall_hook"))
def test_a_narrow_end_narrows_the_neck(kind):
    sprue = build_sprue(FIGURE, BaseSettings(kind), FunnelSettings(neck_mm=20))
    assert (np.ptp(sprue.neck, axis=0) <= 14).all()
    section = boolean.section_outlines(sprue.base, sprue.neck_z_mm + 1e-4)
    assert np.ptp(np.vstack(section), axis=0) == pytest.approx(np.ptp(sprue.neck, axis=0), abs=0.1)


def test_the_figure_sinks_in_by_the_embed_depth():
    sprue = build_sprue(FIGURE, BaseSettings(embed_mm=1.5, height_mm=7), FunnelSettings())
    assert sprue.top_z_mm == pytest.approx(1.5)
    assert sprue.base.bounds_mm[1, 2] == pytest.approx(1.5)


def test_the_funnel_reaches_from_the_neck_to_the_board():
    sprue = build_sprue(FIGURE, BaseSettings(), FunnelSettings(mouth_mm=24, neck_mm=10))
    low = sprue.funnel.vertices[sprue.funnel.vertices[:, 2] == sprue.board_z_mm]
    assert np.ptp(low[:, :2], axis=0) == pytest.approx((24, 24))
    assert np.ptp(sprue.neck, axis=0) == pytest.approx((10, 10))
    assert sprue.board_z_mm == pytest.approx(1.0 - 6.0 - 15.0)


def test_a_neck_wider_than_the_base_is_refused():
    with pytest.raises(InputError, match=r"neck is 20 mm wide, the base only 11"):
        build_sprue(
            FIGURE, BaseSettings(width_mm=10), FunnelSettings(neck_mm=20, mouth_mm=30)
        )


def test_a_slope_that_eats_the_funnel_is_refused():
    with pytest.raises(InputError, match="slope"):
        build_sprue(FIGURE, BaseSettings(width_mm=200), FunnelSettings(height_mm=5))


class TestForms:
    """Outlines and solids."""

    def test_rounded_rectangle(self):
        flat = forms.rectangle(10, 6, 2, x=3, y=-1)
        assert flat.min(axis=0) == pytest.approx((-7, -7))
        assert flat.max(axis=0) == pytest.approx((13, 5))
        assert forms.rectangle(2, 1, 5)[:, 1].max() == pytest.approx(1)

    def test_profile_touches_side_and_top(self):
        profile = np.array(forms.rounded_profile(10, 8.0, 2.0))
        assert profile[0] == pytest.approx((10 * np.tan(np.radians(8)), 0))
        assert profile[-1, 1] == pytest.approx(10)
        side = (10 - profile[:, 1]) * np.tan(np.radians(8)) - profile[:, 0]
        assert side[1] == pytest.approx(0, abs=1e-12)  # where the rounding leaves the side
        assert (side >= -1e-12).all()

    def test_prism_with_a_hole(self):
        loops = [forms.rectangle(5, 5), forms.circle(2, 64)[::-1]]
        body = forms.prism(loops, -1, 3, "p")
        hole = 32 * 4 * np.sin(2 * np.pi / 64)
        assert is_watertight(body)
        assert body.volume_mm3 == pytest.approx(4 * (100 - hole), rel=1e-12)

    def test_loft_of_a_cone(self):
        body = forms.loft([forms.at(forms.circle(3), 0), forms.at(forms.circle(2), 5)], "f")
        assert is_watertight(body)
        assert body.volume_mm3 == pytest.approx(99.484 * MANY_SIDED, rel=1e-5)

    def test_inscribed_radius_inside_and_out(self):
        square = forms.rectangle(5, 3)
        assert forms.inscribed_radius(square, np.array([0.0, 0.0])) == pytest.approx(3)
        assert forms.inscribed_radius(square, np.array([4.0, 1.0])) == pytest.approx(1)
        assert forms.inscribed_radius(square, np.array([8.0, 0.0])) == pytest.approx(-3)

    def test_convex_outline(self):
        rng = np.random.default_rng(1)
        points = np.vstack([rng.uniform(-1, 1, (60, 2)), forms.rectangle(2, 2)])
        assert sorted(map(tuple, forms.convex_outline(points))) == sorted(
            map(tuple, forms.rectangle(2, 2))
        )

    def test_outlines_unite_and_grow(self):
        one, two = forms.rectangle(2, 2), forms.rectangle(2, 2, x=3)
        (both,) = boolean.offset_outlines([one, two])
        assert both.max(axis=0) == pytest.approx((5, 2))
        (grown,) = boolean.offset_outlines([one], 1.0)
        assert grown.max(axis=0) == pytest.approx((3, 3))
        assert boolean.offset_outlines([one], -2.1) == []

    def test_sections_are_where_the_mesh_is(self):
        body = as_mesh(box((10, 20, 30), (14, 22, 40)))
        (found,) = boolean.section_outlines(body, 33.0)
        assert found.min(axis=0) == pytest.approx((10, 20))
        assert found.max(axis=0) == pytest.approx((14, 22))
        assert boolean.section_outlines(body, 50.0) == []
