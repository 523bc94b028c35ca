"""Progress of long functions: a callback that may also stop the work by raising Cancelled."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float, str], None]
"""Called with a fraction from 0 to 1 and a short text; may raise `errors.Cancelled`."""


def silent(fraction: float, text: str) -> None:
    """Ignore progress."""


def part(progress: Progress, start: float, stop: float) -> Progress:
    """Return a progress that maps 0..1 onto start..stop of `progress`."""

    def scaled(fraction: float, text: str) -> None:
        progress(start + (stop - start) * fraction, text)

    return scaled
