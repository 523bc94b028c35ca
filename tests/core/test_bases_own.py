"""A body of the user's as the base: its pour side, what is cut for one, and what cannot be used."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapes import as_mesh, box
from test_bases import DOWN, FIGURE, master_of, pockets_of

from pourwright.errors import InputError, MeshError
from pourwright.solid import boolean
from pourwright.sprue import FunnelSettings
from pourwright.sprue.own import OwnBaseSettings, base_from_mesh
from pourwright.sprue.places import clearance, nearest_place, widest_place

CLOSED, OPEN = FunnelSettings(), FunnelSettings(enabled=False)
BLOCK = as_mesh(box((-15, -10, -5), (15, 10, 5)), "block")
BALL = as_mesh(trimesh.creation.icosphere(subdivisions=4, radius=15), "ball")
STOOL = boolean.union(
    [as_mesh(box((-13, -13, -5), (13, 13, 0)))]
    + [as_mesh(box((x - 2, y - 2, -20), (x + 2, y + 2, -4))) for x in (-10, 10) for y in (-10, 10)]
)


def used(mesh, funnel=CLOSED, **settings):
    return base_from_mesh(mesh, FIGURE, OwnBaseSettings(**settings), funnel)


@pytest.mark.parametrize("funnel", [CLOSED, OPEN])
@pytest.mark.parametrize("mesh", [BLOCK, BALL, STOOL], ids=["block", "ball", "stool"])
def test_it_becomes_one_drained_master(mesh, funnel):
    made = used(mesh, funnel)
    master = master_of(made.sprue)
    assert len(boolean.pieces(master)) == 1
    assert master.bounds_mm[0, 2] == pytest.approx(made.sprue.board_z_mm, abs=1e-9)
    assert sum(p.volume_mm3 for p in pockets_of(master, DOWN)) < 1e-3
    assert made.sprue.top_z_mm == pytest.approx(1.0)
    assert made.sprue.facts.margin_mm > 2


def test_a_level_side_is_used_as_it_is():
    made = used(BLOCK)
    assert made.cut is None
    assert made.sprue.base.volume_mm3 == pytest.approx(BLOCK.volume_mm3, rel=1e-12)
    assert made.sprue.neck_z_mm == pytest.approx(1.0 - 10.0)
    assert made.sprue.board_z_mm == pytest.approx(1.0 - 10.0 - 15.0)
    assert made.sprue.facts.smallest_wall_mm is None


def test_a_ball_is_cut_as_low_as_will_do():
    """A spherical cap as wide as the neck: height R - sqrt(R^2 - r^2), volume by Archimedes."""
    made = used(BALL)
    cap = 15 - np.sqrt(15**2 - 6**2)
    step = 28 / 80
    assert cap <= made.cut.above_lowest_mm <= cap + step + 0.05
    h = made.cut.above_lowest_mm
    assert made.cut.removed_mm3 == pytest.approx(np.pi * h * h * (15 - h / 3), rel=0.03)
    assert made.cut.plane_z_mm == pytest.approx(1 - 30 + h)
    assert made.sprue.base.bounds_mm[0, 2] == pytest.approx(made.cut.plane_z_mm)
    assert "cut level" in made.cut.sentence() and "fell away" in made.cut.sentence()
    assert made.cut.removed_share == pytest.approx(made.cut.removed_mm3 / BALL.volume_mm3)


def test_a_stated_cut_is_kept():
    made = used(STOOL, cut_mm=17.0)
    assert made.cut.above_lowest_mm == pytest.approx(17)
    assert made.cut.removed_mm3 == pytest.approx(4 * 16 * 15 + 26 * 26 * 2)
    again = used(BLOCK, cut_mm=2.5)
    assert again.cut.removed_mm3 == pytest.approx(30 * 20 * 2.5)


def test_the_users_mesh_stays_as_it_is():
    before = BALL.vertices.copy(), BALL.faces.copy()
    used(BALL)
    np.testing.assert_array_equal(BALL.vertices, before[0])
    np.testing.assert_array_equal(BALL.faces, before[1])


def test_where_it_stands():
    placed = BLOCK.moved(np.array([3.0, 2.0, -4.0]))
    made = used(placed, place="as_is")
    np.testing.assert_array_equal(made.sprue.base.vertices, placed.vertices)
    moved = used(BLOCK.moved(np.array([500.0, -70.0, 33.0])))
    assert moved.sprue.base.bounds_mm.mean(axis=0)[:2] == pytest.approx((0, 0), abs=1e-9)


def test_the_neck_goes_below_the_figure_where_it_can():
    long = as_mesh(box((-10, -10, -9), (90, 10, 1)), "long")
    made = used(long, place="as_is")
    assert made.sprue.neck.mean(axis=0) == pytest.approx((0, 0), abs=1e-9)


BAD = [
    (as_mesh(trimesh.creation.icosphere(subdivisions=2, radius=4), "bead"), {}, InputError,
     "no pour side for a neck of 12 mm: its widest level cut takes 7"),
    (STOOL, {"cut_mm": 5.0}, InputError, "cut takes 4 mm, 5 mm above"),
    (STOOL, {"cut_mm": 30.0}, InputError, "reaches the figure"),
    (BLOCK.moved(np.array([0, 0, -30.0])), {"place": "as_is"}, InputError, "does not reach"),
    (as_mesh(trimesh.util.concatenate([box((0, 0, 0), (9, 9, 9)), box((20, 0, 0), (25, 5, 5))])),
     {}, MeshError, "2 separate bodies"),
]  # fmt: skip


@pytest.mark.parametrize(("mesh", "settings", "error", "named"), BAD, ids=lambda v: str(v)[:24])
def test_what_cannot_be_used_is_named(mesh, settings, error, named):
    with pytest.raises(error, match=named):
        used(mesh, **settings)


def test_an_open_mesh_is_named():
    torn = boolean.TriMesh(BLOCK.vertices, BLOCK.faces[:-1], "torn")
    with pytest.raises(MeshError, match="'torn' is not closed"):
        used(torn)


@pytest.mark.parametrize("wrong", [{"place": "beside"}, {"embed_mm": 0}, {"cut_mm": float("nan")}])
def test_bad_settings(wrong):
    with pytest.raises(InputError, match=r"own_base\."):
        OwnBaseSettings(**wrong)


class TestPlaces:
    """The largest circle in outlines."""

    def test_in_a_rectangle(self):
        middle, radius = widest_place([np.array([(0.0, 0), (10, 0), (10, 4), (0, 4)])])
        assert radius == pytest.approx(2, abs=0.02)
        assert 1.9 <= middle[0] <= 8.1 and middle[1] == pytest.approx(2, abs=0.05)

    def test_in_a_right_triangle(self):
        """Sides 3, 4, 5: the inscribed circle has radius 1."""
        middle, radius = widest_place([np.array([(0.0, 0), (4, 0), (0, 3)])])
        assert radius == pytest.approx(1, abs=0.01)
        assert middle == pytest.approx((1, 1), abs=0.02)

    def test_holes_and_islands(self):
        square = np.array([(-5.0, -5), (5, -5), (5, 5), (-5, 5)])
        ring = [square, 0.4 * square[::-1]]
        assert clearance(ring, np.array([[0.0, 0], [3.5, 0], [7, 0]])) == pytest.approx(
            (-2, 1.5, -2)
        )
        assert nearest_place(ring, 1.0, np.zeros(2)) is not None
        assert nearest_place(ring, 2.5, np.zeros(2)) is None
        assert nearest_place([], 1.0, np.zeros(2)) is None


def test_it_is_moved_under_the_feet_and_not_under_all_of_the_figure():
    leg, arm = box((0, 0, 0), (6, 6, 20)), box((0, 0, 15), (40, 6, 20))
    bowing = boolean.union([as_mesh(leg), as_mesh(arm)])
    made = base_from_mesh(BLOCK, bowing, OwnBaseSettings(place="under"), CLOSED)
    assert made.sprue.base.bounds_mm.mean(axis=0)[:2] == pytest.approx([3.0, 3.0])
