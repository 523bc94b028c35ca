"""The clock of one mix as a drawing: a bar for each step, and the line where the resin gels."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from pourwright.shop.clock import PotLife, Step

_ROW, _TEXT, _TIMES, _WORDS = 5.6, 2.7, 21.0, 78.0
_HEAD, _FOOT = 5.5, 4.5


def clock_text(minutes: float) -> str:
    """Return minutes as "2:45", and from two hours on as "3 h 20"; -4 is "-4:00"."""
    sign = "-" if minutes < -1e-9 else ""
    seconds = round(abs(minutes) * 60)
    if seconds >= 7200:
        hours, left = divmod(round(seconds / 60), 60)
        return f"{sign}{hours} h" + (f" {left:02d}" if left else "")
    return f"{sign}{seconds // 60}:{seconds % 60:02d}"


def draw_timeline(steps: Sequence[Step], life: PotLife, width_mm: float) -> str:
    """Return the time line as an SVG element, sizes in mm.

    Steps while the resin is liquid are drawn to scale; those before the parts meet and after it
    has gelled are told in words only, for they take so much longer. Hatched bars are tight.
    """
    liquid = [s for s in steps if s.before_gel]
    end = max([life.minutes * 1.06, *(s.end_min for s in liquid)])
    left = _TIMES + _WORDS
    wide = width_mm - left - 4.0
    height = _HEAD + _ROW * len(steps) + _FOOT

    def x(minutes: float) -> float:
        return left + wide * minutes / end

    bottom = _HEAD + _ROW * len(steps)
    parts = [
        '<defs><pattern id="tight" width="1.4" height="1.4" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="1.4" height="1.4" fill="#fff"/>'
        '<rect width="0.7" height="1.4" fill="#000"/></pattern></defs>'
    ]
    short, long = (min(m, end) for m in (life.shortest_min, life.longest_min))
    if long - short > 1e-6:
        parts.append(
            f'<rect x="{x(short):.2f}" y="{_HEAD}" width="{x(long) - x(short):.2f}" '
            f'height="{bottom - _HEAD:.2f}" fill="#e4e4e4"/>'
        )
    for row, step in enumerate(steps):
        y = _HEAD + row * _ROW
        parts.append(_row(step, y, x, width_mm, left))
    gel = x(life.minutes)
    parts.append(
        f'<path d="M{gel:.2f} {_HEAD - 1:.2f}V{bottom:.2f}" stroke="#000" stroke-width="0.7"/>'
        + _text(gel, _HEAD - 1.8, f"gels {clock_text(life.minutes)}", "end", bold=True)
    )
    parts += [_tick(minutes, x(minutes), bottom) for minutes in _ticks(end)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="timeline" width="{width_mm:g}mm" '
        f'height="{height:.2f}mm" viewBox="0 0 {width_mm:g} {height:.2f}" role="img">'
        "<title>Time line</title>" + "".join(parts) + "</svg>"
    )


def _row(step: Step, y: float, x, width_mm: float, left: float) -> str:  # type: ignore[no-untyped-def]
    base = y + _ROW * 0.68
    parts = [
        f'<path d="M0 {y + _ROW:.2f}H{width_mm:g}" stroke="#999" stroke-width="0.1"/>',
        _text(0.5, base, f"{clock_text(step.start_min)} - {clock_text(step.end_min)}", "start"),
        _text(_TIMES, base, step.words, "start", bold=step.tight),
    ]
    if step.before_gel:
        wide = max(x(step.end_min) - x(step.start_min), 0.4)
        fill = "url(#tight)" if step.tight else "#777"
        parts.append(
            f'<rect class="bar" x="{x(step.start_min):.2f}" y="{y + 1:.2f}" width="{wide:.2f}" '
            f'height="{_ROW - 2:.2f}" fill="{fill}" stroke="#000" stroke-width="0.25"/>'
        )
        word = "TOO LATE" if step.late else "tight" if step.tight else ""
        if word:
            room = x(step.start_min) - left > 16
            at = x(step.start_min) - 1 if room else x(step.end_min) + 1
            parts.append(_text(at, base, word, "end" if room else "start", bold=True))
    return "".join(parts)


def _ticks(end: float) -> list[float]:
    """Return round minutes up to the end, at most nine."""
    step = next(
        (s for s in (0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1440) if end / s <= 9), end / 8
    )
    return [i * step for i in range(int(end / step + 1e-9) + 1)]


def _tick(minutes: float, x: float, y: float) -> str:
    return (
        f'<path d="M{x:.2f} {y:.2f}v0.9" stroke="#000" stroke-width="0.2"/>'
        + _text(x, y + 3.6, clock_text(minutes), "middle")
    )


def _text(x: float, y: float, words: str, anchor: str, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{_TEXT}" text-anchor="{anchor}"{weight}>'
        f"{escape(words)}</text>"
    )
