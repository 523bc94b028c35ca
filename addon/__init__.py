"""Pourwright for Blender: a sculpted figure in, a printable, vented, sprued master out."""

from __future__ import annotations

import bpy

from . import (
    air,
    base,
    bench,
    bridge,
    export,
    figure,
    gates,
    messages,
    mould,
    overlay,
    pose,
    printer,
    quantities,
    rising,
    running,
    settings,
    vents,
)

_FEATURES = (
    figure, pose, air, rising, base, gates, vents, printer, quantities, mould, bench, export,
    overlay,
)  # fmt: skip
# Settings refer to each other, so the group that holds them all comes last.
_CLASSES = (
    *messages.classes,
    *running.classes,
    *(cls for feature in _FEATURES for cls in feature.classes),
    *settings.classes,
)


def register() -> None:
    """Add the extension to Blender."""
    for cls in _CLASSES:
        bpy.utils.register_class(cls)
    messages.register()
    settings.register()
    rising.register()
    overlay.register()
    bpy.types.STATUSBAR_HT_header.prepend(running.draw_status_bar)


def unregister() -> None:
    """Stop what is running and take everything out again."""
    running.stop()
    bpy.types.STATUSBAR_HT_header.remove(running.draw_status_bar)
    overlay.unregister()
    rising.unregister()
    settings.unregister()
    messages.unregister()
    for cls in reversed(_CLASSES):
        bpy.utils.unregister_class(cls)
    bridge.forget_bounds()
    pose.panel.forget_pictures()
    base.pictures.forget()
