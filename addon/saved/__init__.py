"""Scenes saved by other versions of the extension: settings moved over, or told about."""

from . import migrate, panel

register, unregister = migrate.register, migrate.unregister
classes = panel.classes
