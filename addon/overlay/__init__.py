"""Overlay: what the view shows of air, vents, mould and paint, its legend, and the switches."""

from . import draw, panel, settings

classes = (*settings.classes, *panel.classes)
register, unregister = draw.register, draw.unregister
