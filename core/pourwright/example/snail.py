"""A garden snail on the move: a figure to try things on."""

from __future__ import annotations

import numpy as np

from .shapes import Part, Relief, Vec, noise, tube

_TURNS = 2.6
_PIECE = 0.4  # of a turn
_SHELL_AT = np.array([-3.0, 0.0, 17.0])


def snail(detail: float = 1.0) -> list[Part]:
    """Build the figure, standing on z = 0, looking towards +X, about 60 mm long.

    detail scales the tessellation in both directions. Parts are closed and overlap their
    neighbours; their union is one body. Raises ValueError unless 0.1 <= detail <= 2.
    """
    if not 0.1 <= detail <= 2.0:
        raise ValueError(f"detail must lie between 0.1 and 2, not {detail}")
    parts = [_foot(detail), _neck(detail), *_shell(detail), *_tentacles(detail)]
    floor = min(float(p.vertices[:, 2].min()) for p in parts)
    return [Part(p.name, p.vertices - np.array([0.0, 0.0, floor]), p.faces) for p in parts]


def _skin(seed: int, depth: float) -> Relief:
    """Wrinkled skin: bumps of some tenths of a mm."""

    def relief(s: float, phi: Vec) -> Vec:
        turn = phi / (2 * np.pi)
        bumps: Vec = depth * (noise(turn * 26, s * 0.55, seed, 26) - 0.5)
        return bumps

    return relief


def _foot(detail: float) -> Part:
    """The long sole: broad behind the head, drawn out to a tail, frilled at its rim."""
    return tube(
        "foot",
        [(-31, 0, 0.8), (-16, 0, 2.2), (2, 0, 3.2), (16, 0, 3.0), (25, 0, 3.4)],
        [(0.0, 0.9), (0.25, 5.0), (0.55, 8.2), (0.85, 6.4), (1.0, 3.4)],
        [(0.0, 0.7), (0.25, 2.2), (0.55, 3.4), (0.85, 3.2), (1.0, 2.4)],
        spacing=0.6 / detail,
        caps=(1.6, 1.0),
        power=2.6,
        relief=_skin(7, 0.5),
    )


def _neck(detail: float) -> Part:
    """Neck and head, lifted off the ground."""
    return tube(
        "neck",
        [(4, 0, 6.5), (13, 0, 7.5), (21, 0, 11.0), (27, 0, 15.5), (30.5, 0, 16.5)],
        [(0.0, 6.2), (0.35, 5.4), (0.75, 4.4), (1.0, 3.6)],
        [(0.0, 5.4), (0.35, 4.8), (0.75, 4.2), (1.0, 3.3)],
        spacing=0.5 / detail,
        relief=_skin(11, 0.55),
    )


def _shell(detail: float) -> list[Part]:
    """A tube wound into a low spire, its lip on the back.

    Its turns overlap, so it is built of pieces of less than half a turn that do not.
    """

    def growth_lines(s: float, phi: Vec) -> Vec:
        lines: Vec = 0.22 * np.sin(s * 2.6) * np.ones_like(phi)
        return lines

    count = round(_TURNS / _PIECE)
    parts = []
    for number in range(count):
        t = np.linspace(max(number - 0.1, 0) / count, (number + 1) / count, 12)
        turn = 2 * np.pi * _TURNS * t + 0.35 * np.pi
        grow = np.exp(2.35 * (t - 1.0))
        radius, rise = 10.6 * grow, 7.6 * (1.0 - grow)
        spiral = np.stack([radius * np.sin(turn), rise - 3.4, -radius * np.cos(turn)], axis=1)
        along = np.linspace(0.0, 1.0, len(t))
        thick = [(float(x), float(w)) for x, w in zip(along, 9.4 * grow, strict=True)]
        parts.append(
            tube(
                f"shell_{number + 1}",
                spiral + _SHELL_AT,
                thick,
                [(x, 0.96 * w) for x, w in thick],
                side=(0.0, 1.0, 0.0),
                spacing=0.7 / detail,
                relief=growth_lines,
                caps=(0.6, 0.6),
            )
        )
    return parts


def _tentacles(detail: float) -> list[Part]:
    """Two long feelers with an eye on top, two short ones below."""
    parts = []
    for name, y, tip in (
        ("feeler_left", 1.9, (38.5, 6.0, 29.0)),
        ("feeler_right", -1.9, (39.5, -5.2, 28.0)),
        ("lip_left", 1.5, (37.0, 3.4, 12.4)),
        ("lip_right", -1.5, (37.0, -3.4, 12.6)),
    ):
        long = name.startswith("feeler")
        root = (30.5, y, 18.0) if long else (31.5, y, 15.4)
        middle = tuple((a + b) / 2 + d for a, b, d in zip(root, tip, (0.6, 0.0, -0.8), strict=True))
        ends = [(0.0, 1.5), (0.55, 0.95), (0.88, 0.85), (1.0, 1.45)] if long else [
            (0.0, 1.2), (0.6, 0.8), (1.0, 0.95)
        ]  # fmt: skip
        parts.append(tube(name, [root, middle, tip], ends, ends, spacing=0.3 / detail))
    return parts
