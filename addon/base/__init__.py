"""The sprue base and its funnel."""

from . import panel, settings

classes = (*settings.classes, *panel.classes)
