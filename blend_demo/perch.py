"""The log the bird stands on: bark, growth rings, a broken branch stub, a flat underside."""

from __future__ import annotations

import numpy as np

from pourwright.example.shapes import Part, Vec, close_rings, noise, ring_counts, smoothstep, unit

YAW_RAD = 0.21
AXIS = np.array([-np.sin(YAW_RAD), np.cos(YAW_RAD), 0.0])
SIDE = np.array([np.cos(YAW_RAD), np.sin(YAW_RAD), 0.0])
UP = np.array([0.0, 0.0, 1.0])
HALF_LENGTH = 29.5
CENTRE_Z = 6.1


def log_centre(s: Vec | float) -> Vec:
    """Centre line of the log at arc length s (mm from the middle); shape (n, 3)."""
    q = np.atleast_1d(np.asarray(s, dtype=np.float64))
    bend = 0.9 * np.sin(q / 17.0 + 0.6)
    rise = 0.35 * np.cos(q / 14.0)
    out: Vec = q[:, None] * AXIS + bend[:, None] * SIDE + (CENTRE_Z + rise)[:, None] * UP
    return out


def log_radius(s: float, phi: Vec) -> Vec:
    """Radius under the bark relief (mm); phi = 0 faces SIDE, a quarter turn faces up."""
    swell = 0.5 * np.exp(-(((s + 22) / 7.0) ** 2)) + 0.35 * np.exp(-(((s - 13) / 6.0) ** 2))
    lumps = 0.5 * (noise(phi * 5 / (2 * np.pi), s / 9.0 + 40, 3, period=5) - 0.5)
    out: Vec = 6.5 + swell + lumps + 0.25 * np.cos(2 * phi + 0.5)
    return out


def log_surface(s: float, phi: float, lift: float = 0.0) -> Vec:
    """Point on the log's surface (without bark relief), lifted outward; shape (3,)."""
    r = float(log_radius(s, np.array([phi]))[0]) + lift
    out: Vec = log_centre(s)[0] + r * (np.cos(phi) * SIDE + np.sin(phi) * UP)
    return out


def _bark(s: float, phi: Vec, seed: int, furrows: int) -> Vec:
    """Bark relief in [-0.95, 0.25] mm: long winding furrows, cross cracks, a fine grain."""
    turn = phi / (2 * np.pi)
    warp = 1.5 * (noise(turn * 6, s / 9.0 + 11, seed + 1, period=6) - 0.5)
    warp = warp + 0.45 * (noise(turn * 14, s / 2.6, seed + 2, period=14) - 0.5)
    lane = turn * furrows + warp
    off = lane - np.round(lane)
    row = np.floor(lane + 0.5)
    open_ = smoothstep(noise(np.mod(row, furrows) * 3.7, s / 5.5, seed + 3), 0.06, 0.36)
    furrow = np.exp(-((off / 0.15) ** 2)) * open_
    plate = np.floor(lane)
    step = s / 4.6 + 3.0 * noise(np.mod(plate, furrows) * 5.3, 0.5, seed + 5)
    step = step + 0.25 * (noise(turn * 20, s, seed + 7, period=20) - 0.5)
    cross = np.exp(-(((step - np.round(step)) * 4.6 / 0.32) ** 2)) * smoothstep(
        np.abs(off), 0.06, 0.2
    )
    hump = 0.2 * np.abs(np.sin(np.pi * lane))
    grain = noise(turn * 3 * furrows + warp, s / 1.6, seed + 6, period=3 * furrows) - 0.5
    out: Vec = -0.78 * furrow - 0.3 * cross * (0.4 + 0.6 * open_) + hump - 0.1 + 0.26 * grain
    return np.maximum(out, -0.95)


def _flatten(z: Vec) -> Vec:
    """Press everything below 0.55 mm into a nearly flat foot; strictly monotone in z."""
    low = 0.55
    out: Vec = np.where(z < low, low - 0.3 * (1 - np.exp((np.minimum(z, low) - low) / 0.3)), z)
    return out


def log_part(detail: float) -> Part:
    """The lying log, closed, with growth rings cut into both ends."""
    spacing = 0.41 / detail
    rows = int(np.ceil(2 * HALF_LENGTH / spacing)) + 1
    n = max(24, round(2 * np.pi * 6.7 / spacing))
    phi = 2 * np.pi * np.arange(n) / n
    rings: list[Vec] = []

    def ring(s: float, angles: Vec, scale: float, push: Vec | float) -> Vec:
        rim = smoothstep(HALF_LENGTH - abs(s), 0.0, 1.2)
        r = log_radius(s, angles) + _bark(s, angles, 20, 17) * (0.3 + 0.7 * rim)
        r = (r - 0.35 * (1 - rim)) * scale
        # Saw cuts are never square to the stem.
        tilt = 0.11 * np.sign(s) * (np.sin(angles) + 0.6 * np.cos(angles))
        shift = tilt * r * smoothstep(abs(s), 18.0, HALF_LENGTH) + push
        flat = log_centre(s) + r[:, None] * (
            np.cos(angles)[:, None] * SIDE + np.sin(angles)[:, None] * UP
        )
        out: Vec = flat + np.broadcast_to(shift, angles.shape)[:, None] * AXIS
        out[:, 2] = _flatten(out[:, 2])
        return out

    def end_cap(sign: float) -> list[Vec]:
        steps = max(6, round(6.3 / spacing))
        scales = np.linspace(1, 0, steps + 1)[1:-1]
        counts = ring_counts(2 * np.pi * 6.4 * scales, spacing, 6)
        cap = []
        for f, m in zip(scales, counts, strict=True):
            a = 2 * np.pi * np.arange(m) / m
            wobble = noise(a * 6 / (2 * np.pi), f * 3, 71, period=6) - 0.5
            grow = np.sin(2 * np.pi * (f * 4.6 + 0.35 * wobble * f))
            split = np.exp(-(((a - 1.1 - 0.2 * np.sin(9 * f)) * f / 0.06) ** 2))
            push = 0.19 * grow - 0.45 * split * smoothstep(f, 0.08, 0.3) * (1 - f**4)
            push = push * smoothstep(1 - f, 0.0, 0.12) - 0.05
            push = push - 0.3 * np.exp(-(((f - 0.87 - 0.05 * wobble) / 0.03) ** 2))
            cap.append(ring(sign * HALF_LENGTH, a, float(f), sign * push))
        return cap

    rings += end_cap(-1.0)[::-1]
    for s in np.linspace(-HALF_LENGTH, HALF_LENGTH, rows):
        rings.append(ring(float(s), phi, 1.0, 0.0))
    rings += end_cap(1.0)
    first, last = rings[0].mean(axis=0), rings[-1].mean(axis=0)
    return close_rings("log", first, rings, last)


def stub_part(detail: float) -> Part:
    """A broken branch stub with a splintered end, rooted in the log."""
    spacing = 0.38 / detail
    s0, phi0, length, root = 15.5, 0.75, 11.0, 4.5
    out_dir = np.cos(phi0) * SIDE + np.sin(phi0) * UP
    axis = unit(out_dir + 0.38 * AXIS)
    across = unit(np.cross(axis, AXIS))
    upper = np.cross(axis, across)
    base = log_centre(s0)[0] + (6.5 - root) * out_dir
    rows = max(8, int(np.ceil(length / spacing)))
    n = max(14, round(2 * np.pi * 2.5 / spacing))
    phi = 2 * np.pi * np.arange(n) / n

    def ring(t: float, a: Vec, scale: float, jag: Vec | float) -> Vec:
        collar = 1.3 * float(np.exp(-(((t - root) / 1.9) ** 2)))
        swell = 2.15 + collar - 0.03 * t
        r = (swell + (0.6 - 0.35 * smoothstep(t, 8.0, length)) * _bark(t, a, 50, 8)) * scale
        sag = 0.02 * (t - root) ** 2
        rise = np.broadcast_to(np.asarray(t + jag, dtype=np.float64), a.shape)
        out: Vec = (
            base
            + rise[:, None] * axis
            + r[:, None] * (np.cos(a)[:, None] * across + np.sin(a)[:, None] * upper)
            + sag * UP
        )
        return out

    def splinter(a: Vec, f: float) -> Vec:
        x, y = f * np.cos(a), f * np.sin(a)
        torn = 0.6 * y + 0.35 * x
        out: Vec = torn + 0.6 * (noise(1.9 * x + 9, 1.9 * y + 9, 91) - 0.5)
        return out

    rings = [ring(0.0, phi, 0.5, 0.0)]
    for t in np.linspace(0.0, length, rows):
        blend = smoothstep(t, length - 4.5, length)
        rings.append(ring(float(t), phi, 1.0, splinter(phi, 1.0) * blend))
    steps = max(4, round(2.0 / spacing))
    scales = np.linspace(1, 0, steps + 1)[1:-1]
    for f, m in zip(scales, ring_counts(2 * np.pi * 2.0 * scales, spacing, 6), strict=True):
        a = 2 * np.pi * np.arange(m) / m
        rings.append(ring(length, a, float(f), splinter(a, float(f))))
    return close_rings("stub", rings[0].mean(axis=0), rings, rings[-1].mean(axis=0))
