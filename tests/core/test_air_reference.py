"""Air pockets against exact references on random bodies, and what happens without each safeguard.

Two references that share no code with the analysis: bodies cut at a level and taken apart by
manifold3d, and lattices of cubes whose parts follow from which cubes share a face.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from random_bodies import CSG_KINDS, LATTICE_KINDS, random_body, random_lattice
from reference import check_body, directions, mesh_of, parts_above

from pourwright.air import jointree, surface
from pourwright.solid import topology

# 6 kinds x 4 batches x 14 bodies = 336 bodies, each in 4 directions.
BATCHES, BODIES = 4, 14


def wrong_results(kind: str, batch: int, bodies: int = BODIES) -> list[str]:
    wrong = []
    for i in range(bodies):
        rng = np.random.default_rng([batch, i, len(kind)])
        if kind in CSG_KINDS:
            body = random_body(kind, rng)
            mesh, parts = mesh_of(body), partial(parts_above, body)
        else:
            lattice = random_lattice(kind, rng)
            mesh, parts = lattice.mesh(), lattice.parts_above
        try:
            found = check_body(mesh, parts, directions(rng), rng)
        except Exception as error:
            found = [f"raised {error!r}"]
        wrong += [f"{kind} {batch}/{i}: {w}" for w in found]
    return wrong


@pytest.mark.parametrize("batch", range(BATCHES))
@pytest.mark.parametrize("kind", CSG_KINDS + LATTICE_KINDS)
def test_pockets_equal_the_exact_reference(kind, batch):
    assert wrong_results(kind, batch) == []


def test_without_rays_to_hollows_results_are_wrong(monkeypatch):
    nothing = np.empty(0, np.int64)
    monkeypatch.setattr(jointree, "_ties", lambda *_: (nothing, nothing))
    assert wrong_results("hollow", 0)


def test_with_area_weighted_normals_results_are_wrong(monkeypatch):
    def area_weighted(corners, area, faces, twin, n_vertices):
        result = np.zeros((n_vertices, 3))
        for i in range(3):
            np.add.at(result, faces[:, i], area)
        return result

    monkeypatch.setattr(surface, "pseudonormals", area_weighted)
    assert any(wrong_results(k, b) for k in CSG_KINDS for b in range(BATCHES))


def test_with_welded_contacts_results_are_wrong(monkeypatch):
    monkeypatch.setattr(
        topology, "unweld", lambda v, f, twin: (v, f, np.arange(len(v)))
    )
    assert wrong_results("scattered", 0)
