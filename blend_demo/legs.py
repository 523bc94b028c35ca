"""The heron's legs: one stands and grips the log, the other is raised with hanging toes."""

from __future__ import annotations

import numpy as np

from pourwright.example.shapes import Keys, Part, Vec, shingles, smoothstep, tube, unit

from .perch import log_surface


def _scutes(s: float, phi: Vec) -> Vec:
    wave = 0.5 + 0.5 * np.sin(2 * np.pi * (s / 0.98 + 0.12 * np.cos(phi)))
    out: Vec = 0.1 * wave * (0.12 + 0.88 * smoothstep(np.sin(phi), -0.4, 0.6))
    return out


def _leg(name: str, hip: Vec, ankle: Vec, foot: Vec, detail: float) -> list[Part]:
    """Feathered thigh, shin and shank; shin and shank share the knob of the ankle joint."""
    down = ankle - hip

    def fluff(s: float, phi: Vec) -> Vec:
        turn = phi / (2 * np.pi)
        rows = shingles(turn * 9, s / 1.9 + 20, edge=0.25, pointed=1.0)
        out: Vec = 0.45 * rows * smoothstep(s, 1.0, 3.0)
        return out * float(1 - 0.75 * smoothstep(s, 7.0, 11.0))

    thigh = tube(
        f"{name}_thigh",
        [hip - 0.05 * down, hip + 0.22 * down, hip + 0.5 * down, hip + 0.84 * down],
        ((0, 1.4), (0.3, 2.9), (0.55, 2.25), (0.8, 1.5), (1, 1.15)),
        ((0, 1.6), (0.3, 3.5), (0.55, 2.55), (0.8, 1.6), (1, 1.15)),
        spacing=0.33 / detail,
        relief=fluff,
        caps=(0.8, 1.0),
    )
    knob = 1.48
    shin: Keys = ((0, 1.22), (0.55, 1.22), (0.8, 1.28), (1, knob))
    shank: Keys = ((0, knob), (0.16, 1.32), (0.3, 1.22), (0.8, 1.22), (1, 1.42))
    bow = 0.35 * unit(unit(down) - unit(foot - ankle))
    upper = tube(
        f"{name}_shin",
        [hip + 0.4 * down, hip + 0.7 * down, ankle],
        shin,
        shin,
        spacing=0.32 / detail,
        relief=_scutes,
    )
    lower = tube(
        f"{name}_shank",
        [ankle, ankle + 0.5 * (foot - ankle) - bow, foot],
        shank,
        shank,
        spacing=0.32 / detail,
        relief=_scutes,
    )
    return [thigh, upper, lower]


def _toe(name: str, points: Vec, side: Vec, detail: float) -> Part:
    def knuckles(s: float, phi: Vec) -> Vec:
        out: Vec = 0.05 * np.sin(2 * np.pi * s / 1.9) + 0.5 * _scutes(s * 1.4, phi)
        return out

    return tube(
        name,
        points,
        ((0, 1.1), (0.4, 0.9), (0.8, 0.78), (1, 0.62)),
        ((0, 1.1), (0.4, 0.9), (0.8, 0.8), (1, 0.62)),
        side=side,
        spacing=0.29 / detail,
        caps=(1.0, 2.6),
        relief=knuckles,
    )


def legs(detail: float) -> list[Part]:
    """Standing leg gripping the log, and the raised leg with its toes hanging."""
    parts: list[Part] = []
    s0 = -2.4
    sole = log_surface(s0, 0.5 * np.pi, 0.35)
    parts += _leg(
        "standing", np.array([-0.6, -2.3, 41.5]), np.array([-4.6, -2.9, 26.6]), sole, detail
    )
    quarter = 0.5 * np.pi
    for name, swing, reach, lift in (
        ("toe_inner", 4.4, 1.1, 0.0),
        ("toe_middle", 0.3, 1.42, 0.0),
        ("toe_outer", -4.2, 1.08, 0.0),
        ("toe_hind", 0.5, -1.0, 0.1),
    ):
        f = np.array([0.0, 0.3, 0.62, 0.86, 1.0])
        heights = (0.35, 0.4, 0.3, 0.2, -0.4)
        points = np.stack(
            [
                log_surface(s0 + swing * float(g) ** 0.9, quarter - reach * float(g), z + lift)
                for g, z in zip(f, heights, strict=True)
            ]
        )
        parts.append(_toe(f"standing_{name}", points, np.array([0.2, 1.0, 0.1]), detail))
    lifted = np.array([8.2, 4.6, 22.6])
    parts += _leg("raised", np.array([1.2, 2.4, 41.5]), np.array([-1.0, 4.9, 27.6]), lifted, detail)
    for name, offset in (
        ("toe_inner", (2.8, -2.7, -6.2)),
        ("toe_middle", (3.6, 0.3, -7.6)),
        ("toe_outer", (2.3, 3.0, -6.0)),
        ("toe_hind", (-2.6, 0.2, -4.8)),
    ):
        d = np.array(offset)
        out = np.array([d[0], d[1], 0.0])
        points = lifted + np.stack(
            [
                0 * d,
                0.32 * d + 0.16 * out,
                0.66 * d + 0.16 * out,
                0.88 * d + 0.06 * out,
                d - 0.12 * out,
            ]
        )
        parts.append(_toe(f"raised_{name}", points, np.array([0.15, 1.0, 0.1]), detail))
    return parts
