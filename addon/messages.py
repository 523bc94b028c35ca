"""The last message to the user: kept with the window manager, so it is no part of the file."""

from __future__ import annotations

from collections.abc import Sequence

import bpy


class PourwrightMessage(bpy.types.PropertyGroup):
    """What the last run said."""

    text: bpy.props.StringProperty(name="Message", description="What the last run said")
    kind: bpy.props.EnumProperty(
        name="Kind",
        description="What kind of message it is",
        items=[
            ("NONE", "None", "There is no message"),
            ("INFO", "Info", "Something was done"),
            ("ERROR", "Error", "Something could not be done"),
        ],
    )
    has_place: bpy.props.BoolProperty(
        name="Has a Place", description="Whether the message is about one place"
    )
    place_mm: bpy.props.FloatVectorProperty(
        name="Place", description="Where it is, in millimetres", size=3
    )


def tell(
    context: bpy.types.Context, kind: str, text: str, at_mm: Sequence[float] | None = None
) -> None:
    """Keep a message for the panel."""
    message = context.window_manager.pourwright_message
    message.kind, message.text = kind, text
    message.has_place = at_mm is not None
    if at_mm is not None:
        message.place_mm = at_mm


def clear(context: bpy.types.Context) -> None:
    """Forget the last message."""
    tell(context, "NONE", "")


@bpy.app.handlers.persistent
def on_load(*_: object) -> None:
    """Forget the message of the file that was open before."""
    clear(bpy.context)


def register() -> None:
    """Attach the message to the window manager."""
    bpy.types.WindowManager.pourwright_message = bpy.props.PointerProperty(
        name="Pourwright Message", description="What the last run said", type=PourwrightMessage
    )
    bpy.app.handlers.load_post.append(on_load)


def unregister() -> None:
    """Detach it."""
    bpy.app.handlers.load_post.remove(on_load)
    del bpy.types.WindowManager.pourwright_message


classes = (PourwrightMessage,)
