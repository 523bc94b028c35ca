"""Turns of the figure, and the maps of directions. Run inside Blender."""

from math import pi

import numpy as np
from mathutils import Matrix, Quaternion, Vector
from stage import part

IMPORTED_ON_INSTALL: set[str] = set()


def case_turns_bring_up_to_where_it_belongs():
    turned = part("pose.turned")
    generator = np.random.default_rng(7)
    ups = [Vector(v).normalized() for v in generator.normal(size=(200, 3))]
    ups += [Vector(v) for v in ((0, 0, 1), (0, 0, -1), (1, 0, 0), (0, 1, 0))]
    ups += [Vector((1e-7, 0, 1)), Vector((0, 1e-5, -1)), Vector((3, 4, 0))]
    for up in ups:
        one = up.normalized()
        down, over = turned.base_down(up), turned.as_poured(up)
        assert (down @ one - Vector((0, 0, -1))).length < 2e-6, up
        assert (over @ one - Vector((0, 0, 1))).length < 2e-6, up
        for turn in (down, over):
            assert abs(turn.magnitude - 1.0) < 1e-6
    # Without a need nothing turns, and upside down the figure still looks at the viewer.
    assert turned.base_down((0, 0, -1)) == Quaternion()
    assert (turned.as_poured((0, 0, -1)) @ Vector((0, -1, 0)) - Vector((0, -1, 0))).length < 1e-6
    near = turned.as_poured((0.01, 0.0, -1.0)), turned.as_poured((0.0, 0.0, -1.0))
    assert near[0].rotation_difference(near[1]).angle < 0.02


def case_map_of_directions():
    drawn = part("pose.picture")
    generator = np.random.default_rng(3)
    ups = generator.normal(size=(300, 3))
    ups /= np.linalg.norm(ups, axis=1)[:, None]
    toward = np.array((-0.6, 0.48, -0.64))
    packed = drawn.pack(ups, 10.0 - 5.0 * (ups @ toward))
    again, points = drawn.unpack(packed)
    assert np.allclose(again, ups, atol=1e-6)
    assert np.allclose(points, 10.0 - 5.0 * (ups @ toward), atol=1e-5)
    assert drawn.scale(packed)[0] == points.min()
    size = 120
    lower, upper = drawn.caps((0.0, 0.0, -1.0), pi)
    sideways = drawn.Cap((1.0, 0.0, 0.0), pi / 2)
    for cap, direction, place in (
        (lower, (0, 0, -1), (0, 0)), (upper, (0, 0, 1), (0, 0)), (lower, (1, 0, 0), (-1, 0)),
        (upper, (1, 0, 0), (1, 0)), (lower, (0, 1, 0), (0, 1)), (upper, (0, -1, 0), (0, -1)),
        (sideways, (0, 1, 0), (0, 1)), (sideways, (0, 0, 1), (-1, 0)),
        (drawn.Cap((0.0, -1.0, 0.0), pi / 2), (1, 0, 0), (1, 0)),
        (drawn.Cap((0.0, -1.0, 0.0), pi / 2), (0, 0, 1), (0, 1)),
    ):
        assert np.allclose(drawn._project(cap, direction), place, atol=1e-9), (cap, direction)
    # Areas are kept: the share of directions in the inner half of the radius is a quarter.
    for cap in (lower, upper, drawn.Cap((0.6, 0.0, 0.8), 0.7), drawn.Cap((0.0, 0.0, -1.0), pi)):
        many = generator.normal(size=(4000, 3))
        many /= np.linalg.norm(many, axis=1)[:, None]
        out = np.array([np.hypot(*drawn._project(cap, tuple(up))) for up in many])
        assert abs((out < 0.5).sum() / (out < 1.0).sum() - 0.25) < 0.05
        assert ((out < 1.0) == (many @ cap.middle > np.cos(cap.reach))).all()
    image = drawn.picture(packed, lower, [], size)
    assert image.shape == (size, size, 4) and image[0, 0, 3] == 0.0
    assert image[size // 2, size // 2, 3] == 1.0 and np.isfinite(image).all()
    x, y = drawn._project(lower, tuple(toward))
    radius = size * drawn.DISC_SHARE / 2
    best = image[round(size / 2 + radius * y), round(size / 2 + radius * x), :3]
    worst = image[round(size / 2 - radius * 0.97 * y / np.hypot(x, y)),
                  round(size / 2 - radius * 0.97 * x / np.hypot(x, y)), :3]
    assert best.sum() > 1.3 and best[0] > 0.5 and worst.sum() < best.sum() - 0.4, (best, worst)
    marked = drawn.picture(
        packed, lower, [drawn.Mark(tuple(toward), "12"), drawn.Mark((0.0, 0.0, 1.0))], size)
    changed = np.abs(marked - image).max(axis=2) > 0.05
    rows, columns = np.nonzero(changed)
    assert abs(rows.mean() - size / 2 - radius * y) < 2.0
    assert abs(columns.mean() - size / 2 - radius * x) < 2.0
    for text in "0123456789XYZ":
        assert len(drawn.GLYPHS[text]) == 5
    assert np.array_equal(drawn.picture(packed, lower, [], size), image)


def case_maps_of_a_search():
    drawn = part("pose.picture")
    for middle in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.6, 0.0, 0.8), (0.48, -0.6, -0.64)):
        for cap in drawn.caps(middle, pi):  # seen from outside: right, top, middle
            turned = Matrix((*cap.frame, cap.middle))
            assert abs(turned.determinant() - 1.0) < 1e-6, middle
            assert np.allclose(turned @ turned.transposed(), np.eye(3), atol=1e-6)
    one, *more = drawn.caps((0.0, 0.0, -1.0), 0.5)
    assert one.reach == 0.5 and not more
    first, second = drawn.caps((0.0, 0.0, -1.0), 2.5)
    assert (first.reach, second.reach) == (pi / 2, pi / 2) and second.middle == (0.0, 0.0, 1.0)
    assert first.hole == 0.0 and abs(second.hole - (pi - 2.5)) < 1e-12
    ups = np.array([[0.0, 0.0, -1.0], [1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
    size = 100
    image = drawn.picture(drawn.pack(ups, [0.0, 1.0, 4.0]), second, [], size)
    assert np.allclose(image[size // 2, size // 2, :3], drawn.NOT_TRIED)
    edge = round(size / 2 + 0.8 * size * drawn.DISC_SHARE / 2)
    assert image[size // 2, edge, :3].sum() > 2.0 * image[size // 2, size - edge, :3].sum()
