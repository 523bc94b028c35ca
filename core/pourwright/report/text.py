"""Tables, numbers and places as text, and the lines that every report opens with."""

from __future__ import annotations

from collections.abc import Sequence

from pourwright.errors import Point
from pourwright.solid.mesh import TriMesh
from pourwright.solid.solid import Solid

INDENT = "  "
_MM3_PER_ML = 1000.0


def table(
    heads: Sequence[str], rows: Sequence[Sequence[str]], aligns: str, indent: str = INDENT
) -> str:
    """Return rows of cells in columns, headed; `aligns` has < or > for each column."""
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    return "\n".join(
        indent
        + "  ".join(
            f"{cell:{align}{width}}"
            for cell, align, width in zip(row, aligns, widths, strict=False)
        ).rstrip()
        for row in (heads, *rows)
    )


def joined(*parts: str) -> str:
    """Join the parts by line; empty ones stand for one blank line, never for two."""
    lines: list[str] = []
    for part in parts:
        if part or (lines and lines[-1]):
            lines.append(part)
    while lines and not lines[-1]:
        lines.pop()
    return "\n".join(lines)


def shrink(factor: float) -> str:
    """Say what is left of trapped air, as a share of its volume."""
    if abs(factor - 1.0) < 5e-4:
        return "trapped air keeps its volume"
    return f"trapped air ends up at {factor * 100:.2g} % of its volume"


def size(mesh: TriMesh) -> str:
    """Return the extent along the axes."""
    low, high = mesh.bounds_mm
    return "{:.1f} x {:.1f} x {:.1f} mm".format(*(high - low))


def placed(message: str, at_mm: Point | None) -> str:
    """Return the message with its place, unless it names the place itself."""
    if at_mm is None or place(at_mm) in message:
        return message
    return f"{message} at {place(at_mm)}"


def place(point: Sequence[float]) -> str:
    """Return a point in mm, to a tenth."""
    return "({:.1f}, {:.1f}, {:.1f})".format(*point)


def direction(up: Sequence[float]) -> str:
    """Return a unit vector."""
    return "({:.3g}, {:.3g}, {:.3g})".format(*(c + 0.0 for c in up))


def small(volume_mm3: float) -> str:
    """Return a volume that may be tiny, without its unit."""
    return f"{volume_mm3:.2f}" if volume_mm3 >= 0.01 else f"{volume_mm3:.1g}"


def grams(mass_g: float) -> str:
    """Return what a bench scale shows; a few drops of catalyst need the second decimal."""
    return f"{mass_g:.1f}" if mass_g >= 20.0 else f"{mass_g:.2f}"


def count(number: int, noun: str) -> str:
    """Return "1 rod", "2 rods"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def minutes(minutes: float) -> str:
    """Return a time as minutes or, if long, hours."""
    return f"{minutes:.3g} min" if minutes < 120 else f"{minutes / 60:.3g} h"


def figure(solid: Solid, names: Sequence[str]) -> str:
    """Return what a report opens with: the files, what was read, what was noticed."""
    shells = count(solid.shells, "shell")
    parts = f", {solid.parts} separate parts" if solid.parts != 1 else ""
    return joined(
        f"Figure   {', '.join(names)}",
        f"{INDENT}{size(solid.mesh)}, {solid.volume_mm3 / _MM3_PER_ML:.2f} ml, "
        f"{shells}, {count(solid.triangles, 'triangle')}{parts}",
        *(f"{INDENT}note: {placed(f.message, f.at_mm)}" for f in solid.findings),
        *_protected(solid),
    )


def _protected(solid: Solid) -> Sequence[str]:
    if solid.protection is None:
        return ()
    points = solid.protection.points_mm[solid.protection.weights > 0]
    low, high = points.min(axis=0), points.max(axis=0)
    return (f"{INDENT}protected: surface between {place(low)} and {place(high)}",)
