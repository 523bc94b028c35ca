"""Mould: the box, the rubber, and where the knife goes."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
