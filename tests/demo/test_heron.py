"""The demo figure: sound parts, the promised size, and one body after the union."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from blend_demo.heron import Part, heron
from pourwright.example.shapes import close_rings, profile, spline


@pytest.fixture(scope="module")
def quick() -> list[Part]:
    return heron(0.25)


@pytest.fixture(scope="module")
def full() -> list[Part]:
    return heron(1.0)


def _edge_keys(part: Part) -> tuple[np.ndarray, np.ndarray]:
    f = part.faces.astype(np.int64)
    edges = np.vstack([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    n = len(part.vertices)
    return edges[:, 0] * n + edges[:, 1], edges[:, 1] * n + edges[:, 0]


def _signed_volume_mm3(part: Part) -> float:
    tri = part.vertices[part.faces]
    return float(np.einsum("ij,ij->", tri[:, 0], np.cross(tri[:, 1], tri[:, 2])) / 6.0)


def _manifold(part: Part) -> manifold3d.Manifold:
    mesh = manifold3d.Mesh64(
        np.ascontiguousarray(part.vertices), np.ascontiguousarray(part.faces.astype(np.uint64))
    )
    return manifold3d.Manifold(mesh)


def _union(parts: list[Part]) -> manifold3d.Manifold:
    solids = [_manifold(p) for p in parts]
    for part, solid in zip(parts, solids, strict=True):
        assert solid.status() == manifold3d.Error.NoError, part.name
        assert not solid.is_empty(), part.name
    return manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)


@pytest.mark.parametrize("which", ["quick", "full"])
def test_every_part_is_closed_and_oriented(which: str, request: pytest.FixtureRequest) -> None:
    for part in request.getfixturevalue(which):
        assert part.vertices.dtype == np.float64 and part.faces.dtype == np.int32, part.name
        assert np.isfinite(part.vertices).all(), part.name
        forward, backward = _edge_keys(part)
        assert len(np.unique(forward)) == len(forward), part.name
        assert np.array_equal(np.sort(forward), np.sort(backward)), part.name
        assert len(np.unique(part.faces)) == len(part.vertices), part.name
        # One sphere-like shell: V - E + F = 2.
        assert len(part.vertices) - len(forward) // 2 + len(part.faces) == 2, part.name
        assert _signed_volume_mm3(part) > 1.0, part.name


def test_parts_have_distinct_names_and_enough_of_them(quick: list[Part]) -> None:
    names = [p.name for p in quick]
    assert len(set(names)) == len(names) >= 12
    for wanted in (
        "log",
        "stub",
        "body",
        "neck",
        "head",
        "lower_mandible",
        "left_wing",
        "right_wing",
        "left_crest",
        "standing_shank",
        "raised_shank",
    ):
        assert wanted in names


@pytest.mark.parametrize("which", ["quick", "full"])
def test_size_and_stance(which: str, request: pytest.FixtureRequest) -> None:
    parts = request.getfixturevalue(which)
    cloud = np.vstack([p.vertices for p in parts])
    extent = np.ptp(cloud, axis=0)
    assert 72.0 <= extent[2] <= 78.0
    assert extent[0] <= 75.0 and extent[1] <= 75.0
    assert cloud[:, 2].min() == pytest.approx(0.0, abs=1e-12)
    # The flat underside: a long, wide contact within a third of a millimetre of the ground.
    low = cloud[cloud[:, 2] < 0.34]
    assert np.ptp(low[:, 1]) > 40.0 and np.ptp(low[:, 0]) > 4.0


def test_triangle_counts_scale_with_detail(quick: list[Part], full: list[Part]) -> None:
    n_quick = sum(len(p.faces) for p in quick)
    n_full = sum(len(p.faces) for p in full)
    assert 150_000 <= n_full <= 260_000
    assert n_full / 20 <= n_quick <= n_full / 8


def test_union_is_one_body(full: list[Part]) -> None:
    body = _union(full)
    assert body.status() == manifold3d.Error.NoError
    pieces = body.decompose()
    assert len(pieces) == 1
    # Overlaps are counted once: the union is smaller than the sum of its parts.
    assert 0.5 < body.volume() / sum(_signed_volume_mm3(p) for p in full) < 0.95


@pytest.mark.parametrize("name", ["left_eye", "lower_mandible", "left_crest", "stub", "neck"])
def test_parts_overlap_deeply(name: str, quick: list[Part]) -> None:
    own = _manifold(next(p for p in quick if p.name == name))
    rest = _union([p for p in quick if p.name != name])
    assert (rest ^ own).volume() > 0.08 * own.volume()


@pytest.mark.parametrize("which", ["quick", "full"])
def test_no_part_covers_a_place_twice(which: str, request: pytest.FixtureRequest) -> None:
    """Along vertical rays the winding number of each part alternates between 0 and 1."""
    for part in request.getfixturevalue(which):
        tri = part.vertices[part.faces]
        low, high = part.vertices.min(axis=0), part.vertices.max(axis=0)
        share = np.modf(np.outer(np.arange(1, 49), [0.7548776662, 0.5698402910]))[0]
        hits = 0
        for ray in low[:2] + share * (high - low)[:2]:
            near = ((tri[:, :, :2].min(axis=1) <= ray) & (tri[:, :, :2].max(axis=1) >= ray)).all(1)
            t = tri[near]
            a, b, c = (t[:, k, :2] - ray for k in range(3))
            w = np.stack([_cross(b, c), _cross(c, a), _cross(a, b)], axis=1)
            area = w.sum(axis=1)
            inside = ((w > 0).all(axis=1) | (w < 0).all(axis=1)) & (area != 0)
            z = (w[inside] * t[inside][:, :, 2]).sum(axis=1) / area[inside]
            order = np.argsort(z)
            winding = np.cumsum(-np.sign(area[inside])[order])
            assert np.isin(winding, (0.0, 1.0)).all(), part.name
            hits += len(winding)
        assert hits > 20, part.name


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def test_many_low_points_hang_free(quick: list[Part]) -> None:
    """Local minima of height that lie at least 1.5 mm under the saddle to a lower one."""
    mesh = _union(quick).to_mesh64()
    z = np.asarray(mesh.vert_properties)[:, 2]
    f = np.asarray(mesh.tri_verts).astype(np.int64)
    pairs = np.unique(np.vstack([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]), axis=0)
    rank = np.empty(len(z), dtype=np.int64)
    rank[np.argsort(z, kind="stable")] = np.arange(len(z))
    level = np.maximum(rank[pairs[:, 0]], rank[pairs[:, 1]])
    parent = np.arange(len(z))

    def root(v: int) -> int:
        while parent[v] != v:
            parent[v] = parent[parent[v]]
            v = int(parent[v])
        return v

    hanging = []
    for a, b in pairs[np.argsort(level, kind="stable")]:
        ra, rb = root(int(a)), root(int(b))
        if ra != rb:
            high, low = (ra, rb) if rank[ra] > rank[rb] else (rb, ra)
            if max(z[a], z[b]) - z[high] >= 1.5:
                hanging.append(float(z[high]))
            parent[high] = low
    assert len(hanging) >= 12
    # Some low down over the log, some high up at the wings and the head.
    assert sum(h < 20.0 for h in hanging) >= 2
    assert sum(h > 35.0 for h in hanging) >= 6


def test_deterministic(quick: list[Part]) -> None:
    again = heron(0.25)
    assert [p.name for p in again] == [p.name for p in quick]
    for a, b in zip(again, quick, strict=True):
        assert np.array_equal(a.vertices, b.vertices) and np.array_equal(a.faces, b.faces)


@pytest.mark.parametrize("detail", [0.0, 0.05, 2.5, float("nan")])
def test_detail_out_of_range_is_refused(detail: float) -> None:
    with pytest.raises(ValueError, match="detail"):
        heron(detail)


def test_rings_of_different_sizes_close() -> None:
    rings = []
    for z, n in ((0.0, 12), (1.0, 7), (2.0, 31)):
        a = 2 * np.pi * np.arange(n) / n
        rings.append(np.stack([np.cos(a), np.sin(a), 0 * a + z], axis=1))
    part = close_rings("drum", np.array([0, 0, -0.5]), rings, np.array([0, 0, 2.5]))
    forward, backward = _edge_keys(part)
    assert np.array_equal(np.sort(forward), np.sort(backward))
    assert _signed_volume_mm3(part) == pytest.approx(2 * np.pi + np.pi / 3, rel=0.12)


def test_spline_and_profile_hit_their_keys() -> None:
    points = [(0.0, 0.0, 0.0), (1.0, 2.0, 0.0), (3.0, 2.0, 1.0), (4.0, 0.0, 0.0)]
    curve = spline(points)
    for p in points:
        assert np.linalg.norm(curve - np.array(p), axis=1).min() < 1e-9
    keys = ((0.0, 1.0), (0.4, 3.0), (1.0, 2.0))
    assert profile(np.array([0.0, 0.4, 1.0]), keys) == pytest.approx([1.0, 3.0, 2.0])
    dense = profile(np.linspace(0, 1, 200), keys)
    assert dense.max() <= 3.0 + 1e-12 and dense.min() >= 1.0 - 1e-12
