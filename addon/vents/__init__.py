"""Vents: rods that let trapped air out."""

from . import add, operators, panel, settings

classes = (*settings.classes, *operators.classes, *add.classes, *panel.classes)
