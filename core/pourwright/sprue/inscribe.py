"""Text on a face of a base, cut into it or raised on it, never finer than the printer shows."""

from __future__ import annotations

import numpy as np

from pourwright.errors import InputError
from pourwright.solid import boolean
from pourwright.solid.mesh import TriMesh
from pourwright.sprue import forms
from pourwright.sprue.lettering import Layout, lay_out, letters, lines_of
from pourwright.sprue.model import Face, Lettering, Shape
from pourwright.sprue.settings import BaseSettings

# Cutting starts above the face, raised letters start within the base.
_ABOVE_MM = 1.0
_WITHIN_MM = 0.3
# How far flat pieces of bent letters may lie off the true bend.
_SAG_MM = 0.04
_SHOWN = 30
_QUIET_ALONG, _QUIET_ACROSS = 0.88, 0.72


def inscribed(shape: Shape, base: BaseSettings) -> tuple[TriMesh, Lettering | None]:
    """Return the base with its text, and how the text came out; None where there is none.

    Text shrinks to fit its face. Raises InputError
    where it would get finer than `smallest_line_mm`, with how much of it fits; for a character
    that cannot be written; and for cuts deeper than half of what is behind the face.
    """
    lines = lines_of(base.text)
    if lines == ("",):
        return shape.body, None
    face = next(f for f in shape.faces if f.name == base.face)
    layout = lay_out(lines)
    em = _em_mm(lines, layout, face, base)
    depth = base.text_depth_mm
    if base.text_style == "cut":
        if depth > face.behind_mm / 2:
            raise InputError(
                f"Letters {depth:.3g} mm deep go more than half through the {face.behind_mm:.3g} "
                f"mm behind the {face.name}",
                hint="make base.text_depth_mm smaller, the base thicker or the letters raised",
            )
        tool = letters_on(face, layout, em, -depth, _ABOVE_MM)
        body = boolean.difference(shape.body, [tool], shape.body.name)
    else:
        tool = letters_on(face, layout, em, -_WITHIN_MM, depth)
        body = boolean.union([shape.body, tool], shape.body.name)
    return body, Lettering(
        lines, face.name, base.text_style, em * letters().capital, em * layout.finest
    )


def letters_on(face: Face, layout: Layout, em_mm: float, low: float, high: float) -> TriMesh:
    """Return the letters as bodies on a face, from one height over it to another."""
    body = forms.prism([loop * em_mm for loop in layout.loops], low, high, "letters")
    if face.bend != "plane":
        body = boolean.refined(body, float(np.sqrt(8 * face.radius_mm * _SAG_MM)))
    return TriMesh(face.place(body.vertices), body.faces, "letters")


def _em_mm(lines: tuple[str, ...], layout: Layout, face: Face, base: BaseSettings) -> float:
    """Size of the letters; InputError where they would have to be too fine."""
    least = base.smallest_line_mm / layout.finest
    wish = np.inf
    if base.text_height_mm is not None:
        wish = base.text_height_mm / letters().capital
        if wish < least:
            raise InputError(
                f"Capitals {base.text_height_mm:.3g} mm high have lines or gaps under "
                f"{base.smallest_line_mm:.3g} mm",
                hint=f"make base.text_height_mm {_up(least * letters().capital)} or more",
            )
    what = f"'{_shown(lines)}'"
    if layout.height * least > face.height_mm:
        raise InputError(
            f"{what} takes {layout.height * least:.3g} mm of height at the smallest size that "
            f"prints, the {face.name} of the base has {face.height_mm:.3g} mm",
            hint="make the base higher, write fewer lines or capitals only, or take another face",
        )
    if layout.width * least > face.width_mm:
        longest = max(lines, key=lambda line: lay_out((line,)).width)
        fits = _fitting(longest, face.width_mm, base.smallest_line_mm)
        raise InputError(
            f"{what} is {layout.width * least:.3g} mm long at the smallest size that prints, "
            f"the {face.name} of the base has {face.width_mm:.3g} mm",
            hint=f"{fits} of {len(longest)} characters fit; shorten it, make the base wider or "
            "take another face",
        )
    fill = min(face.width_mm / layout.width, face.height_mm / layout.height)
    # Without a height of its own, text leaves a quiet edge round it where it can.
    quiet = min(_QUIET_ALONG * face.width_mm / layout.width,
                _QUIET_ACROSS * face.height_mm / layout.height)  # fmt: skip
    return float(min(max(least, quiet) if base.text_height_mm is None else wish, fill))


def _fitting(line: str, width_mm: float, smallest_line_mm: float) -> int:
    """How many characters of a line fit, from its start."""
    for count in range(len(line) - 1, 0, -1):
        layout = lay_out((line[:count].strip(),))
        if layout.width * smallest_line_mm / layout.finest <= width_mm:
            return count
    return 0


def _shown(lines: tuple[str, ...]) -> str:
    text = " / ".join(lines)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"


def _up(value: float) -> str:
    return f"{np.ceil(value * 100) / 100:g}"
