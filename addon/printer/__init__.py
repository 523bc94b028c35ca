"""The print: which printer, how much room, and how much larger the master is made."""

from . import panel, settings

classes = (*settings.classes, *panel.classes)
