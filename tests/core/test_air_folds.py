"""Tips that are folded inside out, as real meshes have them: no refusal, and no pocket lost."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from reference import mesh_of

from pourwright.air import find_pockets, join_tree, prepare
from pourwright.air.rays import winding_number
from pourwright.solid import TriMesh, intake
from pourwright.solid.mesh import concatenate

Manifold = manifold3d.Manifold
UP = np.array([0.0, 0.0, 1.0])


def with_folded_tip(roof: bool) -> TriMesh:
    """A column on a plate, its tip pushed through itself; roof : a bracket reaches over it."""
    body = Manifold.cube((20, 20, 4)).translate((-10, -10, -4))
    body += Manifold.cube((4, 4, 10)).translate((-2, -2, -1))
    if roof:
        body += Manifold.cube((4, 20, 30)).translate((6, -10, -2))
        body += Manifold.cube((16, 20, 4)).translate((-6, -10, 24))
    mesh = mesh_of(body)
    top = [
        int(np.flatnonzero((np.abs(mesh.vertices - [x, y, 9]) < 1e-9).all(axis=1))[0])
        for x, y in ((-2, -2), (2, -2), (2, 2), (-2, 2))
    ]
    faces = mesh.faces[~np.isin(mesh.faces, top).all(axis=1)]
    # Mirrored, so that the sides cross below and the last bit lies inside out.
    tip = [[0.1, -0.1, 11], [-0.1, -0.1, 11], [-0.1, 0.1, 11], [0.1, 0.1, 11.01]]
    n = len(mesh.vertices)
    sides = []
    for i in range(4):
        j = (i + 1) % 4
        sides += [[top[i], top[j], n + j], [top[i], n + j, n + i]]
    sides += [[n, n + 1, n + 2], [n, n + 2, n + 3]]
    return TriMesh(np.r_[mesh.vertices, tip], np.r_[faces, sides], "column")


def test_the_tip_is_folded_and_its_normal_says_inside():
    surface = prepare(with_folded_tip(roof=False))
    tip = int(np.argmax(surface.heights(UP)))
    assert surface.normals[tip] @ UP < 0
    assert abs(winding_number(surface, surface.vertices[tip] + 1e-4 * UP)) < 1e-9


def test_a_folded_tip_with_nothing_above_is_no_error():
    surface = prepare(intake([with_folded_tip(roof=False)]).mesh)
    assert find_pockets(surface, UP).pockets == ()


def test_a_folded_tip_is_not_joined_to_a_part_above_it():
    """A ray from the tip enters the bracket before it leaves it."""
    surface = prepare(intake([with_folded_tip(roof=True)]).mesh)
    (pocket,) = find_pockets(surface, UP).pockets
    # The column above the plate, 4 x 4 x 9, and the pyramid to where its sides cross.
    assert pocket.volume_mm3 == pytest.approx(144 + 10.92, abs=0.05)
    assert pocket.saddle_height_mm == pytest.approx(0.0, abs=1e-9)


def test_a_hollows_roof_is_still_joined():
    body = Manifold.cube((10, 10, 10), True) - Manifold.sphere(3.0, 16).rotate((10, 20, 30))
    tree = join_tree(prepare(mesh_of(body)), UP)
    assert len(tree.pass_a) == len(tree.peaks) - 1


def test_a_roof_under_a_shell_that_was_not_united_is_no_error():
    """As where a surface crosses itself: the ray enters once more before it leaves."""
    block = Manifold.cube((20, 20, 20), True) - Manifold.cube((4, 4, 5)).translate((-2, -2, 0))
    inner = Manifold.cube((8, 8, 2)).translate((-4, -4, 7))
    surface = prepare(concatenate([mesh_of(block), mesh_of(inner)]))
    tree = join_tree(surface, UP)
    roof = np.flatnonzero(np.isclose(surface.heights(UP)[tree.peaks], 5.0))
    assert len(roof)
    assert np.isin(roof, np.r_[tree.pass_a, tree.pass_b]).all()


def test_winding_number():
    surface = prepare(mesh_of(Manifold.cube((2, 2, 2), True)))
    for point, expected in (((0, 0, 0), 1), ((0.9, -0.9, 0.5), 1), ((1.5, 0, 0), 0)):
        assert winding_number(surface, np.array(point, dtype=float)) == pytest.approx(expected)
