"""Every error that Pourwright raises on purpose.

    PourwrightError
    ├── InputError      a file, option or setting that cannot be used as it is
    ├── MeshError       a mesh that bounds no solid (open, folded, empty, not finite ...)
    ├── GeometryError   a solid operation that gave no usable result
    ├── OutputError     a result that cannot be written where it was asked for
    └── Cancelled       the user stopped the work
"""

from __future__ import annotations

import collections.abc as cabc

Point = tuple[float, float, float]


class PourwrightError(Exception):
    """Root of the errors; says what is wrong, where, and what to do about it.

    Parameters
    ----------
    what : one sentence on what is wrong, without a final stop.
    hint : one sentence on what to do, without a final stop; may be empty.
    at_mm : (x, y, z) in the standing frame in mm, or None where there is no place.
    """

    def __init__(self, what: str, *, hint: str = "", at_mm: cabc.Sequence[float] | None = None):
        self.what = what
        self.hint = hint
        self.at_mm: Point | None = None
        if at_mm is not None:
            x, y, z = (float(c) for c in at_mm)
            self.at_mm = (x, y, z)
        super().__init__(self.one_line())

    def one_line(self) -> str:
        """Return the whole error as one line for a terminal or a status bar."""
        place = "" if self.at_mm is None else " at ({:.3g}, {:.3g}, {:.3g}) mm".format(*self.at_mm)
        text = self.what + place + (f"; {self.hint}" if self.hint else "")
        return " ".join(text.split())


class InputError(PourwrightError):
    """A file, option or setting cannot be used as it is."""


class MeshError(PourwrightError):
    """A mesh bounds no solid: open, folded, empty, flat or not finite.

    kind : the finding's short name, as in `solid.Finding`, e.g. "open_boundary".
    """

    def __init__(
        self,
        what: str,
        *,
        hint: str = "",
        at_mm: cabc.Sequence[float] | None = None,
        kind: str = "not_a_mesh",
    ):
        super().__init__(what, hint=hint, at_mm=at_mm)
        self.kind = kind


class GeometryError(PourwrightError):
    """An operation on solids gave no usable result."""


class OutputError(PourwrightError):
    """A result cannot be written where it was asked for."""


class Cancelled(PourwrightError):
    """The user stopped the work; nothing was changed."""

    def __init__(self) -> None:
        super().__init__("Stopped by the user")
