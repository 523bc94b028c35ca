"""The separate surfaces of a mesh, held against manifold3d's own taking apart."""

from __future__ import annotations

import numpy as np
import pytest
from random_bodies import CSG_KINDS, random_body
from shapes import as_mesh, box, together, turned_in

from pourwright.solid import boolean


def measures(meshes) -> list[tuple[int, float]]:
    return sorted((len(m.faces), round(m.volume_mm3, 9)) for m in meshes)


@pytest.mark.parametrize("kind", CSG_KINDS)
@pytest.mark.parametrize("seed", range(8))
def test_pieces_are_those_of_a_library(kind, seed):
    mesh = boolean.from_manifold(random_body(kind, np.random.default_rng(seed)), kind)
    apart = boolean.to_manifold(mesh).decompose()
    assert measures(boolean.pieces(mesh)) == measures(boolean.from_manifold(p, "") for p in apart)


def test_pieces_keep_order_places_and_the_sign_of_voids():
    bodies = together(
        box((0, 0, 0), (4, 4, 4)), turned_in(box((1, 1, 1), (2, 2, 2))), box((9, 0, 0), (10, 1, 1))
    )
    found = boolean.pieces(as_mesh(bodies, "three"))
    assert [p.volume_mm3 for p in found] == pytest.approx([64, -1, 1])
    assert [p.name for p in found] == ["three"] * 3
    assert found[2].bounds_mm.tolist() == [[9, 0, 0], [10, 1, 1]]


def test_one_piece_is_the_mesh_itself():
    mesh = as_mesh(box((0, 0, 0), (1, 1, 1)))
    (only,) = boolean.pieces(mesh)
    assert only is mesh
