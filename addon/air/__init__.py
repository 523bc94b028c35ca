"""Air: how resin is poured, and where air stays."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
