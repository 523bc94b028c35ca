"""Masters for tests of the mould room: frame of the board, base down."""

from __future__ import annotations

import manifold3d
import numpy as np

from pourwright.solid import TriMesh

Manifold = manifold3d.Manifold


def mesh_of(body: manifold3d.Manifold, name: str = "master") -> TriMesh:
    mesh = body.to_mesh64()
    return TriMesh(mesh.vert_properties[:, :3].copy(), mesh.tri_verts.astype(np.int64), name)


def ball_on_plinth() -> TriMesh:
    """A ball of 15 mm radius, 20 mm up, on a plinth of 36 x 36 x 8 mm."""
    plinth = Manifold.cube((36, 36, 8), True).translate((0, 0, 4))
    return mesh_of(plinth + Manifold.sphere(15, 96).translate((0, 0, 20)))


def beast() -> TriMesh:
    """A long animal with head and tail, its left and right alike: the plane y = 0 halves it."""
    body = Manifold.sphere(8, 64).scale((1.8, 0.9, 0.8)).translate((0, 0, 20))
    head = Manifold.sphere(5, 48).translate((16, 0, 28))
    neck = Manifold.hull_points(np.vstack([
        mesh_of(Manifold.sphere(3, 24).translate(t)).vertices for t in ((9, 0, 22), (15, 0, 27))
    ]))
    tail = Manifold.cylinder(10, 2.5, 0.8, 32).rotate((0, -70, 0)).translate((-12, 0, 21))
    leg = Manifold.cylinder(14, 4, 4, 48).translate((0, 0, 4))
    plinth = Manifold.cube((40, 22, 5), True).translate((0, 0, 2.5))
    return mesh_of(body + head + neck + tail + leg + plinth)


def gate(width: float = 16.0) -> TriMesh:
    """Two posts and a beam on a plinth: one opening, seen from the front."""
    posts = Manifold.cylinder(20, 3, 3, 32).translate((width / 2, 0, 3))
    posts += Manifold.cylinder(20, 3, 3, 32).translate((-width / 2, 0, 3))
    beam = Manifold.cube((width + 6, 6, 5), True).translate((0, 0, 24))
    return mesh_of(posts + beam + Manifold.cube((width + 14, 16, 4), True).translate((0, 0, 2)))


def mushroom(stem: float = 3.0, cap: float = 9.0) -> manifold3d.Manifold:
    """A stem along +X with a cap at its end."""
    body = Manifold.cylinder(20, stem, stem, 96) + Manifold.cylinder(3, cap, cap, 96).translate(
        (0, 0, 17)
    )
    return body.rotate((0, 90, 0))
