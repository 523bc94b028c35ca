"""Generic sculpting tools: splines, sweeps of closed sections, noise and feather relief.

Everything is deterministic numpy.  A shape is made from a stack of closed rings between two
poles; ring sizes may differ, so that triangles keep an even size on thick and thin stretches.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Vec = NDArray[np.float64]
Points = Sequence[Sequence[float]] | Sequence[Vec] | Vec
Direction = Sequence[float] | Vec
Keys = Sequence[tuple[float, float]]
Relief = Callable[[float, Vec], Vec]
"""Height in mm to add at arc length s (mm) and section angles phi (rad), shape (n,)."""


@dataclass(frozen=True)
class Part:
    """One closed, outward-oriented part: vertices (n, 3) float64 in mm, faces (m, 3) int32."""

    name: str
    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]


def unit(v: Points | Direction) -> Vec:
    """Return vectors scaled to length 1 along the last axis."""
    a = np.asarray(v, dtype=np.float64)
    length: Vec = np.linalg.norm(a, axis=-1, keepdims=True)
    out: Vec = a / np.maximum(length, 1e-12)
    return out


def smoothstep(x: Vec | float, lo: float, hi: float) -> Vec:
    """Hermite ramp from 0 at lo to 1 at hi."""
    t = np.clip((np.asarray(x, dtype=np.float64) - lo) / (hi - lo), 0.0, 1.0)
    out: Vec = t * t * (3.0 - 2.0 * t)
    return out


def profile(t: Vec | float, keys: Keys) -> Vec:
    """Monotone cubic interpolation (Fritsch-Carlson slopes) of (position, value) keys."""
    x = np.array([k[0] for k in keys], dtype=np.float64)
    y = np.array([k[1] for k in keys], dtype=np.float64)
    q = np.clip(np.asarray(t, dtype=np.float64), x[0], x[-1])
    h = np.diff(x)
    d = np.diff(y) / h
    m = np.zeros_like(y)
    if len(d) > 1:
        same = d[:-1] * d[1:] > 0
        w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
        safe = np.where(same[:, None], np.stack([d[:-1], d[1:]], axis=1), 1.0)
        m[1:-1] = np.where(same, (w1 + w2) / (w1 / safe[:, 0] + w2 / safe[:, 1]), 0.0)
    m[0], m[-1] = d[0], d[-1]
    i = np.clip(np.searchsorted(x, q, side="right") - 1, 0, len(h) - 1)
    u = (q - x[i]) / h[i]
    out: Vec = (
        (1 + 2 * u) * (1 - u) ** 2 * y[i]
        + u * (1 - u) ** 2 * h[i] * m[i]
        + u * u * (3 - 2 * u) * y[i + 1]
        + u * u * (u - 1) * h[i] * m[i + 1]
    )
    return out


def spline(points: Points, per_span: int = 60) -> Vec:
    """Centripetal Catmull-Rom curve through the points, densely sampled; shape (k, d)."""
    p = np.asarray(points, dtype=np.float64)
    p = np.vstack([2 * p[0] - p[1], p, 2 * p[-1] - p[-2]])
    knots = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1) ** 0.5)])
    out = []
    for i in range(1, len(p) - 2):
        t0, t1, t2, t3 = knots[i - 1 : i + 3]
        t = np.linspace(t1, t2, per_span, endpoint=False)[:, None]
        a1 = (t1 - t) / (t1 - t0) * p[i - 1] + (t - t0) / (t1 - t0) * p[i]
        a2 = (t2 - t) / (t2 - t1) * p[i] + (t - t1) / (t2 - t1) * p[i + 1]
        a3 = (t3 - t) / (t3 - t2) * p[i + 1] + (t - t2) / (t3 - t2) * p[i + 2]
        b1 = (t2 - t) / (t2 - t0) * a1 + (t - t0) / (t2 - t0) * a2
        b2 = (t3 - t) / (t3 - t1) * a2 + (t - t1) / (t3 - t1) * a3
        out.append((t2 - t) / (t2 - t1) * b1 + (t - t1) / (t2 - t1) * b2)
    return np.vstack([*out, p[-2]])


def arc_lengths(path: Vec) -> Vec:
    """Cumulative length along a polyline, starting at 0; shape (k,)."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])


def at_arc(path: Vec, s: Vec | float) -> Vec:
    """Points of a dense polyline at arc lengths s (mm)."""
    length = arc_lengths(path)
    q = np.atleast_1d(np.asarray(s, dtype=np.float64))
    return np.stack([np.interp(q, length, path[:, k]) for k in range(path.shape[1])], axis=1)


def _lattice(ix: NDArray[np.int64], iy: NDArray[np.int64], seed: int) -> Vec:
    h = (ix * 374761393 + iy * 668265263 + seed * 2147483647) & 0xFFFFFFFF
    h = ((h ^ (h >> 13)) * 1274126177) & 0xFFFFFFFF
    h = ((h ^ (h >> 16)) * 1103515245) & 0xFFFFFFFF
    out: Vec = ((h ^ (h >> 15)) & 0xFFFFFF) / float(0xFFFFFF)
    return out


def noise(x: Vec | float, y: Vec | float, seed: int = 0, period: int = 0) -> Vec:
    """Value noise in [0, 1] on the unit lattice; period > 0 wraps x."""
    xa, ya = np.broadcast_arrays(np.asarray(x, np.float64), np.asarray(y, np.float64))
    x0, y0 = np.floor(xa).astype(np.int64), np.floor(ya).astype(np.int64)
    fx, fy = xa - x0, ya - y0
    fx, fy = fx * fx * (3 - 2 * fx), fy * fy * (3 - 2 * fy)
    x1 = x0 + 1
    if period > 0:
        x0, x1 = x0 % period, x1 % period
    top = _lattice(x0, y0, seed) * (1 - fx) + _lattice(x1, y0, seed) * fx
    low = _lattice(x0, y0 + 1, seed) * (1 - fx) + _lattice(x1, y0 + 1, seed) * fx
    out: Vec = top * (1 - fy) + low * fy
    return out


def shingles(across: Vec, along: Vec | float, edge: float = 0.16, pointed: float = 0.0) -> Vec:
    """Relief of overlapping feathers in [0, 1]: one feather per unit across and along.

    Feathers grow towards +along; each row is set off by half a feather.  The top-most
    feather wins (a maximum), so the relief is a height field with soft steps at the tips.
    """
    along = np.asarray(along, dtype=np.float64)
    row0 = np.floor(along)
    best = np.zeros(np.broadcast(across, along).shape)
    for back in (0, 1):
        row = row0 - back
        b = along - row
        x = across + 0.5 * (row % 2)
        a = 2.0 * np.abs(x - np.floor(x) - 0.5)
        tip = 1.72 - (0.55 - 0.2 * pointed) * a ** (2.2 - 1.1 * pointed)
        mask = smoothstep((tip - b) / edge, 0.0, 1.0)
        shaft = 0.16 * np.exp(-((a / 0.16) ** 2)) * smoothstep(b, 0.2, 0.8)
        body = 0.16 + 0.84 * np.clip(b / 1.72, 0, 1) * (1 - 0.22 * a * a) + shaft
        best = np.maximum(best, mask * body)
    return best / 1.16


def _stitch(a0: int, na: int, b0: int, nb: int) -> NDArray[np.int64]:
    """Triangles between two rings of na and nb vertices with evenly spaced parameters."""
    ka, kb = (np.arange(na) + 0.5) / na, (np.arange(nb) + 0.5) / nb
    i, j = np.arange(na), np.arange(nb)
    jb = np.searchsorted(kb, ka - 1e-9)
    ia = np.searchsorted(ka, kb + 1e-9)
    first = np.stack([a0 + i, a0 + (i + 1) % na, b0 + jb % nb], axis=1)
    second = np.stack([b0 + (j + 1) % nb, b0 + j, a0 + ia % na], axis=1)
    return np.vstack([first, second])


def close_rings(name: str, first: Vec, rings: Sequence[Vec], last: Vec) -> Part:
    """Join rings (each (n_i, 3), any n_i >= 3) between two pole points into a closed part."""
    counts = [len(r) for r in rings]
    starts = np.concatenate([[1], 1 + np.cumsum(counts)])
    end = int(starts[-1])
    vertices = np.vstack([first[None], *rings, last[None]])
    i0, i1 = np.arange(counts[0]), np.arange(counts[-1])
    faces = [np.stack([0 * i0, 1 + (i0 + 1) % counts[0], 1 + i0], axis=1)]
    faces += [
        _stitch(int(starts[k]), counts[k], int(starts[k + 1]), counts[k + 1])
        for k in range(len(rings) - 1)
    ]
    s = int(starts[-2])
    faces.append(np.stack([0 * i1 + end, s + i1, s + (i1 + 1) % counts[-1]], axis=1))
    tri = np.vstack(faces)
    corner = vertices[tri]
    if np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])).sum() < 0:
        tri = tri[:, ::-1]
    return Part(name, np.ascontiguousarray(vertices), np.ascontiguousarray(tri, dtype=np.int32))


def ring_counts(perimeters: Vec, spacing: float, minimum: int = 8) -> list[int]:
    """Vertices per ring for an even edge length; changes only where it pays (12 %)."""
    out: list[int] = []
    for p in perimeters:
        want = max(minimum, round(float(p) / spacing))
        keep = bool(out) and abs(want - out[-1]) < max(2, 0.12 * out[-1])
        out.append(out[-1] if keep else want)
    return out


def section_axes(path: Vec, side: Points | Direction) -> tuple[Vec, Vec, Vec]:
    """Tangents, side axes (kept close to the reference) and upper axes along a path."""
    tangent = unit(np.gradient(path, axis=0))
    ref = np.broadcast_to(np.asarray(side, dtype=np.float64), path.shape)
    across = unit(ref - np.einsum("ij,ij->i", ref, tangent)[:, None] * tangent)
    return tangent, across, np.cross(tangent, across)


def tube(
    name: str,
    points: Points,
    half_width: Keys,
    half_height: Keys,
    *,
    side: Points | Direction = (0.0, 1.0, 0.0),
    spacing: float = 0.4,
    caps: tuple[float, float] = (1.0, 1.0),
    power: float = 2.0,
    relief: Relief | None = None,
    camber: float = 0.0,
    twist_rad: Keys | None = None,
) -> Part:
    """Sweep a (super)elliptic section along a spline and close it with rounded caps.

    half_width and half_height are keyed on the fraction of arc length, in mm; side is the
    reference direction of the width, (3,) or one per row; caps are the cap lengths in units
    of the smaller half axis (beyond 2: a pointed tip); camber bends the section (mm of sag at
    the rim); relief is added along the section's outward normal.
    """
    path = spline(points)
    total = float(arc_lengths(path)[-1])
    rows = max(6, int(np.ceil(total / spacing)) + 1)
    s = np.linspace(0.0, total, rows)
    centre = at_arc(path, s)
    tangent, across, upper = section_axes(centre, side)
    w, h = profile(s / total, half_width), profile(s / total, half_height)
    if twist_rad is not None:
        a = profile(s / total, twist_rad)[:, None]
        across, upper = (
            np.cos(a) * across + np.sin(a) * upper,
            np.cos(a) * upper - np.sin(a) * across,
        )
    table: list[tuple[int, float, float]] = []  # row, cap offset along tangent, section scale
    c0, c1 = (caps[0] * min(w[0], h[0]), caps[1] * min(w[-1], h[-1]))
    sharp = (1.35 if caps[0] > 2 else 1.0, 1.35 if caps[1] > 2 else 1.0)
    steps0 = max(2, int(np.ceil(max(1.3 * min(w[0], h[0]), c0) / spacing)))
    steps1 = max(2, int(np.ceil(max(1.3 * min(w[-1], h[-1]), c1) / spacing)))
    for k in range(1, steps0 + 1):
        a0 = 0.5 * np.pi * (1 - k / (steps0 + 1))
        table.append((0, -c0 * float(np.sin(a0)), float(np.cos(a0)) ** sharp[0]))
    table += [(k, 0.0, 1.0) for k in range(rows)]
    for k in range(1, steps1 + 1):
        a1 = 0.5 * np.pi * k / (steps1 + 1)
        table.append((rows - 1, c1 * float(np.sin(a1)), float(np.cos(a1)) ** sharp[1]))
    mean = [2 * np.pi * np.sqrt(0.5 * (w[r] ** 2 + h[r] ** 2)) * f for r, _, f in table]
    counts = ring_counts(np.array(mean), spacing)
    rings = []
    for (r, off, f), n in zip(table, counts, strict=True):
        phi = 2 * np.pi * np.arange(n) / n
        c, sn = np.cos(phi), np.sin(phi)
        x = w[r] * f * np.sign(c) * np.abs(c) ** (2 / power)
        y = h[r] * f * np.sign(sn) * np.abs(sn) ** (2 / power)
        if relief is not None:
            d = relief(float(s[r]) + off, phi) * f
            nx, ny = c / w[r], sn / h[r]
            norm = np.hypot(nx, ny)
            x, y = x + d * nx / norm, y + d * ny / norm
        y = y - camber * (x / w[r]) ** 2
        rings.append(centre[r] + off * tangent[r] + x[:, None] * across[r] + y[:, None] * upper[r])
    return close_rings(name, centre[0] - c0 * tangent[0], rings, centre[-1] + c1 * tangent[-1])
