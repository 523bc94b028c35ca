"""Pourwright for Blender: a sculpted figure in, a printable, vented, sprued master out."""

from __future__ import annotations

import bpy

from . import (
    air,
    base,
    batch,
    bench,
    bridge,
    example,
    export,
    figure,
    gates,
    jobfile,
    messages,
    mould,
    overlay,
    pose,
    presets,
    printer,
    quantities,
    rising,
    running,
    saved,
    settings,
    translations,
    vents,
)

_FEATURES = (
    figure, pose, air, rising, base, gates, vents, printer, quantities, mould, bench, export,
    presets, jobfile, saved,
    batch,  # keeps results of all of them
    example,
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
    saved.register()
    rising.register()
    example.register()
    translations.register()
    overlay.register()
    bpy.types.STATUSBAR_HT_header.prepend(running.draw_status_bar)


def unregister() -> None:
    """Stop what is running and take everything out again."""
    running.stop()
    bpy.types.STATUSBAR_HT_header.remove(running.draw_status_bar)
    translations.unregister()
    example.unregister()
    overlay.unregister()
    rising.unregister()
    saved.unregister()
    settings.unregister()
    messages.unregister()
    for cls in reversed(_CLASSES):
        bpy.utils.unregister_class(cls)
    bridge.forget_bounds()
    pose.panel.forget_pictures()
    base.pictures.forget()
