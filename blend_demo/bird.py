"""The heron's trunk, neck, head, bill, plumes and tail."""

from __future__ import annotations

import numpy as np

from pourwright.example.shapes import (
    Keys,
    Part,
    Vec,
    arc_lengths,
    at_arc,
    noise,
    profile,
    shingles,
    smoothstep,
    spline,
    tube,
    unit,
)

TRUNK = (
    (-14.8, 0.0, 36.2),
    (-9.0, 0.0, 39.0),
    (-2.0, 0.0, 42.4),
    (4.5, 0.0, 45.4),
    (9.6, 0.0, 48.8),
    (12.9, -0.2, 53.2),
    (12.9, -0.6, 57.6),
    (10.0, -0.9, 61.4),
    (6.7, -0.7, 64.6),
    (5.2, -0.3, 68.2),
    (6.9, 0.1, 71.4),
    (10.4, 0.7, 72.5),
)
HEAD_AT = np.array([9.6, 0.45, 72.3])
HEAD_YAW, HEAD_PITCH = 0.27, -0.10
NECK_FROM, NECK_FADE = 0.36, 0.07


def _trunk_sizes() -> tuple[Vec, Keys, Keys]:
    path = spline(TRUNK)
    width: Keys = (
        (0.0, 1.7),
        (0.08, 3.5),
        (0.2, 5.8),
        (0.3, 5.9),
        (0.4, 4.3),
        (0.48, 2.9),
        (0.58, 2.15),
        (0.75, 1.8),
        (0.9, 1.85),
        (1.0, 2.0),
    )
    height: Keys = (
        (0.0, 0.9),
        (0.08, 2.5),
        (0.2, 5.6),
        (0.3, 6.0),
        (0.4, 4.6),
        (0.48, 3.2),
        (0.58, 2.4),
        (0.75, 1.95),
        (0.9, 1.95),
        (1.0, 2.0),
    )
    return path, width, height


def _trunk_piece(name: str, lo: float, hi: float, detail: float, spacing: float) -> Part:
    """A stretch of the trunk; the ends fade inward so that pieces cross without a step."""
    path, width, height = _trunk_sizes()
    total = float(arc_lengths(path)[-1])
    piece = at_arc(path, np.linspace(lo * total, hi * total, 48))
    f = np.linspace(lo, hi, 41)
    fade: Vec = 1.0 - 0.5 * smoothstep(f, hi - NECK_FADE, hi) * float(hi < 1)
    fade = fade * (1.0 - 0.5 * (1 - smoothstep(f, lo, lo + NECK_FADE)) * float(lo > 0))
    t = (f - lo) / (hi - lo)
    w: Keys = list(zip(t.tolist(), (profile(f, width) * fade).tolist(), strict=True))
    h: Keys = list(zip(t.tolist(), (profile(f, height) * fade).tolist(), strict=True))

    def relief(d: float, phi: Vec) -> Vec:
        along = lo * total + d
        frac = along / total
        turn = phi / (2 * np.pi)
        wob = 0.22 * (noise(turn * 10, along / 2.5, 5, period=10) - 0.5)
        rows = shingles(turn * 13 + 0.15 * wob, 60 - along / 2.7 + wob, edge=0.15)
        plume = shingles(turn * 13 + 0.15 * wob, 60 - along / 2.2 + wob, edge=0.3, pointed=1.0)
        up_neck = float(smoothstep(frac, 0.36, 0.44))
        body = 0.68 * float(smoothstep(frac, 0.0, 0.05)) * (1 - up_neck) * rows
        mane = up_neck * float(1 - smoothstep(frac, 0.5, 0.66)) * 0.4 * plume
        hair = np.sin(12 * phi + 5 * noise(turn * 7, along / 4.0, 6, period=7))
        streak = noise(turn * 16, along / 2.4, 7, period=16) - 0.5
        neck = float(smoothstep(frac, 0.46, 0.6))
        out: Vec = body + mane + neck * (0.07 * hair + 0.26 * streak)
        return out

    return tube(name, piece, w, h, spacing=spacing / detail, relief=relief, caps=(0.8, 0.5))


def trunk(detail: float) -> list[Part]:
    """Body and neck."""
    return [
        _trunk_piece("body", 0.0, NECK_FROM + 1.96 * NECK_FADE, detail, 0.35),
        _trunk_piece("neck", NECK_FROM, 1.0, detail, 0.35),
    ]


def _head_axes() -> tuple[Vec, Vec, Vec]:
    cy, sy, cp, sp = np.cos(HEAD_YAW), np.sin(HEAD_YAW), np.cos(HEAD_PITCH), np.sin(HEAD_PITCH)
    forward = np.array([cp * cy, cp * sy, sp])
    left = np.array([-sy, cy, 0.0])
    return forward, left, np.cross(forward, left)


def _at_head(points: list[tuple[float, float, float]]) -> Vec:
    """Points given as (forward, left, up) of the head frame, in world millimetres."""
    out: Vec = HEAD_AT + np.dot(np.asarray(points, dtype=np.float64), np.stack(_head_axes()))
    return out


def head(detail: float) -> list[Part]:
    """Head with upper mandible, lower mandible, eyes and the two crest plumes."""
    _, left, upper = _head_axes()
    spacing = 0.3 / detail

    def skin(s: float, phi: Vec) -> Vec:
        turn = phi / (2 * np.pi)
        fur = noise(turn * 16, s / 1.5, 31, period=16) - 0.5
        brow = 0.28 * np.exp(-(((phi - 0.75) / 0.25) ** 2))
        brow = brow + 0.28 * np.exp(-(((phi - np.pi + 0.75) / 0.25) ** 2))
        on_head = float(1 - smoothstep(s, 10.2, 12.4))
        at_eye = float(np.exp(-(((s - 8.9) / 1.7) ** 2)))
        out: Vec = on_head * 0.16 * fur + at_eye * brow
        return out

    upper_bill = tube(
        "head",
        _at_head(
            [
                (-3.4, 0, -2.9),
                (-1.5, 0, -0.75),
                (0.8, 0, 0.0),
                (3.5, 0, 0.3),
                (6.2, 0, 0.3),
                (9.0, 0, 0.35),
                (14.0, 0, 0.4),
                (20.0, 0, 0.1),
            ]
        ),
        (
            (0, 1.2),
            (0.115, 1.75),
            (0.21, 2.2),
            (0.32, 2.65),
            (0.43, 2.4),
            (0.545, 1.72),
            (0.63, 1.42),
            (0.8, 1.02),
            (1, 0.66),
        ),
        (
            (0, 1.2),
            (0.115, 1.8),
            (0.21, 2.15),
            (0.32, 2.4),
            (0.43, 2.1),
            (0.545, 1.55),
            (0.63, 1.32),
            (0.8, 1.0),
            (1, 0.66),
        ),
        side=left,
        spacing=spacing,
        caps=(0.9, 3.2),
        relief=skin,
    )
    lower_bill = tube(
        "lower_mandible",
        _at_head(
            [(1.2, 0, -0.6), (4.0, 0, -0.95), (7.0, 0, -1.5), (11.5, 0, -2.4), (18.2, 0, -3.8)]
        ),
        ((0, 1.4), (0.25, 1.85), (0.45, 1.4), (0.8, 0.92), (1, 0.66)),
        ((0, 1.0), (0.25, 1.25), (0.45, 1.05), (0.8, 0.82), (1, 0.66)),
        side=left,
        spacing=spacing,
        caps=(0.9, 3.2),
    )
    parts = [upper_bill, lower_bill]
    for sign, name in ((1.0, "left_eye"), (-1.0, "right_eye")):
        a = _at_head([(4.3, 1.1 * sign, 0.75), (4.3, 1.98 * sign, 0.85)])
        parts.append(
            tube(
                name,
                a,
                ((0, 0.85), (1, 0.8)),
                ((0, 0.85), (1, 0.8)),
                side=upper,
                spacing=spacing * 0.8,
            )
        )
    for name, y0, y1, tip, z1 in (
        ("left_crest", 0.5, 2.6, -11.5, -3.6),
        ("right_crest", -0.5, -1.6, -9.5, -1.6),
    ):
        parts.append(
            tube(
                name,
                _at_head(
                    [
                        (2.8, y0, 1.7),
                        (0.2, 1.2 * y0, 2.35),
                        (-3.0, 1.1 * y0, 2.0),
                        (-7.0, 0.5 * (y0 + y1), 0.1),
                        (tip, y1, z1),
                    ]
                ),
                ((0, 0.8), (0.3, 1.05), (0.6, 0.85), (1, 0.62)),
                ((0, 0.75), (0.3, 0.8), (0.6, 0.7), (1, 0.62)),
                side=left,
                spacing=0.32 / detail,
                caps=(1.0, 2.2),
            )
        )
    return parts


def scapulars(detail: float) -> list[Part]:
    """Feathered shoulders that carry the wing roots smoothly into the body."""

    def rows(s: float, phi: Vec) -> Vec:
        turn = phi / (2 * np.pi)
        out: Vec = 0.5 * shingles(turn * 7, s / 2.6, edge=0.16) * smoothstep(s, 0.5, 3.0)
        return out

    parts = []
    for side, name in ((1.0, "left_scapular"), (-1.0, "right_scapular")):
        parts.append(
            tube(
                name,
                [
                    (5.8, 1.6 * side, 46.4),
                    (1.2, 4.4 * side, 45.9),
                    (-3.6, 5.3 * side, 43.5),
                    (-8.4, 5.0 * side, 40.6),
                    (-11.0, 4.9 * side, 38.6),
                ],
                ((0, 1.0), (0.35, 2.2), (0.6, 2.0), (1, 0.9)),
                ((0, 1.0), (0.35, 2.8), (0.6, 2.7), (1, 0.8)),
                spacing=0.36 / detail,
                relief=rows,
                caps=(0.9, 1.6),
            )
        )
    return parts


def plumes(detail: float) -> list[Part]:
    """Breast plumes hanging free below the neck and long plumes over the back."""
    parts: list[Part] = []

    def streaks(s: float, phi: Vec) -> Vec:
        out: Vec = 0.1 * np.sin(6 * phi + 0.6 * np.sin(s * 1.3)) * smoothstep(s, 0.5, 2.0)
        return out

    for k, (y, x, drop, bow) in enumerate(
        (
            (0.2, 13.2, 14.5, 0.6),
            (1.5, 12.8, 11.6, 1.0),
            (-1.4, 12.8, 12.9, 0.9),
            (2.8, 11.6, 9.4, 1.0),
            (-2.9, 11.6, 10.2, 1.2),
            (0.7, 14.2, 10.0, 1.9),
            (-0.7, 14.0, 8.4, 2.3),
        )
    ):
        low = 52.4 - drop
        fall = 56.0 - 0.4 * abs(y) - low
        path = np.stack(
            [
                np.array([x + 0.6 - 0.12 * abs(y), 0.3 * y, low + fall]),
                np.array([x + 1.3 - 0.1 * abs(y), 0.5 * y, low + 0.76 * fall]),
                np.array([x + 0.9 + 0.35 * bow - 0.1 * abs(y), 0.85 * y, low + 0.5 * fall]),
                np.array([x - 0.6 + 0.7 * bow, 1.08 * y, low + 0.2 * fall]),
                np.array([x - 1.2 + 1.0 * bow, 1.08 * y, low]),
            ]
        )
        parts.append(
            tube(
                f"breast_plume_{k + 1}",
                path,
                ((0, 0.64), (0.4, 1.25), (0.58, 1.15), (0.78, 0.85), (1, 0.62)),
                ((0, 0.62), (0.4, 0.85), (0.6, 0.74), (1, 0.62)),
                spacing=0.33 / detail,
                caps=(1.0, 3.6),
                relief=streaks,
            )
        )
    for side in (1.0, -1.0):
        for k, (y, length, lift) in enumerate(
            (
                (0.8, 19.0, 1.0),
                (2.3, 17.5, 0.9),
                (3.6, 16.0, 0.8),
                (4.8, 12.5, 0.6),
            )
        ):
            t = np.array([0.0, 0.12, 0.3, 0.55, 0.8, 1.0])
            start = np.array([4.4 - 0.5 * k, 0.75 * y * side, 47.6 - 0.4 * k])
            rise = np.array([0.0, 2.2, 3.2, 2.9, 1.6, 0.0]) * (1 - 0.1 * k)
            path = start + np.stack(
                [
                    -length * t,
                    side * ((1.4 + 0.8 * k) * np.sqrt(t)),
                    -(6.8 + 0.8 * k) * t + rise + 0.4 * lift * t - (2.4 - 0.4 * k) * t**4,
                ],
                axis=1,
            )
            parts.append(
                tube(
                    f"{'left' if side > 0 else 'right'}_back_plume_{k + 1}",
                    path,
                    ((0, 0.8), (0.35, 1.3), (0.65, 1.15), (0.85, 0.9), (1, 0.64)),
                    ((0, 0.75), (0.35, 0.82), (0.65, 0.74), (1, 0.64)),
                    side=unit([0.0, 1.0, -0.2 * side * y]),
                    spacing=0.35 / detail,
                    caps=(1.0, 3.6),
                    relief=streaks,
                )
            )
    return parts


def tail(detail: float) -> list[Part]:
    """Five short tail feathers in a narrow fan."""
    parts = []
    for k in range(5):
        f = (k - 2) / 2

        def relief(s: float, phi: Vec) -> Vec:
            x = np.cos(phi)
            shaft = 0.22 * np.exp(-((x / 0.16) ** 2))
            comb = 0.04 * np.sin(2 * np.pi * (s / 1.1 + 0.8 * np.abs(x)))
            out: Vec = (shaft + comb) * smoothstep(np.abs(np.sin(phi)), 0.1, 0.5)
            return out * smoothstep(s, 1.0, 3.0) * (1 - smoothstep(s, 11.0, 13.0))

        start = np.array([-10.0, 0.9 * f, 38.2 - 0.35 * abs(f)])
        reach = 13.2 - 1.3 * abs(f)
        t = np.array([0.0, 0.35, 0.7, 1.0])
        path = start + np.stack(
            [
                -0.86 * reach * t,
                0.19 * f * reach * t,
                -0.5 * reach * t - 1.6 * t**2,
            ],
            axis=1,
        )
        parts.append(
            tube(
                f"tail_feather_{k + 1}",
                path,
                ((0, 1.2), (0.5, 1.75), (0.85, 1.6), (1.0, 0.8)),
                ((0, 0.9), (0.5, 0.72), (1.0, 0.64)),
                side=unit([0.0, 1.0, -0.22 * f]),
                spacing=0.36 / detail,
                power=2.8,
                relief=relief,
                camber=0.2,
            )
        )
    return parts
