"""The voxel grid against scipy's distance transform, winding numbers and known volumes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import trimesh
from random_bodies import CSG_KINDS, random_body
from scipy.ndimage import distance_transform_edt
from shapes import as_mesh, box

from pourwright.solid import TriMesh
from pourwright.solid.boolean import from_manifold
from pourwright.vents import grid as grid_module
from pourwright.vents.grid import MAX_REACH_VOXELS, MAX_VOXELS, squared_distance, voxelise


@pytest.mark.parametrize("reach", [1, 2, 5, 11, MAX_REACH_VOXELS])
@pytest.mark.parametrize("share", [0.001, 0.02, 0.3])
def test_distances_are_scipys_up_to_the_reach(reach, share):
    rng = np.random.default_rng(reach)
    solid = rng.random((29, 34, 31)) < share
    solid[3, 4, 5] = True
    exact = np.rint(distance_transform_edt(~solid) ** 2).astype(int)
    found = squared_distance(solid, reach).astype(int)
    far = reach * reach + 1
    assert np.array_equal(found, np.minimum(exact, far))
    assert (exact > far).any() or share > 0.01


def test_without_anything_solid_all_is_far():
    assert (squared_distance(np.zeros((4, 5, 6), dtype=bool), 3) == 10).all()


def winding(mesh: TriMesh, points: np.ndarray) -> np.ndarray:
    """Winding numbers by solid angles (A. van Oosterom, J. Strackee 1983, from memory)."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]][None] - points[:, None] for i in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=2) for v in (a, b, c))
    top = np.einsum("ijk,ijk->ij", a, np.cross(b, c))
    low = (
        la * lb * lc + np.einsum("ijk,ijk->ij", a, b) * lc
        + np.einsum("ijk,ijk->ij", b, c) * la + np.einsum("ijk,ijk->ij", c, a) * lb
    )
    return 2 * np.arctan2(top, low).sum(axis=1) / (4 * np.pi)


@pytest.mark.parametrize("kind", CSG_KINDS)
@pytest.mark.parametrize("seed", range(4))
def test_solid_voxels_are_those_inside_or_cut_by_a_wall(kind, seed):
    mesh = from_manifold(random_body(kind, np.random.default_rng(seed)), kind)
    pitch = 0.23
    g = voxelise(mesh, float(mesh.bounds_mm[1, 2]), pitch, 1.0, 2.0)
    index = np.stack(np.unravel_index(np.arange(g.solid.size), g.shape), axis=1)
    rng = np.random.default_rng(seed)
    index = index[rng.choice(len(index), min(1500, len(index)), replace=False)]
    at = g.middle_mm(index)
    turns = winding(mesh, at)
    inside = np.rint(turns) > 0
    solid = g.solid[tuple(index.T)]
    assert solid[inside].mean() > 0.999  # a middle within the lines' hair of a wall may differ
    # Solid but with its middle outside: a wall is within half a voxel above or below.
    extra = at[solid & ~inside]
    if len(extra):
        half = np.array([0, 0, pitch / 2 * 1.01])
        wall = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
        _, gap, _ = trimesh.proximity.closest_point_naive(wall, extra)
        assert (gap <= np.linalg.norm(half) + 1e-3 * pitch).all()


@pytest.mark.parametrize("kind", CSG_KINDS)
def test_filled_volume_is_the_bodys_but_for_its_skin(kind):
    for seed in range(5):
        mesh = from_manifold(random_body(kind, np.random.default_rng(seed)), kind)
        pitch = 0.1
        g = voxelise(mesh, float(mesh.bounds_mm[1, 2]), pitch, 0.5, 1.0)
        corners = mesh.vertices[mesh.faces]
        level = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        # Voxels of which a wall passes the middle's line add up to half a voxel of height.
        skin = np.abs(level[:, 2]).sum() / 2 * pitch / 2
        volume = g.solid.sum() * pitch**3
        slack = 0.03 * mesh.volume_mm3 + 2 * pitch**2
        assert mesh.volume_mm3 - slack <= volume <= mesh.volume_mm3 + skin + slack


def test_entries_are_where_lines_come_in_from_below():
    mesh = as_mesh(box((0, 0, 0), (4, 3, 2)))
    g = voxelise(mesh, 5.0, 0.5, 1.0, 1.0)
    assert np.allclose(g.entries.z_mm, 0.0)
    assert len(g.entries.row) == (4 / 0.5) * (3 / 0.5)
    normals = np.cross(
        mesh.vertices[mesh.faces[:, 1]] - mesh.vertices[mesh.faces[:, 0]],
        mesh.vertices[mesh.faces[:, 2]] - mesh.vertices[mesh.faces[:, 0]],
    )
    assert (normals[g.entries.triangle, 2] < 0).all()


def test_a_sheet_thinner_than_a_voxel_is_solid_all_over():
    mesh = as_mesh(box((0, 0, 1.01), (6, 6, 1.02)))
    g = voxelise(mesh, 4.0, 0.5, 1.0, 1.0)
    columns = g.solid.any(axis=0)
    at = g.middle_mm(np.array(list(itertools.product([0], *map(range, g.shape[1:])))))
    under = ((at[:, :2] > 0) & (at[:, :2] < 6)).all(axis=1)
    assert columns.ravel()[under].all()


def test_the_topmost_layer_lies_half_a_voxel_under_the_top():
    mesh = as_mesh(box((0, 0, 0), (4, 3, 2)))
    g = voxelise(mesh, 7.3, 0.4, 1.5, 2.0)
    top = g.middle_mm(np.array([[g.shape[0] - 1, 0, 0]]))[0]
    assert top[2] == pytest.approx(7.3 - g.pitch_mm / 2)
    low = g.middle_mm(np.array([[0, 0, 0]]))[0]
    assert low[2] - g.pitch_mm / 2 <= 0.0 + 1e-9
    assert low[0] - g.pitch_mm / 2 <= -1.5 + 1e-9
    assert tuple(g.voxel(low)) == (0, 0, 0)


def test_far_out_of_the_grid_there_is_nothing_near():
    g = voxelise(as_mesh(box((0, 0, 0), (4, 3, 2))), 4.0, 0.5, 1.0, 2.0)
    far = g.distance_mm(np.array([[90.0, 0, 0], [2.0, 1.5, 1.0]]))
    assert far[0] == pytest.approx(g.reach * g.pitch_mm)
    assert far[1] == 0


def test_the_pitch_grows_where_the_grid_would_not_fit(monkeypatch):
    monkeypatch.setattr(grid_module, "MAX_VOXELS", 40_000)
    g = voxelise(as_mesh(box((0, 0, 0), (60, 40, 90))), 95.0, 0.5, 3.0, 3.0)
    assert g.solid.size <= 40_000
    assert g.pitch_mm > 0.5
    assert g.reach <= MAX_REACH_VOXELS


@pytest.mark.parametrize("size", [(1000, 1000, 1000), (3000, 20, 20), (900, 900, 4), (50, 60, 80)])
def test_no_size_of_figure_goes_over_the_bound(size, monkeypatch):
    made = []

    def record(mesh, origin, pitch, shape):
        made.append(shape)
        raise StopIteration

    monkeypatch.setattr(grid_module, "_inside", record)
    with pytest.raises(StopIteration):
        voxelise(as_mesh(box((0, 0, 0), size)), size[2] + 5.0, 0.1, 7.5, 3.5)
    assert np.prod(made[0], dtype=float) <= MAX_VOXELS


def test_a_long_reach_makes_the_pitch_coarser():
    g = voxelise(as_mesh(box((0, 0, 0), (20, 20, 20))), 25.0, 0.1, 3.0, 6.0)
    assert g.pitch_mm == pytest.approx(6.0 / MAX_REACH_VOXELS)
    assert g.reach == MAX_REACH_VOXELS
    assert int(g.off2.max()) <= g.reach**2 + 1
