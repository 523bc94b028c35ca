"""Settings of the sprue base and its funnel."""

from __future__ import annotations

import math
from typing import Any

import bpy

from .. import results
from ..bridge import in_scene
from ..choices import enum_items, number
from ..translations import say
from . import pictures
from .kinds import FACES, KINDS, NUMBERS, Number, applies

TEXT_STYLES = {
    "cut": "Letters cut into the face",
    "raised": "Letters standing on the face",
}
PLACES = {
    "as_is": "Where it stands now",
    "under": "Moved under the figure's feet",
}


def length(name: str, description: str, default: float, low: float, high: float, **more: float):
    """Return a length in mm.

    A LENGTH unit would be read in scene units, so that 1.5 showed as 1.5 m at a unit scale of 1
    and as 1.5 mm at 0.001. Camera lengths are always mm, and take "2 cm" when typed.
    """
    return bpy.props.FloatProperty(
        name=name,
        description=f"{description}, in mm",
        default=default,
        min=low,
        max=high,
        soft_min=more.get("soft_min", low),
        soft_max=more.get("soft_max", high),
        precision=2,
        step=10,
        subtype="DISTANCE_CAMERA",
    )


def angle(
    name: str, description: str, default_deg: float, high_deg: float, low_deg: float = 0.0
):
    """Return an angle, kept in radians and shown in degrees as everywhere in Blender."""
    return bpy.props.FloatProperty(
        name=name,
        description=description,
        default=math.radians(default_deg),
        min=math.radians(low_deg),
        max=math.radians(high_deg),
        step=100,
        subtype="ANGLE",
    )


def _own_number(given: Number) -> object:
    """Return the property of one of a kind's own numbers."""
    name, label, default, low, high, description = given
    if name.endswith("_mm"):
        return length(label, description, default, low, high)
    if name.endswith("_deg"):
        return angle(label, description, default, high, low)
    if (low, high) == (0, 1):
        return bpy.props.BoolProperty(
            name=label, description=description, default=bool(default)
        )
    if isinstance(default, int):
        return bpy.props.IntProperty(
            name=label, description=description, default=default, min=low, max=high
        )
    return bpy.props.FloatProperty(
        name=label, description=description, default=default, min=low, max=high, step=5
    )


def _own_settings(kind: str) -> type[bpy.types.PropertyGroup]:
    """Make the class of a kind's own settings."""
    faces = {face: f"Text on the {face}" for face in FACES[kind]}
    face = bpy.props.EnumProperty(
        name="Face", description="Which face the text is on", items=enum_items(faces),
        default=number(FACES[kind][0]),
    )
    own = {"text_face": face} | {n.name: _own_number(n) for n in NUMBERS[kind]}
    return type(
        f"PourwrightBase{pictures.label(kind).replace(' ', '')}",
        (bpy.types.PropertyGroup,),
        {"__doc__": f"What only a {pictures.label(kind).lower()} has.", "__annotations__": own},
    )


def _is_body(self: PourwrightBase, obj: bpy.types.Object) -> bool:
    """Whether an object can be a base: a mesh that is no part of the figure and no result."""
    figure = self.id_data.pourwright.figure
    return (
        obj.type == "MESH"
        and results.ROLE not in obj
        and all(part.object != obj for part in figure.parts)
    )


# Blender evaluates properties as texts in this module, where a lambda would not find its names.
def _pictured_kinds(self: PourwrightBase, context: bpy.types.Context) -> list[pictures.Item]:
    return pictures.items()


def _kind_number(self: PourwrightBase) -> int:
    return number(self.kind)


def _set_kind(self: PourwrightBase, value: int) -> None:
    self.kind = next(kind for kind in KINDS if number(kind) == value)


_OWN = {kind: _own_settings(kind) for kind in KINDS}


class PourwrightBase(bpy.types.PropertyGroup):
    """The base the figure stands on, and the pour opening under it."""

    source: bpy.props.EnumProperty(
        name="Source",
        description="Where the sprue base comes from",
        items=[
            ("KIND", "Kind", "One of the kinds that Pourwright makes"),
            ("OBJECT", "Own Object", "A closed mesh of your own, which stays as it is"),
        ],
        default="KIND",
    )
    kind: bpy.props.EnumProperty(
        name="Kind",
        description="Shape of the sprue base",
        items=enum_items(KINDS),
        default=number("round_plinth"),
    )
    # The same with pictures, which do not exist yet when settings are registered.
    picture: bpy.props.EnumProperty(
        name="Kind",
        description="Shape of the sprue base",
        items=_pictured_kinds,
        get=_kind_number,
        set=_set_kind,
        options={"SKIP_SAVE"},
    )
    body: bpy.props.PointerProperty(
        name="Object",
        description="Closed mesh that becomes the sprue base; the object itself stays as it is",
        type=bpy.types.Object,
        poll=_is_body,
    )
    place: bpy.props.EnumProperty(
        name="Place",
        description="Where your object goes",
        items=enum_items(PLACES),
        default=number("under"),
    )
    own_cut: bpy.props.BoolProperty(
        name="Own Cut",
        description="Cut your object level at a height of your own for its pour side; "
        "without it, it is cut only where it has no usable side, as low as will do",
        default=False,
    )
    cut_mm: length("Cut Height", "Height of the level cut above your object's lowest point",
                   1.0, 0.01, 2000.0, soft_max=100.0)
    size: bpy.props.EnumProperty(
        name="Size",
        description="Where the size of the base's top comes from",
        items=[
            ("AUTOMATIC", "Automatic", "Big enough for the figure's feet and steady to stand on"),
            ("CUSTOM", "Custom", "A size of your own"),
        ],
        default="AUTOMATIC",
    )
    width_mm: length("Width", "Size of the top along X, or its diameter", 40.0, 1.0, 2000.0,
                     soft_max=300.0)
    depth_mm: length("Depth", "Size of the top along Y", 30.0, 1.0, 2000.0, soft_max=300.0)
    margin_mm: length("Margin", "Top kept free round the figure's feet", 4.0,
                      0.0, 200.0, soft_max=30.0)
    own_height: bpy.props.BoolProperty(
        name="Own Height",
        description="Choose the height of the base; without it the kind has its usual one",
        default=False,
    )
    height_mm: length("Height", "From the top to the rim of the underside", 6.0,
                      0.5, 500.0, soft_max=50.0)
    embed_mm: length("Embed", "How deep the figure's lowest point sinks into the base",
                     1.0, 0.05, 100.0, soft_max=10.0)
    rounding_mm: length("Rounding", "Radius of the upper edges, as far as there is room for it",
                        0.8, 0.0, 50.0, soft_max=10.0)
    seed: bpy.props.IntProperty(
        name="Seed", description="Which of its shapes a scenic base takes", default=0, min=0,
    )
    text: bpy.props.StringProperty(
        name="Text", description="What is written on the base; empty for nothing", maxlen=200,
    )
    text_style: bpy.props.EnumProperty(
        name="Letters", description="How the text is made", items=enum_items(TEXT_STYLES),
        default=number("cut"),
    )
    text_depth_mm: length("Letter Depth", "Depth of cut letters, height of raised ones",
                          0.6, 0.1, 20.0, soft_max=3.0)
    own_text_height: bpy.props.BoolProperty(
        name="Own Letter Height",
        description="Choose the height of capitals; without it letters are as high as fits",
        default=False,
    )
    text_height_mm: length("Letter Height", "Height of capitals", 5.0, 0.5, 500.0,
                           soft_max=30.0)
    smallest_line_mm: length("Finest Line", "Thinnest line that printer and mould still show; "
                             "letters never get smaller than that allows",
                             0.4, 0.02, 10.0, soft_max=2.0)
    draft: angle("Draft", "How far the sides lean in towards the top", 5.0, 30.0)
    crown: angle("Crown", "Slope of the underside towards the funnel, so that air runs there",
                 5.0, 30.0)
    socket: bpy.props.BoolProperty(
        name="Socket",
        description="For a figure that exists already: base, rods and funnel become a part of "
        "their own, with a socket that the figure's feet are put into",
        default=False,
    )
    clearance_mm: length("Clearance", "Gap all round the feet, for wax or glue",
                         0.2, 0.02, 5.0, soft_max=1.0)
    own_socket_depth: bpy.props.BoolProperty(
        name="Own Socket Depth",
        description="Choose how much of the figure goes into the socket; without it, "
        "what is sunk into the base",
        default=False,
    )
    socket_depth_mm: length("Socket Depth", "Height of the figure's lowest part that goes in",
                            3.0, 0.1, 200.0, soft_max=30.0)
    socket_draft: angle("Socket Draft", "How far the walls of the socket lean outwards",
                        0.0, 30.0)
    funnel: bpy.props.BoolProperty(
        name="Funnel",
        description="Pour through a funnel; without it the whole underside is open",
        default=True,
    )
    mouth_mm: length("Mouth", "Diameter of the funnel where resin is poured in",
                     25.0, 1.0, 500.0, soft_max=100.0)
    neck_mm: length("Neck", "Diameter where the funnel is broken off the base",
                    12.0, 1.0, 500.0, soft_max=50.0)
    funnel_height_mm: length("Funnel Height", "From the base's rim to the funnel's mouth",
                             15.0, 0.5, 500.0, soft_max=100.0)
    head_mm: length("Head Left", "Resin that has to stand above the neck still when it has set",
                    3.0, 0.0, 500.0, soft_max=30.0)


# Each kind keeps its own numbers, also while another one is chosen.
for _kind, _class in _OWN.items():
    PourwrightBase.__annotations__[_kind] = bpy.props.PointerProperty(
        name=pictures.label(_kind), description=KINDS[_kind], type=_class
    )


def base_table(base: PourwrightBase) -> dict[str, Any]:
    """Return the settings as a job file's table of the base."""
    kind = base.kind
    table = {
        "kind": kind,
        "embed_mm": base.embed_mm,
        "margin_mm": base.margin_mm,
        "draft_deg": math.degrees(base.draft),
        "crown_deg": math.degrees(base.crown),
        "rounding_mm": base.rounding_mm,
        "seed": base.seed,
    }
    if base.size == "CUSTOM":
        table["width_mm"] = base.width_mm
        if applies(kind, "depth_mm"):
            table["depth_mm"] = base.depth_mm
    if base.own_height:
        table["height_mm"] = base.height_mm
    own = getattr(base, kind)
    for given in NUMBERS[kind]:
        value = getattr(own, given.name)
        table[given.name] = math.degrees(value) if given.name.endswith("_deg") else value
        if isinstance(value, bool):
            table[given.name] = int(value)
    usual = FACES[kind][0]
    table |= {
        "text": base.text,
        "text_face": "" if own.text_face == usual else own.text_face,
        "text_style": base.text_style,
        "text_depth_mm": base.text_depth_mm,
        "smallest_line_mm": base.smallest_line_mm,
    }
    if base.own_text_height:
        table["text_height_mm"] = base.text_height_mm
    return table


def own_base_table(base: PourwrightBase) -> dict[str, Any]:
    """Return how the user's object becomes the base, as a job file's table."""
    table = {"place": base.place, "embed_mm": base.embed_mm}
    return table | ({"cut_mm": base.cut_mm} if base.own_cut else {})


def socket_table(base: PourwrightBase) -> dict[str, Any]:
    """Return the socket's settings as a job file's table."""
    table = {
        "enabled": base.socket,
        "clearance_mm": base.clearance_mm,
        "draft_deg": math.degrees(base.socket_draft),
    }
    return table | ({"depth_mm": base.socket_depth_mm} if base.own_socket_depth else {})


def has_base(operator: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Whether the object that is the base is there, if one is; sets the poll message if not."""
    lacking = missing_base(context.scene)
    if lacking:
        operator.poll_message_set(lacking)
    return not lacking


def missing_base(scene: bpy.types.Scene) -> str:
    """Return what to do where the object that is the base is not there; empty otherwise."""
    base = scene.pourwright.base
    if base.source == "OBJECT" and not in_scene(base.body, scene):
        return say("Choose your object in Sprue Base, or a Kind of base")
    return ""


classes = (*_OWN.values(), PourwrightBase)
