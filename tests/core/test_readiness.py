"""Print readiness: walls, room, bodies, first layer, cuts and scale."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import as_mesh, box, together, turned_in

from pourwright.errors import InputError
from pourwright.plan.readiness import check_print, cuts_for, fit_into
from pourwright.plan.scale import scaled
from pourwright.shop.printer import DEFAULT_PRINTER, PRINTERS, Printer, printer_named
from pourwright.shop.shrinkage import master_scale
from pourwright.solid import TriMesh, boolean
from pourwright.solid.sections import section_areas_mm2
from pourwright.solid.walls import thin_walls

SMALL = Printer("small", "Small", 80.0, 60.0, 100.0, 0.4, 0.05)
UPRIGHT = np.eye(3)


def solid_box(x: float, y: float, z: float) -> TriMesh:
    return as_mesh(box((0, 0, 0), (x, y, z)))


def turned(mesh: TriMesh, angle: float, axis: tuple[float, ...]) -> TriMesh:
    rotation = trimesh.transformations.rotation_matrix(angle, axis)[:3, :3]
    return TriMesh(mesh.vertices @ rotation.T, mesh.faces, mesh.name)


class TestWalls:
    """Walls of known thickness."""

    @given(st.floats(0.05, 0.39), st.floats(0, 3), st.floats(-1, 1))
    @settings(max_examples=10, deadline=None)
    def test_plates_are_exact_however_they_lie(self, thick, angle, x):
        plate = turned(solid_box(20, thick, 15), angle, (x, 1.0, 0.4))
        found = thin_walls(plate, 0.4)
        assert found.smallest_mm == pytest.approx(thick, rel=1e-6)
        assert found.thin_mm2 == pytest.approx(2 * 20 * 15, rel=0.02)

    def test_a_plate_that_is_thick_enough(self):
        found = thin_walls(solid_box(20, 0.4, 15), 0.4)
        assert (found.smallest_mm, found.at_mm, found.thin_mm2) == (0.4, None, 0.0)
        assert thin_walls(solid_box(20, 20, 15), 0.4).places_mm == ()

    def test_a_round_rod_to_its_facets(self):
        rod = as_mesh(trimesh.creation.cylinder(0.15, 20, sections=48))
        found = thin_walls(rod, 0.4)
        assert 0.3 * math.cos(math.pi / 48) * 0.999 <= found.smallest_mm <= 0.3
        assert found.thin_mm2 == pytest.approx(2 * math.pi * 0.15 * 20, rel=0.03)

    def test_the_wall_of_a_hollow(self):
        hollow = together(box((0, 0, 0), (10, 10, 10)), turned_in(box((0.25, 2, 2), (8, 8, 8))))
        found = thin_walls(as_mesh(hollow), 0.4)
        assert found.smallest_mm == pytest.approx(0.25, rel=1e-6)
        assert found.at_mm[0] <= 0.25 and all(2 <= c <= 8 for c in found.at_mm[1:])

    def test_a_thin_wing_is_found_on_a_thick_body(self):
        mesh = boolean.union([solid_box(20, 20, 20), as_mesh(box((19, 5, 5), (26, 5.2, 11)))])
        found = thin_walls(mesh, 0.4)
        assert found.smallest_mm == pytest.approx(0.2, rel=1e-6)
        assert found.thin_mm2 == pytest.approx(2 * 6 * 6, rel=0.2)
        assert all(20 <= p[0] <= 26 for p in found.places_mm)

    def test_edges_are_no_walls(self):
        """Wedges of 60 degrees have no wall, one of 20 degrees does."""
        for angle, thin in ((60, False), (20, True)):
            half = math.tan(math.radians(angle / 2)) * 20
            points = [(x, y, z) for z in (0, 10) for x, y in ((0, 0), (20, half), (20, -half))]
            found = thin_walls(boolean.convex_hull(np.array(points, dtype=float), "wedge"), 0.4)
            assert (found.thin_mm2 > 0) == thin

    def test_the_same_every_time(self):
        mesh = as_mesh(trimesh.creation.cylinder(0.15, 20, sections=24))
        assert thin_walls(mesh, 0.4) == thin_walls(mesh, 0.4)


class TestSections:
    """Areas of sections against formulas and the kernel."""

    def test_a_cone_and_a_box_with_a_hollow(self):
        cone = as_mesh(trimesh.creation.cone(5.0, 10.0, sections=64))
        share = 64 / (2 * math.pi) * math.sin(2 * math.pi / 64)
        heights = np.array([-1.0, 2.5, 5.0, 7.5, 11.0])
        by_hand = [0.0, *(share * math.pi * (5 * (1 - h / 10)) ** 2 for h in heights[1:4]), 0.0]
        found = section_areas_mm2(cone, UPRIGHT[2], heights)
        np.testing.assert_allclose(found, by_hand, atol=1e-9)
        hollow = as_mesh(
            together(box((0, 0, 0), (10, 10, 10)), turned_in(box((2, 2, 2), (8, 8, 8))))
        )
        np.testing.assert_allclose(
            section_areas_mm2(hollow, UPRIGHT[0], np.array([1.0, 5.0])), [100.0, 64.0]
        )

    def test_against_the_kernel(self):
        rng = np.random.default_rng(3)
        parts = [
            as_mesh(trimesh.creation.icosphere(subdivisions=2, radius=r).apply_translation(c))
            for r, c in zip(rng.uniform(2, 5, 5), rng.uniform(-5, 5, (5, 3)), strict=True)
        ]
        mesh = boolean.union(parts)
        body = boolean.to_manifold(mesh)
        heights = np.linspace(-6, 6, 9) + 0.01
        by_kernel = [body.slice(float(h)).area() for h in heights]
        np.testing.assert_allclose(
            section_areas_mm2(mesh, UPRIGHT[2], heights), by_kernel, rtol=1e-6, atol=1e-6
        )


class TestFit:
    """Into the printer's room."""

    def test_as_it_stands(self):
        fit = fit_into(solid_box(80, 60, 100), SMALL)
        assert fit.fits and (fit.upright, fit.turn_deg) == ("z", 0.0)
        assert fit.size_mm == pytest.approx((80, 60, 100))

    def test_turned_by_a_quarter(self):
        fit = fit_into(solid_box(55, 78, 20), SMALL)
        assert fit.fits and fit.upright == "z"
        assert fit.size_mm[0] <= 80 + 1e-6 and fit.size_mm[1] <= 60 + 1e-6

    def test_on_the_diagonal(self):
        """A bar 100 x 10 turned by 45 degrees is 110 / sqrt 2 = 77.78 wide and deep."""
        square = dataclasses.replace(SMALL, build_x_mm=77.8, build_y_mm=77.8)
        fit = fit_into(solid_box(100, 10, 20), square)
        assert fit.fits and fit.turn_deg % 90 == pytest.approx(45, abs=0.1)
        assert fit.size_mm[:2] == pytest.approx((77.7817, 77.7817), abs=0.02)
        narrow = Printer("narrow", "Narrow", 77.7, 77.7, 95.0, 0.4, 0.05)
        over = fit_into(solid_box(100, 10, 90), narrow).over_mm
        assert over == pytest.approx((0.0817, 0.0817, 0), abs=1e-4)

    def test_a_tight_fit_at_an_odd_angle(self):
        assert fit_into(turned(solid_box(79.999, 59.999, 30), 0.58231, (0, 0, 1)), SMALL).fits

    def test_lying(self):
        fit = fit_into(solid_box(20, 30, 115), dataclasses.replace(SMALL, build_x_mm=120.0))
        assert fit.fits and fit.upright in "xy"

    def test_too_big_by_how_much(self):
        fit = fit_into(solid_box(79, 59, 130), dataclasses.replace(SMALL, build_x_mm=81.0))
        assert not fit.fits and fit.upright == "z"
        assert fit.over_mm == pytest.approx((0, 0, 30))

    @given(st.floats(0, 180), st.floats(20, 79), st.floats(20, 59))
    @settings(max_examples=15, deadline=None)
    def test_what_fits_fits_however_it_is_turned(self, angle, x, y):
        assert fit_into(turned(solid_box(x, y, 30), math.radians(angle), (0, 0, 1)), SMALL).fits


class TestCuts:
    """Where to cut what does not fit."""

    dumbbell = boolean.union([
        as_mesh(box((-80, -10, 0), (-10, 10, 20))), as_mesh(box((10, -10, 0), (75, 10, 20))),
        as_mesh(box((-12, -2, 5), (12, 2, 9))),
    ])  # fmt: skip

    def test_the_neck_in_the_middle(self):
        printer = dataclasses.replace(SMALL, build_x_mm=90.0)
        (cut,) = cuts_for(self.dumbbell, printer, UPRIGHT)
        assert cut.axis == "x" and cut.normal == (1.0, 0.0, 0.0)
        assert cut.area_mm2 == pytest.approx(16)
        assert cut.at_mm[0] == pytest.approx(-2.5, abs=1.0), "nearest to the even division"

    def test_parts_fit_and_are_as_few_as_can_be(self):
        cuts = cuts_for(self.dumbbell, SMALL, UPRIGHT)
        at = [c.at_mm[0] for c in cuts]
        assert len(at) == 1 and -5 <= at[0] <= 0, "80 mm at most either side"
        tall = solid_box(20, 20, 450)
        at = [c.at_mm[2] for c in cuts_for(tall, SMALL, UPRIGHT)]
        lengths = np.diff([0, *at, 450])
        assert len(lengths) == 5 and lengths.max() <= 100 + 1e-6
        np.testing.assert_allclose(lengths, 90, atol=3)

    @pytest.mark.parametrize(("room", "low", "high"), [(110.0, -30, -20), (80.0, -5, 0)])
    def test_a_neck_off_the_middle_is_taken_where_the_parts_fit_then(self, room, low, high):
        mesh = boolean.union([
            as_mesh(box((-80, -10, 0), (-30, 10, 20))), as_mesh(box((-20, -10, 0), (75, 10, 20))),
            as_mesh(box((-32, -2, 5), (-18, 2, 9))),
        ])  # fmt: skip
        (cut,) = cuts_for(mesh, dataclasses.replace(SMALL, build_x_mm=room), UPRIGHT)
        assert low <= cut.at_mm[0] <= high

    def test_exactly_twice_the_room_takes_a_third_part(self):
        at = [c.at_mm[2] for c in cuts_for(solid_box(20, 20, 200), SMALL, UPRIGHT)]
        assert np.diff([0, *at, 200]).max() <= 100 + 1e-6

    def test_what_fits_is_not_cut(self):
        assert cuts_for(solid_box(60, 80, 100), SMALL, UPRIGHT) == ()


class TestFindings:
    """The list for people."""

    def codes(self, mesh: TriMesh, **more: object) -> list[str]:
        return [f.code for f in check_print(mesh, SMALL, **more).findings]

    def test_nothing_to_say(self):
        found = check_print(solid_box(30, 30, 30), SMALL)
        assert found.findings == () and found.cuts == () and found.bodies == 1
        assert found.first_layer_mm2 == pytest.approx(900)

    def test_too_big_is_open_and_says_where_to_cut(self):
        (told,) = check_print(TestCuts.dumbbell, SMALL).findings
        assert told.code == "too_big" and told.open
        assert "too long by" in told.message and "square to x through (-" in told.message

    def test_thin_walls(self):
        (told,) = check_print(solid_box(30, 0.3, 20), SMALL).findings[:1]
        assert told.code == "wall_thin" and not told.open
        assert "0.3 mm" in told.message and "0.4 mm" in told.message
        assert "wall_thin" not in self.codes(solid_box(30, 0.5, 20))

    def test_two_bodies(self):
        two = as_mesh(together(box((0, 0, 0), (20, 20, 20)), box((30, 0, 0), (35, 5, 5))))
        (told,) = check_print(two, SMALL).findings
        assert told.code == "not_one_body" and told.open
        assert told.at_mm == pytest.approx((32.5, 2.5, 2.5))
        hollow = together(box((0, 0, 0), (20, 20, 20)), turned_in(box((5, 5, 5), (15, 15, 15))))
        assert self.codes(as_mesh(hollow)) == [], "a hollow is no body"

    def test_a_point_on_the_board(self):
        ball = as_mesh(trimesh.creation.icosphere(subdivisions=3, radius=15))
        (told,) = check_print(ball, SMALL).findings
        assert told.code == "first_layer_small"
        assert told.at_mm[2] == pytest.approx(-15)

    @pytest.mark.parametrize("up", [(0, 0, 1), (1, 0, 0), (0, -1, 0)])
    def test_the_side_that_stands_on_the_board_is_the_pours_top(self, up):
        """A cone on its base, by the pour direction; the other way round it stands on its tip."""
        cone = as_mesh(trimesh.creation.cone(10.0, 20.0, sections=48))
        rotation = trimesh.geometry.align_vectors([0, 0, -1], up)[:3, :3]
        stood = TriMesh(cone.vertices @ rotation.T, cone.faces, "cone")
        assert self.codes(stood, up=up) == []
        assert self.codes(stood, up=tuple(-c for c in up)) == ["first_layer_small"]

    def test_cuts_are_told_in_the_standing_frame(self):
        long = turned(TestCuts.dumbbell, math.pi / 2, (0, 1, 0))  # x becomes -z
        found = check_print(long, SMALL, up=(1.0, 0.0, 0.0))
        assert found.fit.over_mm != (0, 0, 0)
        for cut in found.cuts:
            assert abs(cut.normal[2]) == pytest.approx(1.0)
            assert abs(cut.at_mm[2]) <= 5.1


class TestScale:
    """A master larger by the shrinkage."""

    def test_about_a_point(self):
        mesh = scaled(solid_box(10, 10, 10), 1.1, (10.0, 0.0, 5.0))
        np.testing.assert_allclose(mesh.bounds_mm, [[-1, 0, -0.5], [10, 11, 10.5]])
        assert mesh.volume_mm3 == pytest.approx(1331)

    def test_the_cast_has_the_figures_volume(self):
        figure = solid_box(10, 20, 30)
        master = scaled(figure, master_scale(0.003, 0.002))
        left = (1 - 0.003) ** 3 * (1 - 0.002) ** 3
        assert master.volume_mm3 * left == pytest.approx(figure.volume_mm3)

    def test_protect_weights_stay(self):
        mesh = dataclasses.replace(solid_box(1, 1, 1), protect=np.linspace(0, 1, 8))
        np.testing.assert_array_equal(scaled(mesh, 1.01).protect, mesh.protect)

    @pytest.mark.parametrize("bad", [0.0, -1.0, 3.0, float("nan"), "1", None])
    def test_bad_scale(self, bad):
        with pytest.raises(InputError, match="scale"):
            scaled(solid_box(1, 1, 1), bad)


class TestPrinter:
    """Presets and bad input."""

    def test_presets(self):
        assert PRINTERS[DEFAULT_PRINTER.name] is DEFAULT_PRINTER
        assert all(name == p.name for name, p in PRINTERS.items())
        assert printer_named("resin_small").build_mm == (120.0, 68.0, 150.0)
        with pytest.raises(InputError, match="resin_small, resin_medium"):
            printer_named("butter")

    @pytest.mark.parametrize(
        "field", ["build_x_mm", "build_y_mm", "build_z_mm", "smallest_wall_mm", "layer_mm"]
    )
    @pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf"), "1", None])
    def test_bad_numbers_name_the_setting(self, field, bad):
        with pytest.raises(InputError, match=f"printer.{field}"):
            dataclasses.replace(SMALL, **{field: bad})

    @pytest.mark.parametrize("field", ["name", "title"])
    def test_bad_texts(self, field):
        with pytest.raises(InputError, match=f"printer.{field}"):
            dataclasses.replace(SMALL, **{field: " "})
