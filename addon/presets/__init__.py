"""Presets of the shop, the printer, the process, the materials and of a whole job."""

from . import menus, operators

classes = (*operators.classes, *menus.classes)
