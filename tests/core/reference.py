"""Independent references for the air analysis: cut at a level, take apart, measure."""

from __future__ import annotations

from collections.abc import Callable

import manifold3d
import numpy as np

from pourwright.air import AirReport, find_pockets, prepare, top_plane_vertices
from pourwright.air.volume import volumes_above
from pourwright.solid import TriMesh


def mesh_of(body: manifold3d.Manifold) -> TriMesh:
    mesh = body.to_mesh64()
    return TriMesh(mesh.vert_properties[:, :3].copy(), mesh.tri_verts.astype(np.int64), "body")


def winding_number(mesh: TriMesh, point: np.ndarray) -> float:
    """Sum of solid angles over 4 pi (A. Van Oosterom, J. Strackee, IEEE TBME 30, 1983)."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] - point for i in range(3))
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    top = np.einsum("ij,ij->i", a, np.cross(b, c))
    bottom = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", b, c) * la
        + np.einsum("ij,ij->i", c, a) * lb
    )
    return float(np.arctan2(top, bottom).sum() / (2 * np.pi))


Part = tuple[float, float]
"""Volume of a separate part, and the height of its top."""


def parts_above(body: manifold3d.Manifold, up: np.ndarray, level: float) -> list[Part]:
    """The separate parts of {x in body: x . up > level}, by cutting and taking apart."""
    pieces = body.trim_by_plane(tuple(up), level).decompose()
    solid = [p for p in pieces if p.volume() > 0]
    volumes = [p.volume() for p in solid]
    for void in (p for p in pieces if p.volume() < 0):
        inner = mesh_of(void)
        probe = inner.vertices[inner.faces[0]].mean(axis=0)
        holders = [
            i
            for i, p in enumerate(solid)
            if p.volume() > -void.volume() and winding_number(mesh_of(p), probe) > 0.5
        ]
        if holders:
            volumes[min(holders, key=lambda i: solid[i].volume())] += void.volume()
    tops = [float((mesh_of(p).vertices @ up).max()) for p in solid]
    return sorted(zip(volumes, tops, strict=True), reverse=True)


def tree_parts_above(report: AirReport, level: float, *, closed_only: bool = False) -> list[Part]:
    """The same from the join tree: maxima above the level, joined by the passes above it.

    closed_only : only those that lie in a pocket, at or above the pocket's saddle.
    """
    surface, tree = report.surface, report.tree
    group = np.arange(len(tree.peaks))
    shift = float(surface.centre_mm @ tree.up)
    local = level - shift
    for a, b, h in zip(tree.pass_a, tree.pass_b, tree.pass_height, strict=True):
        if h > local:
            group[group == group[a]] = group[b]
    height = tree.heights[tree.peaks]
    group[height <= local] = -1
    if closed_only:
        saddle = np.array(
            [-np.inf if p.saddle_height_mm is None else p.saddle_height_mm for p in report.pockets]
            + [np.inf]  # maxima in no pocket
        )
        group[saddle[report.pocket_of_climb] > level] = -1
    alive = np.unique(group[group >= 0])
    number = np.where(group >= 0, np.searchsorted(alive, group), -1)
    volume = volumes_above(surface, tree, number, np.full(len(alive), local), 0.0)
    tops = [float(height[number == i].max()) + shift for i in range(len(alive))]
    return sorted(zip(map(float, volume), tops, strict=True), reverse=True)


def same_parts(a: list[Part], b: list[Part], atol: float = 1e-7) -> bool:
    """Whether two lists hold the same parts in any order; specks below `atol` do not count."""
    a, b = ([p for p in x if p[0] > atol] for x in (a, b))
    for part in a:
        twin = next((p for p in b if np.allclose(p, part, rtol=1e-5, atol=1e-6)), None)
        if twin is None:
            return False
        b.remove(twin)
    return not b


def check_body(mesh: TriMesh, parts: Callable[[np.ndarray, float], list[Part]],
               ups: list[np.ndarray], rng: np.random.Generator) -> list[str]:
    """Compare the air of one body with the reference in some directions; say what differs.

    parts : the reference, parts above a level for a direction.
    """
    wrong = []
    surface = prepare(mesh)
    for up in ups:
        report = find_pockets(surface, up, top_plane_vertices(surface, up, 1e-9))
        heights = np.unique(np.round(mesh.vertices @ up, 6))
        top = float((mesh.vertices @ up).max())
        levels = [float((heights[k] + heights[k + 1]) / 2)
                  for k in rng.integers(0, len(heights) - 1, 3)]
        for pocket in report.pockets[:4]:
            if pocket.saddle_height_mm is None:
                continue
            level = pocket.saddle_height_mm + 1e-5
            levels.append(level)
            at_saddle = [p for p in parts(up, level)
                         if abs(p[1] - pocket.peak_height_mm) < 1e-6
                         and np.isclose(p[0], pocket.volume_mm3, rtol=1e-3, atol=1e-4)]
            if pocket.peak_height_mm - level > 1e-4 and not at_saddle:
                wrong.append(f"{up}: no part at the saddle of {pocket}")
        for level in levels:
            want = parts(up, level)
            if not same_parts(tree_parts_above(report, level), want):
                wrong.append(f"{up}: parts above {level} differ")
                break
            closed = [p for p in want if p[1] < top - 1e-8]
            if not same_parts(tree_parts_above(report, level, closed_only=True), closed):
                wrong.append(f"{up}: closed parts above {level} differ")
                break
    return wrong


def directions(rng: np.random.Generator) -> list[np.ndarray]:
    """One direction along an axis, for plateaus, and three anywhere."""
    ups = [np.eye(3)[rng.integers(3)] * rng.choice([-1.0, 1.0]), *rng.normal(size=(3, 3))]
    return [up / np.linalg.norm(up) for up in ups]
