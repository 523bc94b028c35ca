"""The spread wings: a lofted arm with covert relief and separate flight feathers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourwright.example.shapes import (
    Keys,
    Part,
    Vec,
    arc_lengths,
    at_arc,
    close_rings,
    noise,
    profile,
    ring_counts,
    shingles,
    smoothstep,
    spline,
    tube,
    unit,
)

# Leading edge of the left wing, from inside the body to the end of the hand.
LEADING = (
    (1.6, 1.5, 42.5),
    (3.4, 4.6, 46.8),
    (1.0, 8.4, 52.6),
    (1.8, 11.8, 58.2),
    (3.8, 15.0, 62.2),
    (3.9, 18.4, 63.5),
    (2.6, 21.8, 62.2),
    (0.9, 24.4, 59.2),
)
# Direction in which feathers grow, keyed on the fraction along the leading edge.
GROWTH: tuple[tuple[float, tuple[float, float, float]], ...] = (
    (0.0, (-0.84, 0.02, -0.54)),
    (0.25, (-0.80, 0.08, -0.60)),
    (0.5, (-0.74, 0.22, -0.63)),
    (0.66, (-0.66, 0.32, -0.68)),
    (0.76, (-0.54, 0.42, -0.73)),
    (0.86, (-0.36, 0.58, -0.74)),
    (0.93, (-0.16, 0.74, -0.65)),
    (1.0, (0.02, 0.88, -0.48)),
)
# The arm itself keeps its chord square to the leading edge, out to the end of the hand.
ARM_GROWTH: tuple[tuple[float, tuple[float, float, float]], ...] = (
    *GROWTH[:3],
    (0.68, (-0.72, 0.36, -0.58)),
    (0.82, (-0.74, 0.32, -0.58)),
    (1.0, (-0.68, 0.26, -0.68)),
)
CHORD: Keys = ((0.0, 8.0), (0.2, 11.0), (0.5, 12.5), (0.7, 12.0), (0.88, 8.5), (1.0, 5.0))


@dataclass(frozen=True)
class WingPose:
    """How one wing departs from the left wing at rest."""

    prefix: str
    mirror: bool
    raise_rad: float
    sweep_rad: float
    seed: int


def _growth(u: float, table: tuple[tuple[float, tuple[float, float, float]], ...]) -> Vec:
    axes = [[(k, d[i]) for k, d in table] for i in range(3)]
    return unit(np.array([float(profile(u, keys)) for keys in axes]))


def _frame(u: float, lead: Vec, length: float) -> tuple[Vec, Vec, Vec]:
    """Leading-edge point, chord direction and upper normal of the arm at fraction u."""
    here = at_arc(lead, u * length)[0]
    step = 0.12 * length
    lo, hi = max(0.0, u * length - step), min(length, u * length + step)
    along = unit(at_arc(lead, hi)[0] - at_arc(lead, lo)[0])
    grow = _growth(u, ARM_GROWTH)
    normal = unit(np.cross(along, grow))
    return here, grow, normal if normal[2] > 0 or normal[0] > 0 else -normal


def _sheet(detail: float, seed: int) -> Part:
    """Arm and hand with coverts: a closed loft of airfoil sections."""
    lead = spline(LEADING)
    length = float(arc_lengths(lead)[-1])
    spacing = 0.33 / detail
    rows = int(np.ceil(length / spacing)) + 1
    fine = np.linspace(0.0, 1.0, 240)
    xi = np.concatenate([fine[::-1], fine[1:-1]])
    top = np.concatenate([np.ones(240), -np.ones(238)])
    rings: list[Vec] = []
    table = []
    for u in np.linspace(0.0, 1.0, rows):
        shrink = float(np.sqrt(np.clip((1.0 - u) / 0.05, 0.0, 1.0)))
        shrink = max(0.12, min(1.0, shrink)) * float(0.4 + 0.6 * smoothstep(u, 0.0, 0.08))
        table.append((float(u), shrink))
    counts = ring_counts(
        np.array([2.1 * float(profile(u, CHORD)) * f + 3 for u, f in table]), spacing
    )
    for (u, shrink), n in zip(table, counts, strict=True):
        here, grow, normal = _frame(u, lead, length)
        fingers = np.abs(np.sin(np.pi * u * length / 3.0))
        chord = float(profile(u, CHORD)) * shrink + 0.7 * float(fingers) * shrink
        arm = float(profile(u, ((0, 2.3), (0.3, 2.0), (0.6, 1.7), (0.8, 1.35), (1.0, 1.0))))
        thick = profile(
            xi * chord,
            ((0.0, 0.9 * arm), (1.6, arm), (4.0, 0.62 * arm + 0.2), (7.5, 0.8), (14.0, 0.68)),
        )
        nose = np.sqrt(np.clip(1 - (1 - np.minimum(xi * chord / (1.2 * arm), 1)) ** 2, 0, 1))
        tail = np.sqrt(np.clip(1 - (1 - np.minimum((1 - xi) * chord / 0.7, 1)) ** 2, 0, 1))
        y = thick * nose * tail * top * (0.45 + 0.55 * shrink)
        loop = np.stack([xi * chord, y], axis=1)
        loop = np.vstack([loop, loop[:1]])
        dist = arc_lengths(loop)
        q = dist[-1] * np.arange(n) / n
        x = np.interp(q, dist, loop[:, 0])
        yy = np.interp(q, dist, loop[:, 1])
        # Small coverts over the arm, longer rows towards the flight feathers.
        row = profile(x, ((0.0, 0.2), (2.2, 1.4), (4.6, 2.5), (7.6, 3.5), (10.6, 4.4), (14.0, 5.3)))
        row = row + 0.3 * (noise(u * 9, x / 5, seed) - 0.5)
        across = u * length / 3.0 + 0.06 * x
        h = shingles(across, row, edge=0.2)
        barbs = 0.06 * np.sin(2 * np.pi * (row * 4.0 + 3.0 * np.abs(2 * (across % 1) - 1)))
        amount = (0.4 + 0.22 * smoothstep(x, 1.0, 4.0)) * smoothstep(x, 0.1, 1.0)
        amount = amount * smoothstep(chord - x, 0.0, 0.9) * smoothstep(1 - u, 0.01, 0.08)
        yy = yy + np.sign(yy) * amount * (h + barbs * smoothstep(h, 0.3, 0.6))
        yy = yy - 0.012 * (x - 2.0) ** 2 - 0.25 * x * (1 - u)
        # At the rounded front the relief has to stand out forward to be seen.
        x = x - 0.4 * (1 - smoothstep(x, 0.0, 1.8)) * shingles(across + 0.5 * yy, row + 0.4 * yy)
        rings.append(here + x[:, None] * grow + yy[:, None] * normal)
    first, last = rings[0].mean(axis=0), rings[-1].mean(axis=0)
    return close_rings("arm", first, rings, last)


def _blade(
    name: str,
    start: Vec,
    grow: Vec,
    normal: Vec,
    length: float,
    half_width: float,
    droop: float,
    pointed: float,
    detail: float,
    twist: float,
    seed: int,
) -> Part:
    """One flight feather: a drooping, rounded blade with shaft and barbs in relief."""
    t = np.array([0.0, 0.25, 0.5, 0.7, 0.85, 1.0])
    sag = droop * t**2.2
    path = start + (t * length)[:, None] * grow - sag[:, None] * np.array([0, 0, 1.0])
    path = path - (0.04 * length * (t - t * t))[:, None] * normal * -1.0
    total = float(arc_lengths(spline(path))[-1])
    slim = 0.66 + 0.26 * (1 - pointed)
    width: Keys = (
        (0.0, 0.5 * half_width),
        (0.3, half_width),
        (0.62, half_width * (1.0 - 0.1 * pointed)),
        (0.82, half_width * slim),
        (0.93, half_width * slim * 0.74),
        (1.0, 0.66),
    )
    height: Keys = ((0.0, 0.8), (0.5, 0.68), (1.0, 0.63))

    def relief(s: float, phi: Vec) -> Vec:
        x = np.cos(phi)
        x = np.sign(x) * np.abs(x) ** (2 / 2.8)
        fade = float(smoothstep(s, 0.0, 2.0) * smoothstep(total - s, 0.2, 2.0))
        shaft = 0.26 * np.exp(-(((x - 0.15) / 0.13) ** 2))
        comb = np.sin(2 * np.pi * (s / 0.95 + 1.1 * np.abs(x - 0.15)))
        notch = noise(s / 1.6, 3.0, seed)
        barbs = 0.05 * comb * smoothstep(np.abs(x - 0.15), 0.15, 0.35) * (0.6 + 0.8 * notch)
        flat = smoothstep(np.abs(np.sin(phi)), 0.3, 0.75)
        out: Vec = fade * flat * (shaft + barbs)
        return out

    return tube(
        name,
        path,
        width,
        height,
        side=np.cross(normal, grow),
        spacing=0.375 / detail,
        caps=(0.8, 2.6),
        power=2.8,
        relief=relief,
        camber=0.35,
        twist_rad=((0.0, twist), (1.0, twist * 0.8)),
    )


def _place(part: Part, name: str, pose: WingPose) -> Part:
    """Turn a part about the left shoulder and mirror it for the right wing."""
    pivot = np.array([2.0, 3.5, 46.5])
    v = part.vertices - pivot
    c, s = np.cos(pose.raise_rad), np.sin(pose.raise_rad)
    v = v @ np.array([[1, 0, 0], [0, c, -s], [0, s, c]]).T
    c, s = np.cos(pose.sweep_rad), np.sin(pose.sweep_rad)
    v = v @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]).T + pivot
    faces = part.faces
    if pose.mirror:
        v = v * np.array([1.0, -1.0, 1.0])
        faces = np.ascontiguousarray(faces[:, ::-1])
    return Part(name, np.ascontiguousarray(v), faces)


def wing(pose: WingPose, detail: float) -> list[Part]:
    """All parts of one wing: the arm, its primaries, secondaries and tertials."""
    lead = spline(LEADING)
    length = float(arc_lengths(lead)[-1])
    parts = [_place(_sheet(detail, pose.seed), f"{pose.prefix}_wing", pose)]
    feathers: list[tuple[str, float, float, float, float, float]] = []
    for k in range(9):  # primaries, outermost first: u, length, half width, droop, pointed
        f = k / 8
        long = float(profile(f, ((0, 14.5), (0.25, 17.0), (0.6, 17.5), (1.0, 16.5))))
        feathers.append((f"primary_{k + 1}", 0.97 - 0.33 * f, long, 1.8, 6.4 - 2.4 * f, 1 - f))
    for k in range(8):
        f = k / 7
        feathers.append(
            (f"secondary_{k + 1}", 0.6 - 0.43 * f, 15.5 - 2.0 * f, 2.05, 3.4 - 1.6 * f, 0.0)
        )
    for i, (name, u, long, half, droop, pointed) in enumerate(feathers):
        here, chord_dir, normal = _frame(u, lead, length)
        grow = _growth(u, GROWTH)
        # The outer primaries turn their faces to the front.
        turn = 0.75 * float(smoothstep(u, 0.5, 0.92))
        normal = (1 - turn) * normal + turn * np.array([0.82, 0.48, 0.3])
        normal = unit(normal - float(normal @ grow) * grow)
        jitter = float(noise(i * 1.7 + 0.3, 5.0, pose.seed)) - 0.5
        chord = float(profile(u, CHORD))
        start = here + 0.36 * chord * chord_dir - (0.1 + 0.1 * chord * (1 - u)) * normal
        blade = _blade(
            name,
            start,
            grow,
            normal,
            long + 1.6 * jitter,
            half,
            droop + jitter,
            pointed,
            detail,
            0.2,
            pose.seed + i,
        )
        parts.append(_place(blade, f"{pose.prefix}_{name}", pose))
    return parts
