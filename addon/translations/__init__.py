"""The extension's texts in other languages; English, as written in the code, is the default.

Blender translates labels, tooltips and menu items itself, once it has the dictionary. Messages
that the code puts together go through `say`. What the core says (findings, warnings, errors)
stays in English.
"""

from __future__ import annotations

import bpy

from .german import GERMAN


def say(text: str, **values: object) -> str:
    """Return a message in the user's language, with its values filled in."""
    return bpy.app.translations.pgettext_iface(text).format(**values)


def say_count(number: int, one: str, many: str) -> str:
    """Return a number of things in the user's language; both texts hold it as {n}."""
    return say(one if number == 1 else many, n=number)


def register() -> None:
    """Hand the dictionaries to Blender."""
    bpy.app.translations.register(__package__, {"de_DE": GERMAN})


def unregister() -> None:
    """Take them back."""
    bpy.app.translations.unregister(__package__)
