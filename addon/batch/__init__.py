"""Batch: a list of figures, each with results of its own, made and exported in one go."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
