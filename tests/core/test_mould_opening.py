"""What happens once the mould is cut: undercuts by hand, registration, the guide line, pictures."""

from __future__ import annotations

import functools
import itertools
import math
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from mould_bodies import Manifold, ball_on_plinth, beast, mesh_of, mushroom

from pourwright.mould import CutPlan, KeySettings, MouldSettings, plan_cut
from pourwright.mould.box import make_box
from pourwright.mould.demould import _sideways, demould, stretch_percent
from pourwright.mould.guide import guide_body, guided
from pourwright.mould.leaves import Leaves, Sheet
from pourwright.mould.parting import Parting
from pourwright.mould.register import keys_of, outside_line
from pourwright.mould.settings import BoxSettings, GuideSettings
from pourwright.mould.surface import graph_of
from pourwright.mould.views import SIDES, polyline_obj, side_views
from pourwright.solid.lines import simplified
from pourwright.solid.topology import is_watertight

ALONG_X = Parting(np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.zeros(3), 0.0, ())


@functools.cache
def cut_of_the_beast() -> CutPlan:
    mesh = beast()
    return plan_cut(mesh, make_box(mesh, BoxSettings()), MouldSettings(), base_top_mm=5.0)


def report_of(body, front) -> tuple:
    """Undercuts of a body parted so that surface where `front(points)` holds opens towards +X."""
    graph = graph_of(mesh_of(body), 0.8)
    middles = graph.points[graph.faces].mean(axis=1)
    return demould(graph, ALONG_X, Leaves(np.where(front(middles), 1, -1), True))


class TestUndercuts:
    @pytest.mark.parametrize(("stem", "cap"), [(3.0, 9.0), (4.0, 6.5), (2.0, 10.0)])
    def test_under_a_mushroom_s_cap_it_is_from_stem_to_rim(self, stem, cap):
        ahead, behind = report_of(mushroom(stem, cap), lambda p: p[:, 0] > 1e-6)
        assert ahead.deepest_mm == pytest.approx(cap - stem, abs=3 * ahead.step_mm)
        assert behind.area_mm2 == pytest.approx(math.pi * stem**2, rel=0.01)
        worst = ahead.spots[0]
        assert worst.at_mm[0] < 17.1 and math.hypot(*worst.at_mm[1:]) < stem + 1.0

    def test_behind_a_ball_s_equator_it_is_out_to_its_cylinder(self):
        ahead, _ = report_of(Manifold.sphere(10, 128), lambda p: p[:, 0] > -6)
        by_hand = 10 - math.sqrt(10**2 - 6**2)
        assert ahead.deepest_mm == pytest.approx(by_hand, abs=3 * ahead.step_mm)
        area = 2 * math.pi * 10 * 6  # of the zone behind the equator
        assert ahead.undercut_mm2 < area
        deep = ahead.points_mm[ahead.undercut_mm > 0]
        assert (deep[:, 0] < 0).all()

    def test_a_ball_parted_at_its_equator_has_none(self):
        for leaf in report_of(Manifold.sphere(10, 128), lambda p: p[:, 0] > 0):
            assert leaf.deepest_mm == 0.0 and leaf.spots == () and leaf.undercut_mm2 == 0.0
            assert leaf.area_mm2 == pytest.approx(2 * math.pi * 100, rel=0.01)

    def test_what_ends_within_a_layer_is_no_obstacle_and_what_ends_above_it_is(self):
        """A wall from cell 5 to 14, a step beside it on either hand, and points in the wall."""
        top = np.full((20, 20), -np.inf)
        top[5:15] = 10.0
        top[2:5], top[15:17] = 3.5, 4.5
        points = np.array([[9.5, 9.5, 3.2], [13.5, 9.5, 3.2]])
        depth = _sideways(points, top, np.zeros(2), 1.0, 0.0)
        assert depth == pytest.approx([9 - 4, 17 - 13])

    def test_stretch(self):
        assert stretch_percent(1.0, 10.0) == pytest.approx(25.0)
        assert stretch_percent(5.0, 10.0) == math.inf


class TestRegistration:
    @pytest.mark.parametrize("shape", ["rectangular", "round"])
    def test_the_knife_enters_on_the_block_s_outside_and_swings(self, shape):
        cut = cut_of_the_beast()
        box = make_box(beast(), BoxSettings(shape=shape))
        wavy = KeySettings(kind="wavy cut", amplitude_mm=3, wavelength_mm=15)
        straight = outside_line(cut.parting, cut.line, box, KeySettings(kind="none"))
        line = outside_line(cut.parting, cut.line, box, wavy)
        local = (straight[:, :2] - box.centre_mm) @ box.axes.T
        if shape == "rectangular":
            beyond = np.abs(local) - np.array(box.size_mm[:2]) / 2
            on_wall = np.abs(beyond).min(axis=1) < 0.3
        else:
            on_wall = np.abs(np.linalg.norm(local, axis=1) - box.size_mm[0] / 2) < 0.3
        on_top = np.abs(straight[:, 2] - box.fill_line_mm) < 1e-6
        assert (on_wall | on_top).all() and on_top.any()
        assert straight[0, 2] == pytest.approx(box.board_mm)
        assert straight[-1, 2] == pytest.approx(cut.line.cut_mm[-1, 2])
        swing = (line - straight) @ cut.parting.opening
        assert 2.8 < swing.max() <= 3 + 1e-9 and -3 - 1e-9 <= swing.min() < -2.8
        crossings = (np.diff(np.sign(swing[np.abs(swing) > 0.1])) != 0).sum()
        length = np.linalg.norm(np.diff(straight, axis=0), axis=1).sum()
        assert crossings == pytest.approx(2 * length / 15, abs=2)

    def test_the_swing_is_held_to_half_of_the_wall(self):
        cut = cut_of_the_beast()
        box = make_box(beast(), BoxSettings(wall_mm=4))
        keys = KeySettings(amplitude_mm=9, wavelength_mm=20)
        line = outside_line(cut.parting, cut.line, box, keys)
        flat = outside_line(cut.parting, cut.line, box, KeySettings(kind="none"))
        assert np.linalg.norm(line - flat, axis=1).max() <= 2 + 1e-9

    @pytest.mark.parametrize("shape", ["rectangular", "round"])
    def test_keys_are_on_the_walls_and_go_back_one_way_only(self, shape):
        box = make_box(beast(), BoxSettings(shape=shape))
        keys = keys_of(cut_of_the_beast().parting, box, KeySettings(kind="keys", diameter_mm=8))
        assert len(keys) == 3 and all(5 <= k.diameter_mm <= 10 for k in keys)
        for key in keys:
            local = box.axes @ (np.array(key.at_mm[:2]) - box.centre_mm)
            if shape == "round":
                assert np.linalg.norm(local) == pytest.approx(box.size_mm[0] / 2)
            else:
                assert np.abs(np.abs(local) - np.array(box.size_mm[:2]) / 2).min() < 1e-9
            assert box.board_mm < key.at_mm[2] < box.fill_line_mm
            assert np.dot(key.inwards, np.array(key.at_mm[:2]) - box.centre_mm) < 0
        # Turned half round, no key falls on another one.
        turned = [(2 * np.array(box.centre_mm) - k.at_mm[:2], k.at_mm[2]) for k in keys]
        for (x, y), z in turned:
            assert min(math.dist((x, y, z), k.at_mm) for k in keys) > 5
        assert keys_of(cut_of_the_beast().parting, box, KeySettings(kind="none")) == ()

    def test_the_sheet_holds_the_line(self):
        cut = cut_of_the_beast()
        off = Sheet.of(cut.parting, cut.line).off_mm(cut.line.cut_mm)
        assert np.abs(off).max() < 1e-9


class TestGuide:
    def test_raised_and_engraved_change_the_master_by_half_a_line_each(self):
        master, line = beast(), cut_of_the_beast().line.cut_mm
        settings = GuideSettings(kind="raised", width_mm=1.0)
        body = guide_body(line, settings)
        raised, engraved = guided(master, body, "raised"), guided(master, body, "engraved")
        more = raised.volume_mm3 - master.volume_mm3
        less = master.volume_mm3 - engraved.volume_mm3
        assert more + less == pytest.approx(body.volume_mm3, rel=1e-6)
        assert 0.3 < more / body.volume_mm3 < 0.75
        assert is_watertight(raised) and is_watertight(engraved)

    def test_none_is_drawn_unless_asked_for_nor_on_the_figure_if_not_wanted(self):
        line = cut_of_the_beast().line.cut_mm
        assert guide_body(line, GuideSettings()) is None
        low = guide_body(line, GuideSettings(kind="raised", figure_too=False), above_mm=5.0)
        assert low.vertices[:, 2].max() < 5.5
        assert guide_body(line[line[:, 2] > 8], GuideSettings(kind="raised", figure_too=False),
                          above_mm=5.0) is None  # fmt: skip

    def test_simplified_stays_within_the_slack(self):
        line = cut_of_the_beast().line.cut_mm
        few = simplified(line, 0.2)
        assert len(few) < len(line) / 2
        gaps = [
            min(_off(p, a, b) for a, b in itertools.pairwise(few)) for p in line[::5]
        ]
        assert max(gaps) <= 0.2 + 1e-9


def _off(p, a, b) -> float:
    share = np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    return float(np.linalg.norm(p - a - share * (b - a)))


class TestFiles:
    def test_obj_is_read_back(self):
        lines = {"cut line": np.arange(12.0).reshape(4, 3), "slit": np.ones((3, 3))}
        text = polyline_obj(lines, closed=["slit"])
        rows = [r.split() for r in text.splitlines() if r[0] in "vl"]
        points = np.array([r[1:] for r in rows if r[0] == "v"], dtype=float)
        np.testing.assert_allclose(points, np.vstack([*lines.values()]))
        assert [r[1:] for r in rows if r[0] == "l"] == [list("1234"), list("5675")]

    def test_views_show_what_faces_the_viewer(self):
        cut = cut_of_the_beast()
        views = side_views(beast(), cut.line.cut_mm, cut.line.hinge_mm)
        assert list(views) == list(SIDES)
        low, high = beast().bounds_mm
        for name, text in views.items():
            root = ET.fromstring(text.encode())
            wide = high[0] - low[0] if name in ("front", "back") else high[1] - low[1]
            assert float(root.get("width").removesuffix("mm")) == pytest.approx(wide + 12, abs=0.02)
            assert "#c4161c" in text and "#1c5fc4" in text

    def test_a_line_behind_the_master_is_dashed(self):
        mesh = ball_on_plinth()
        turn = np.linspace(0.6, 2.5, 40)
        back = np.c_[15 * np.cos(turn), 15 * np.sin(turn), np.full(40, 20.0)] * [1, 1.02, 1]
        nothing = np.empty((0, 3))
        views = side_views(mesh, back, nothing)
        assert "dasharray" in views["front"] and "dasharray" not in views["back"]
