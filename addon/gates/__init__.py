"""Gates: rods through which resin reaches what the base does not feed in time."""

from . import panel, settings

classes = (*settings.classes, *panel.classes)
