"""Box, rubber and vessels: sizes by hand, volumes by formula and by an independent mesh library."""

from __future__ import annotations

import math
from importlib import resources

import numpy as np
import pytest
import trimesh
from mould_bodies import Manifold, ball_on_plinth, beast, mesh_of
from random_bodies import CSG_KINDS, random_body

from pourwright.errors import InputError
from pourwright.mould.box import inside_of, make_box, smallest_circle
from pourwright.mould.fit import PoseSize, fit_box, fit_poses
from pourwright.mould.rubber import chamber_cup_ml, rubber_for
from pourwright.mould.settings import BoxSettings, CutSettings, GuideSettings, KeySettings
from pourwright.shop.silicone import read_silicones, silicone_named, silicones
from pourwright.shop.vessel import Vessel
from pourwright.solid import boolean
from pourwright.solid.topology import is_watertight

TIN = silicone_named("condensation")


def library_mm3(mesh) -> float:
    """Volume by trimesh, which shares no code with this project."""
    return float(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).volume)


@pytest.mark.parametrize("shape", ["rectangular", "round"])
def test_ball_in_a_box_by_formula(shape):
    ball = mesh_of(Manifold.sphere(15, 256))
    box = make_box(ball, BoxSettings(shape=shape, wall_mm=10, cover_mm=10))
    assert box.size_mm == pytest.approx((50, 50, 40))
    rubber = rubber_for(ball, box, TIN, 0.15)
    area = 50 * 50 if shape == "rectangular" else math.pi * 25**2
    # A ball of flat facets is a little smaller than a round one; the chord error bounds it.
    assert rubber.volume_mm3 == pytest.approx(area * 40 - 4 / 3 * math.pi * 15**3, rel=1e-4)
    assert box.inner_mm3 == pytest.approx(area * 40, rel=1e-9)


def test_a_tube_drawn_with_sides_has_the_tube_s_volume():
    box = make_box(ball_on_plinth(), BoxSettings(shape="round"))
    assert library_mm3(inside_of(box)) == pytest.approx(box.inner_mm3, rel=1e-6)
    assert is_watertight(inside_of(box))


@pytest.mark.parametrize("seed", range(12))
def test_rubber_is_box_less_master_by_another_library(seed):
    rng = np.random.default_rng(seed)
    master = mesh_of(random_body(CSG_KINDS[seed % 2], rng))
    shape = ("rectangular", "round")[seed % 2]
    settings = BoxSettings(shape=shape, wall_mm=3, cover_mm=2, round_up_mm=0.1)
    box = make_box(master, settings)
    rubber = rubber_for(master, box, TIN, 0.0)
    solid, filled = boolean.without_voids(master)
    expected = library_mm3(inside_of(box)) - library_mm3(solid)
    assert rubber.volume_mm3 == pytest.approx(expected, rel=1e-4)
    assert library_mm3(rubber.body) == pytest.approx(rubber.volume_mm3, rel=1e-9)
    assert rubber.hollow_mm3 == pytest.approx(filled)
    assert rubber.to_mix_ml == pytest.approx(rubber.volume_mm3 / 1000)


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0, 80.0, 131.0])
def test_the_box_turns_with_a_long_master_and_keeps_the_wall(turn):
    bar = mesh_of(Manifold.cube((60, 10, 10)).rotate((0, 0, turn)))
    box = make_box(bar, BoxSettings(shape="auto", wall_mm=8, cover_mm=9))
    assert box.shape == "rectangular"
    assert box.size_mm == pytest.approx((76, 26, 19))
    assert abs((box.turn_deg - turn + 90) % 180 - 90) < 1e-6
    local = (bar.vertices[:, :2] - box.centre_mm) @ box.axes.T
    room = np.array(box.size_mm[:2]) / 2 - np.abs(local).max(axis=0)
    assert (room >= 8 - 1e-9).all()


def test_auto_takes_the_shape_with_less_rubber():
    assert make_box(mesh_of(Manifold.sphere(15, 96)), BoxSettings()).shape == "round"
    assert make_box(beast(), BoxSettings()).shape == "rectangular"


def test_smallest_circle_against_brute_force():
    rng = np.random.default_rng(3)
    for _ in range(20):
        points = rng.normal(size=(12, 2))
        centre, diameter = smallest_circle(points)
        assert np.linalg.norm(points - centre, axis=1).max() == pytest.approx(diameter / 2)
        pairs = [np.linalg.norm(a - b) for a in points for b in points]
        assert diameter >= max(pairs) - 1e-9
        for nudge in 1e-3 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]]):
            assert np.linalg.norm(points - centre - nudge, axis=1).max() > diameter / 2


def test_panels_close_the_box():
    box = make_box(beast(), BoxSettings(shape="rectangular", thickness_mm=5, rim_mm=12))
    long, short, board = box.panels
    assert (long.count, short.count, board.count) == (2, 2, 1)
    assert long.width_mm == box.size_mm[0] + 10  # butt joint: it covers the short sides' ends
    assert short.width_mm == box.size_mm[1]
    assert long.height_mm == short.height_mm == box.size_mm[2] + 12
    tube = make_box(beast(), BoxSettings(shape="round", thickness_mm=1))
    assert tube.panels[0].width_mm == pytest.approx(math.pi * (tube.size_mm[0] + 1) + 20)


def test_masses_and_mixes():
    box = make_box(ball_on_plinth(), BoxSettings())
    one = rubber_for(ball_on_plinth(), box, TIN, 0.15)
    mass = one.volume_mm3 / 1000 * 1.15 * TIN.cured_density_g_ml
    assert one.part_a_g + one.part_b_g == pytest.approx(mass)
    assert one.part_a_g / one.part_b_g == pytest.approx(10)
    assert (one.mixes, one.cup_ml) == (1, pytest.approx(4 * one.to_mix_ml))
    some = rubber_for(ball_on_plinth(), box, TIN, 0.15, cup_ml=150)
    assert some.mixes == math.ceil(4 * one.to_mix_ml / 150)
    assert some.cup_ml <= 150 and some.mix_ml * some.mixes == pytest.approx(one.to_mix_ml)
    few = rubber_for(ball_on_plinth(), box, TIN, 0.15, chamber_mm=(60, 60))
    assert few.mixes == math.ceil(4 * one.to_mix_ml / chamber_cup_ml(60, 60))
    assert chamber_cup_ml(60, 60) == pytest.approx(math.pi * 400 * 40 / 1000)


def test_vessels_say_by_how_much():
    box = make_box(beast(), BoxSettings(shape="rectangular"))
    along, across, tall = box.outer_mm
    wide = math.hypot(along, across)
    assert fit_box(box, Vessel("pot", wide, tall)).fits
    fit = fit_box(box, Vessel("pot", wide - 3, tall - 2))
    assert fit.over_mm == (pytest.approx(3), pytest.approx(2))
    assert "3.0 mm too wide and 2.0 mm too tall" in fit.message
    poses = [PoseSize("standing", (20, 20, 90)), PoseSize("lying", (90, 20, 20))]
    order = fit_poses(poses, BoxSettings(), Vessel("pot", 130, 60))
    assert [p.name for p, f in order if f.fits] == ["lying"]


def test_presets_say_where_they_are_from():
    assert set(silicones()) == {"condensation", "addition"}
    for rubber in silicones().values():
        assert "memory" in rubber.source and "no source" in rubber.source
    with pytest.raises(InputError, match="no silicone 'tin'"):
        silicone_named("tin")
    with pytest.raises(InputError, match=r"x lacks .*cures_by"):
        read_silicones("[x]\ntitle = 'a'\n", "own.toml")
    with pytest.raises(InputError, match="not valid TOML"):
        read_silicones("[x", "own.toml")
    text = resources.files("pourwright.shop").joinpath("silicones.toml").read_text("utf-8")
    thick = text.replace("viscosity_mpa_s = 20000", "viscosity_mpa_s = 90000")
    with pytest.raises(InputError, match="outside its own range 8000 to 40000"):
        read_silicones(thick, "own.toml")


@pytest.mark.parametrize("make", [
    lambda: BoxSettings(wall_mm=0), lambda: BoxSettings(shape="hexagon"),
    lambda: BoxSettings(margin=float("nan")), lambda: CutSettings(hinge_mm=-1),
    lambda: CutSettings(viewer=(0, 0, 0)), lambda: KeySettings(kind="teeth"),
    lambda: KeySettings(amplitude_mm=10, wavelength_mm=12), lambda: GuideSettings(width_mm=0),
    lambda: Vessel("pot", 5, 100),
])  # fmt: skip
def test_bad_settings_are_named(make):
    with pytest.raises(InputError):
        make()
