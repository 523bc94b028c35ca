"""Pose: which way up the figure is poured, searched, ranked and looked at."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
