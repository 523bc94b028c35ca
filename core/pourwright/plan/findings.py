"""What a plan tells its user."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.errors import Point

# A pocket that is left this near to a place without a rod is the one that got none.
TOLD_MM = 0.5


@dataclass(frozen=True)
class PlanWarning:
    """Something the user must decide or should know; `code` is for programs.

    open : True when it leaves something undone (exit status 1).
    """

    code: str
    message: str
    at_mm: Point | None = None
    open: bool = False


def place(point: Point) -> str:
    """Return a point in words, to a tenth of a mm."""
    return "({:.1f}, {:.1f}, {:.1f}) mm".format(*point)
