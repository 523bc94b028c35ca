"""Why a pose is better or worse than the standing one, in words."""

from __future__ import annotations

from pourwright.pose.model import WEIGHT_OF, Terms
from pourwright.pose.settings import PoseWeights

# Differences that move fewer points than this are not worth a word.
_LEAST_POINTS = 0.05
_AT_MOST = 5
# For each term what is said of more and of less of it; {} is the difference.
_WORDS = {
    "pockets": ("{} more", "{} fewer"),
    "residual_mm3": ("{} mm3 more air left", "{} mm3 less air left"),
    "rods": ("{} more", "{} fewer"),
    "rod_mm": ("{} mm more rod", "{} mm less rod"),
    "height_mm": ("{} mm taller", "{} mm lower"),
    "footprint_cm2": ("{} cm2 more board", "{} cm2 less board"),
    "protected": ("more protected surface touched", "less protected surface touched"),
    "misfit_mm": ("{} mm more beyond the pot", "{} mm less beyond the pot"),
}
_COUNTED = {"pockets": "pocket", "rods": "rod"}


def reasons(terms: Terms, standing: Terms, weights: PoseWeights) -> tuple[str, ...]:
    """Return what sets a pose apart from the standing one, at most five, what counts most first.

    The first one ends in "than standing", e.g. ("2 rods fewer than standing", "9 mm taller").
    """
    found: list[tuple[float, str]] = []
    for name, words in _WORDS.items():
        difference = float(getattr(terms, name) - getattr(standing, name))
        points = abs(difference) * float(getattr(weights, WEIGHT_OF[name]))
        if points >= _LEAST_POINTS:
            amount = _amount(abs(difference), _COUNTED.get(name, ""))
            found.append((points, words[difference < 0].format(amount)))
    if not found:
        return ("as good as standing",)
    found.sort(key=lambda f: -f[0])
    first, *rest = (text for _, text in found[:_AT_MOST])
    return (f"{first} than standing", *rest)


def _amount(size: float, noun: str) -> str:
    if noun:
        return f"{size:.0f} {noun}{'' if size == 1 else 's'}"
    if size >= 9.95:
        return f"{size:.0f}"
    return f"{size:.1f}" if size >= 0.95 else f"{size:.1g}"
