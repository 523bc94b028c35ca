"""Drawings: outlines against known shapes, PNG against a reader of its own, time line."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
import trimesh
from PIL import Image

from pourwright.sheet.picture import Marks, draw_master
from pourwright.sheet.timeline import clock_text, draw_timeline
from pourwright.sheet.view import grey_png, look, side_axes
from pourwright.shop.clock import ClockSettings, pot_life, steps
from pourwright.shop.process import PROCESSES
from pourwright.shop.resin import resin_named
from pourwright.solid.mesh import concatenate, tri_mesh
from tests.core.example_plan import box

Z = np.array([0.0, 0.0, 1.0])
FRONT = side_axes(Z, np.array([0.0, -1.0, 0.0]))


def ball(radius=10.0, centre=(0, 0, 0)):
    made = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return tri_mesh(made.vertices + np.array(centre, dtype=float), made.faces, "ball")


def enclosed(line: np.ndarray) -> float:
    x, y = line.T
    return abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2)


def test_sides_are_right_handed():
    for up, towards in ((Z, [0, -1, 0]), (-Z, [1, 0, 0]), ([1, 2, 3], [1, 0, 0]), (Z, [0, 0, 1])):
        axes = side_axes(np.array(up, dtype=float), np.array(towards, dtype=float))
        assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(axes) == pytest.approx(1.0)
        assert axes[1] == pytest.approx(np.array(up) / np.linalg.norm(up))
    assert FRONT[0] == pytest.approx([1, 0, 0])


def test_outline_of_a_ball_is_its_circle():
    view = look(ball(), FRONT)
    (line,) = view.lines
    assert view.size_mm == pytest.approx([20, 20], abs=0.1)
    assert np.hypot(*line.T) == pytest.approx(np.full(len(line), 10.0), abs=3 * view.pitch_mm)
    assert enclosed(line) == pytest.approx(np.pi * 100, rel=0.01)


def test_what_is_in_front_hides_what_is_behind():
    """A ball 30 mm in front of a box: its circle is drawn, the box's edge is not behind it."""
    both = concatenate([box((40, 10, 40)), ball(10.0, (0, -30, 0))], "both")
    view = look(both, FRONT)
    areas = sorted(enclosed(line) for line in view.lines)
    assert areas == pytest.approx([np.pi * 100, 1600], rel=0.02)
    points = np.array([[0, 0, 0], [0, -41.0, 0], [15, -5.5, 0], [15, 0, 0]])
    assert view.hidden(points).tolist() == [True, False, False, True]
    from_behind = look(both, side_axes(Z, np.array([0.0, 1.0, 0.0])))
    assert [enclosed(line) for line in from_behind.lines] == pytest.approx([1600], rel=0.02)


def test_png_is_a_png():
    pixels = np.arange(60, dtype=np.uint8).reshape(6, 10) * 4
    image = Image.open(io.BytesIO(grey_png(pixels)))
    assert image.mode == "L"
    assert (np.asarray(image) == pixels).all()
    shade = np.asarray(Image.open(io.BytesIO(look(ball(), FRONT).shade_png())))
    assert shade[0, 0] == 255  # paper outside
    middle = shade.shape[0] // 2
    assert shade[middle, middle] < 255
    # Light comes from the upper left.
    assert shade[middle // 2, middle // 2] > shade[3 * middle // 2, 3 * middle // 2]


@pytest.mark.parametrize(("size", "scale"), [(30.0, "2:1"), (75.0, "1:1"), (400.0, "1:7.5")])
def test_scale_is_a_usual_one_and_fits(size, scale):
    pictures = draw_master(box((size, size / 2, size)), (0, 0, -1), Marks(), 190.0, 110.0)
    assert pictures.scale == scale
    for svg in (pictures.standing, pictures.pour):
        assert float(re.search(r'width="([\d.]+)mm"', svg)[1]) < 100
        assert float(re.search(r'height="([\d.]+)mm"', svg)[1]) <= 110
    assert f">{size:.1f}</text>" in pictures.standing
    assert pictures.side == "front"


def test_dimensions_turn_with_the_side_that_shows_more():
    pictures = draw_master(box((20, 60, 30)), (0, 0, -1), Marks(), 190.0, 110.0)
    assert pictures.side == "right"
    assert re.findall(r">([\d.]+)</text>", pictures.standing) == ["60.0", "30.0"]


def test_marks_land_where_they_are():
    """A vent from the middle of the box's top: at the middle of the drawing, at its edge."""
    marks = Marks(
        vents=[("1", [[0, 0, 15], [0, 0, -15]]), ("G1", [[5, 0, 0], [9, 0, -15]])],
        pockets=[[-10, -10, 15]], left=[[10, -10, 0]],
        cut_line=[[0, -10, -15], [0, -10, 15]],
    )  # fmt: skip
    svg = draw_master(box((20, 20, 30)), (0, 0, -1), marks, 190.0, 110.0).pour
    ring = re.search(r'class="pocket" cx="([\d.]+)" cy="([\d.]+)"', svg)
    cut = re.search(r'd="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)"[^>]*class="cut"', svg)
    scale = (float(cut[4]) - float(cut[2])) / 30
    assert scale > 1
    # Turned over, -x lies on the right, and z = 15 is the lowest.
    assert float(ring[1]) - float(cut[1]) == pytest.approx(10 * scale, abs=0.02)
    assert float(ring[2]) == pytest.approx(float(cut[4]), abs=0.02)
    assert svg.count('class="vent"') == 2
    assert ">G1</text>" in svg
    assert 'class="left"' in svg


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0, "0:00"), (2.75, "2:45"), (-4, "-4:00"), (0.999, "1:00"), (119.5, "119:30"),
     (120, "2 h"), (1441, "24 h 01"), (-1e-12, "0:00")],
)  # fmt: skip
def test_clock(minutes, words):
    assert clock_text(minutes) == words


def test_bars_are_to_scale():
    resin, process = resin_named("polyurethane"), PROCESSES["vacuum_pressure"]
    clock = ClockSettings(temperature_c=27)
    made, life = steps(resin, process, clock, 1), pot_life(resin, 27)
    svg = draw_timeline(made, life, 190.0)
    bars = [
        tuple(map(float, m))
        for m in re.findall(r'class="bar" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', svg)
    ]
    liquid = [s for s in made if s.before_gel]
    assert len(bars) == len(liquid) == 4
    scale = (bars[1][0] - bars[0][0]) / (liquid[1].start_min - liquid[0].start_min)
    for (x, width), step in zip(bars, liquid, strict=True):
        assert x == pytest.approx(bars[0][0] + step.start_min * scale, abs=0.02)
        assert width == pytest.approx((step.end_min - step.start_min) * scale, abs=0.02)
        assert x + width <= 190
    gel = float(re.search(r'd="M([\d.]+) [\d.]+V', svg)[1])
    assert gel == pytest.approx(bars[0][0] + life.minutes * scale, abs=0.02)
    assert svg.count("url(#tight)") == sum(s.tight for s in made) > 0
    assert "gels 2:16" in svg
    for step in made:
        assert step.words in svg
