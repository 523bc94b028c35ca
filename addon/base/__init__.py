"""The sprue base and its funnel."""

from . import panel, pictures, settings

__all__ = ["classes", "panel", "pictures", "settings"]

classes = (*settings.classes, *panel.classes)
