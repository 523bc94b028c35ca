"""Quantities: resin to weigh out."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
