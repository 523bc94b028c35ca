"""Line drawings of bases as SVG: seen from the front right and above, hidden lines left out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

import numpy as np

from pourwright.solid import boolean
from pourwright.solid.columns import hits
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.topology import twins
from pourwright.solid.vectors import doubled_areas
from pourwright.sprue import forms
from pourwright.sprue.base import build_sprue
from pourwright.sprue.settings import BaseSettings, FunnelSettings

# Edges sharper than this are drawn.
_SHARP = float(np.cos(np.radians(24.0)))
_STEP_MM = 0.35
# A line is hidden by what lies so far in front of it.
_FRONT_MM = 0.12
_SIZE = 240.0
_EDGE = 8.0
# From the drawing to the viewer.
_VIEW = np.array([0.42, -0.8, 0.43])


@lru_cache(maxsize=64)
def base_picture(kind: str, settings: BaseSettings | None = None) -> str:
    """Return an SVG drawing of a base with a small figure's outline on it.

    settings : as it is drawn, of that kind; None for the kind's defaults. The underside is open,
    as the finished piece looks when the funnel has been broken off. Edges are drawn sharp.
    """
    base = replace(BaseSettings(kind) if settings is None else settings, rounding_mm=0.0)
    figure = sample_figure()
    sprue = build_sprue(figure, base, FunnelSettings(enabled=False))
    axes = _axes()
    body = _turned(sprue.base, axes)
    sunk = forms.box((-50.0, -50.0, -50.0), (50.0, 50.0, sprue.top_z_mm))
    ghost = _turned(boolean.difference(figure, [sunk]), axes)
    strokes = _visible_edges(body)
    outline = boolean.offset_outlines(list(_shadow(body)))
    above = boolean.offset_outlines(list(_shadow(ghost)))
    points = np.vstack([*outline, *above])
    low, high = points.min(axis=0), points.max(axis=0)
    scale = (_SIZE - 2 * _EDGE) / float((high - low).max())
    shift = (high - low) * scale

    def path(runs: Iterable[Floats], close: bool) -> str:
        drawn = []
        for run in runs:
            flat = (run - low) * scale
            flat = np.column_stack([flat[:, 0], shift[1] - flat[:, 1]]) + _EDGE
            kept = _thinned(flat)
            drawn.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in kept) + "Z" * close)
        return "".join(drawn)

    width, height = shift + 2 * _EDGE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" role="img">'
        f"<title>{base.about.title}</title>"
        f'<path d="{path(outline, True)}" fill="#e4ded3" fill-rule="evenodd" stroke="#33302b" '
        'stroke-width="1.6" stroke-linejoin="round"/>'
        f'<path d="{path(strokes, False)}" fill="none" stroke="#33302b" stroke-width="0.9" '
        'stroke-linecap="round" stroke-linejoin="round"/>'
        f'<path d="{path(above, True)}" fill="#ffffff" fill-opacity="0.72" stroke="#8d8678" '
        'stroke-width="1" stroke-dasharray="3 2"/></svg>\n'
    )


def sample_figure() -> TriMesh:
    """Return a small turned figure that stands on the origin: 34 mm high, 14 mm wide."""
    profile = [(7.0, 0.0), (7.0, 2.0), (5.6, 4.0), (3.6, 10.0), (2.8, 17.0), (3.1, 21.0),
               (4.4, 22.4), (3.2, 23.8)]  # fmt: skip
    head = np.linspace(-0.95, np.pi / 2 - 0.05, 14)
    profile += list(zip(4.6 * np.cos(head), 28.6 + 5.4 * np.sin(head), strict=True))
    return forms.loft([forms.at(forms.circle(r, 48), z) for r, z in profile], "figure")


def _axes() -> Floats:
    away = _VIEW / np.linalg.norm(_VIEW)
    right = np.cross([0.0, 0.0, 1.0], away)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(away, right), away])


def _turned(mesh: TriMesh, axes: Floats) -> TriMesh:
    return TriMesh(mesh.vertices @ axes.T, mesh.faces, mesh.name)


def _normals(mesh: TriMesh) -> Floats:
    return doubled_areas(mesh.vertices, mesh.faces)


def _shadow(mesh: TriMesh) -> Iterable[Floats]:
    """Triangles that face the viewer, seen flat and anticlockwise."""
    towards = _normals(mesh)[:, 2] > 1e-9
    yield from mesh.vertices[mesh.faces[towards]][:, :, :2]


def _visible_edges(mesh: TriMesh) -> list[Floats]:
    """Runs of points (k, 2) along sharp edges and outlines, as far as nothing hides them."""
    normal = _normals(mesh)
    area = np.linalg.norm(normal, axis=1)
    unit = normal / np.maximum(area, 1e-300)[:, None]
    twin = twins(mesh.vertices, mesh.faces)
    half = np.flatnonzero(np.arange(len(twin)) < twin)
    one, other = half // 3, twin[half] // 3
    turned = (unit[one, 2] > 0) != (unit[other, 2] > 0)
    bent = (unit[one] * unit[other]).sum(axis=1) < _SHARP
    seen = (unit[one, 2] > 0) | (unit[other, 2] > 0)
    solid = (area[one] > 1e-9) & (area[other] > 1e-9)
    drawn = half[solid & seen & (turned | bent)]
    # A hair off the faces, which would else hide their own edges.
    lift = (unit[drawn // 3] + unit[twin[drawn] // 3]) * 0.02
    a = mesh.vertices[mesh.faces.ravel()[drawn]] + lift
    b = mesh.vertices[np.roll(mesh.faces, -1, axis=1).ravel()[drawn]] + lift
    count = np.maximum(2, np.ceil(np.linalg.norm(b - a, axis=1) / _STEP_MM).astype(np.int64) + 1)
    edge = np.repeat(np.arange(len(count)), count)
    within = np.arange(len(edge)) - (np.cumsum(count) - count)[edge]
    # Not quite to the ends, where other faces begin.
    share = 0.002 + 0.996 * (within / (count[edge] - 1))[:, None]
    points = a[edge] * (1 - share) + b[edge] * share
    met = hits(mesh.vertices, mesh.faces, points[:, :2])
    hidden = np.zeros(len(points), dtype=bool)
    hidden[met.line[met.z > points[met.line, 2] + _FRONT_MM]] = True
    pieces = []
    for part in np.split(np.arange(len(edge)), np.flatnonzero(np.diff(edge)) + 1):
        shown = part[~hidden[part]]
        runs = np.split(shown, np.flatnonzero(np.diff(shown) != 1) + 1)
        pieces += [points[run][[0, -1], :2] for run in runs if len(run) > 1]
    return _joined(pieces)


def _joined(edges: list[Floats]) -> list[Floats]:
    """Join straight pieces that follow each other into runs."""
    keys = [[(round(float(x) * 5), round(float(y) * 5)) for x, y in edge] for edge in edges]
    at: dict[tuple[int, int], list[int]] = {}
    for i, pair in enumerate(keys):
        for key in pair:
            at.setdefault(key, []).append(i)
    used = np.zeros(len(edges), dtype=bool)

    def follow(tail: tuple[int, int]) -> list[Floats]:
        points: list[Floats] = []
        while True:
            j = next((j for j in at[tail] if not used[j]), None)
            if j is None:
                return points
            used[j] = True
            far = 1 if keys[j][0] == tail else 0
            points.append(edges[j][far])
            tail = keys[j][far]

    runs = []
    for i, edge in enumerate(edges):
        if not used[i]:
            used[i] = True
            onwards = follow(keys[i][1])
            runs.append(np.array([*follow(keys[i][0])[::-1], edge[0], edge[1], *onwards]))
    return runs


def _thinned(points: Floats) -> Floats:
    """Leave out points closer to the last one than the drawing shows."""
    kept = [points[0]]
    for p in points[1:-1]:
        if np.abs(p - kept[-1]).max() > 0.9:
            kept.append(p)
    kept.append(points[-1])
    return np.array(kept)
