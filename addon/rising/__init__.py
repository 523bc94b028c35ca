"""Rising: what resin fills, traps and still drives out as it rises, drawn over the view."""

from . import draw, operators, panel, settings

classes = (*settings.classes, *operators.classes, *panel.classes)
register, unregister = draw.register, draw.unregister
