"""Export: files for the printer and the bench."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
