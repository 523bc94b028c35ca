"""Quantities: resin to weigh out."""

from . import panel, settings

classes = (*settings.classes, *panel.classes)
