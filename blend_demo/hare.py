"""A sitting hare, ears up: the third figure of the museum shop's garden trail."""

from __future__ import annotations

import numpy as np

from pourwright.example.shapes import Keys, Part, Points, Vec, noise, tube


def hare(detail: float = 1.0) -> list[Part]:
    """Build the figure, sitting on z = 0, looking towards +X, about 65 mm high.

    detail scales the tessellation in both directions. Parts are closed and overlap their
    neighbours; their union is one body. Raises ValueError unless 0.1 <= detail <= 2.
    """
    if not 0.1 <= detail <= 2.0:
        raise ValueError(f"detail must lie between 0.1 and 2, not {detail}")
    parts = [_limb(*row, detail) for row in _MIDDLE]
    for name, points, width, height in _PAIRED:
        for side, sign in (("left", 1.0), ("right", -1.0)):
            mirrored = [(x, sign * y, z) for x, y, z in points]
            parts.append(_limb(f"{name}_{side}", mirrored, width, height, detail))
    floor = min(float(p.vertices[:, 2].min()) for p in parts)
    return [Part(p.name, p.vertices - np.array([0.0, 0.0, floor]), p.faces) for p in parts]


def _limb(name: str, points: Points, width: Keys, height: Keys, detail: float) -> Part:
    ear = name.startswith("ear")

    def fur(s: float, phi: Vec) -> Vec:
        """Tufts along the hair, none on the ears."""
        depth = 0.0 if ear else 0.5
        tufts: Vec = depth * (noise(phi / (2 * np.pi) * 22, s * 0.35, len(name), 22) - 0.5)
        return tufts

    return tube(
        name, points, width, height, spacing=0.6 / detail, relief=fur,
        camber=0.9 if ear else 0.0, caps=(1.0, 1.6) if ear else (1.0, 1.0),
    )  # fmt: skip


# Part, spline, half width and half height along it; mm.
_MIDDLE: list[tuple[str, Points, Keys, Keys]] = [
    (
        "trunk",
        [(-14, 0, 10), (-8, 0, 18), (1, 0, 25), (7, 0, 33)],
        [(0.0, 8.0), (0.35, 11.5), (0.7, 9.0), (1.0, 6.4)],
        [(0.0, 7.5), (0.35, 10.5), (0.7, 8.5), (1.0, 6.0)],
    ),
    (
        "chest",
        [(0, 0, 14), (5, 0, 22), (7, 0, 31)],
        [(0.0, 6.5), (0.5, 7.2), (1.0, 5.6)],
        [(0.0, 5.5), (0.5, 6.4), (1.0, 5.4)],
    ),
    (
        "head",
        [(3, 0, 38), (9, 0, 40), (16, 0, 38), (20, 0, 35.5)],
        [(0.0, 5.4), (0.35, 6.4), (0.75, 4.4), (1.0, 3.0)],
        [(0.0, 5.0), (0.35, 6.2), (0.75, 4.4), (1.0, 2.9)],
    ),
    ("tail", [(-18, 0, 8), (-22, 0, 11)], [(0.0, 3.2), (1.0, 3.0)], [(0.0, 3.2), (1.0, 3.0)]),
]
_PAIRED: list[tuple[str, Points, Keys, Keys]] = [
    (
        "ear",
        [(4.5, 3.0, 43), (1.5, 4.2, 52), (-0.5, 5.4, 61), (-1.5, 6.0, 67)],
        [(0.0, 1.9), (0.4, 3.3), (0.8, 2.5), (1.0, 1.0)],
        [(0.0, 1.6), (0.4, 1.3), (0.8, 1.1), (1.0, 0.8)],
    ),
    (
        "thigh",
        [(-11, 8.8, 9.5), (-5, 9.6, 10.5), (1, 9.5, 9.5)],
        [(0.0, 4.6), (0.5, 5.4), (1.0, 4.0)],
        [(0.0, 6.0), (0.5, 7.6), (1.0, 4.4)],
    ),
    (
        "hind_foot",
        [(-10, 10, 2.4), (0, 10.4, 2.3), (11, 10.2, 2.2)],
        [(0.0, 2.6), (0.5, 2.9), (1.0, 2.3)],
        [(0.0, 2.3), (0.5, 2.3), (1.0, 1.9)],
    ),
    (
        "fore_leg",
        [(7, 4.2, 24), (9.5, 4.4, 13), (10.5, 4.4, 4), (14, 4.4, 1.9)],
        [(0.0, 3.4), (0.4, 2.4), (0.8, 1.9), (1.0, 1.9)],
        [(0.0, 3.6), (0.4, 2.5), (0.8, 2.0), (1.0, 1.7)],
    ),
    ("eye", [(12.0, 4.4, 41.0), (12.6, 5.5, 41.2)], [(0.0, 1.3), (1.0, 1.1)],
     [(0.0, 1.3), (1.0, 1.1)]),
    ("cheek", [(13, 2.4, 36.2), (17, 2.6, 35.4)], [(0.0, 2.6), (1.0, 2.2)],
     [(0.0, 2.6), (1.0, 2.2)]),
]  # fmt: skip
