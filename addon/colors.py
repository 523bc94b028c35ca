"""Colours and marks that mean the same in the view and in its legend.

Okabe and Ito's colours (2008) are told apart by every kind of colour vision; beside its colour
each thing differs in form or pattern. sRGB.
"""

from __future__ import annotations

ORANGE, SKY, GREEN = (0.902, 0.380, 0.0), (0.337, 0.706, 0.914), (0.0, 0.619, 0.451)
BLUE, PURPLE, YELLOW = (0.0, 0.447, 0.698), (0.80, 0.475, 0.655), (0.941, 0.894, 0.259)
RED, PALE, DARK = (0.835, 0.369, 0.0), (0.80, 0.82, 0.84), (0.08, 0.08, 0.10)

# What becomes of a pocket, in the order of the numbers that the shader knows.
MATTERS, VANISHES, VENTED, SEALED = range(4)
KINDS = (
    ("Leaves a Visible Bubble", ORANGE),
    ("Bubble Too Small to See", SKY),
    ("Vented", GREEN),
    ("No Opening at All", YELLOW),
)


def linear(color: tuple[float, float, float]) -> tuple[float, ...]:
    """Return an sRGB colour as the view takes it (IEC 61966-2-1)."""
    return tuple(c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in color)


def glsl(color: tuple[float, float, float]) -> str:
    """Return an sRGB colour as text for a shader of the view."""
    return "vec3({:.5f}, {:.5f}, {:.5f})".format(*linear(color))
