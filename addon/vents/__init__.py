"""Vents: rods that let trapped air out."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
