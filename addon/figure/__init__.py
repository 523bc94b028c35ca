"""The figure: which objects, how big, and the button that does it all."""

from . import operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
