"""The bench: mixes, the clock, vessels and cost of a run of casts, and the log of pours."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
