"""Bodies to be posed: random ones with limbs, the random solids of the air tests, simple shapes."""

from __future__ import annotations

import manifold3d
import numpy as np
from random_bodies import random_body

from pourwright.solid import Solid, TriMesh

Manifold = manifold3d.Manifold
KINDS = ("limbs", "csg", "limbs", "hollow", "limbs", "csg", "limbs", "nested", "limbs", "csg")
SIZE_MM = 60.0


def solid_of(body: manifold3d.Manifold | TriMesh, size_mm: float | None = None) -> Solid:
    """The body as intake would hand it on, scaled to a length of its longest side."""
    if isinstance(body, TriMesh):
        vertices, faces = body.vertices, body.faces
    else:
        mesh = body.to_mesh64()
        vertices, faces = mesh.vert_properties[:, :3].copy(), mesh.tri_verts.astype(np.int64)
    if size_mm is not None:
        vertices = vertices * (size_mm / np.ptp(vertices, axis=0).max())
    tri = TriMesh(vertices, faces, "body")
    return Solid(tri, tri.volume_mm3, 1, len(faces), 1)


def pose_body(number: int) -> tuple[str, Solid]:
    """The kind and the body of a number, always the same: every second one has limbs."""
    kind = KINDS[number % len(KINDS)]
    rng = np.random.default_rng(1000 + number)
    body = limbs(rng) if kind == "limbs" else random_body(kind, rng)
    return kind, solid_of(body, SIZE_MM)


def limbs(rng: np.random.Generator) -> manifold3d.Manifold:
    """A trunk with limbs of two or three tapering pieces; some end in fingers."""
    body = Manifold.sphere(1.0, 20).scale(tuple(rng.uniform(5, 11, 3)))
    for _ in range(int(rng.integers(3, 7))):
        way = _unit(rng.normal(size=3))
        place, radius = way * 4, rng.uniform(2, 3.5)
        for _ in range(int(rng.integers(2, 4))):
            way = _unit(way + rng.normal(size=3) * 0.6)
            end, thinner = place + way * rng.uniform(8, 16), radius * rng.uniform(0.6, 1.0)
            body += _rod(place, radius, end, thinner, 14)
            place, radius = end, thinner
        if rng.random() < 0.4:
            for _ in range(int(rng.integers(2, 5))):
                finger = _unit(way + rng.normal(size=3) * 0.7)
                end = place + finger * rng.uniform(3, 6)
                body += _rod(place, radius * 0.5, end, radius * 0.4, 10)
    return body


def _rod(a: np.ndarray, ra: float, b: np.ndarray, rb: float, sides: int) -> manifold3d.Manifold:
    return Manifold.batch_hull([
        Manifold.sphere(ra, sides).translate(tuple(a)),
        Manifold.sphere(rb, sides).translate(tuple(b)),
    ])


def _unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.linalg.norm(vector)
