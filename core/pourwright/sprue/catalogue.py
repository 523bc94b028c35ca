"""The kinds of sprue base as data: what each is good for, its sizes, faces and own parameters.

Command line, job files and Blender list bases and their parameters from here; nothing else has to
be told when a kind is added besides its builder (`builders.BUILDERS`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Parameter:
    """A number that one kind of base has and others have not.

    name : as in a job file's [base] table, with its unit. unit : "mm", "deg" or "" for a count or
    a share. low, high : what is allowed, both inclusive. help : one line, without a final stop.
    whole : only whole numbers.
    """

    name: str
    unit: str
    default: float
    low: float
    high: float
    help: str
    whole: bool = False


@dataclass(frozen=True)
class BaseKind:
    """One kind of base.

    title : a few words for lists. good_for : one sentence on what it is kept for. sizes : what
    width, depth and height are on this kind. height_mm : height where none is given; where `grows`
    it is the least, and a bigger base is higher. round : its top is a circle, so that depth does
    not count. faces : where text can go, the usual one
    first. stands_on : "table", "soil" or "wall", what holds the finished piece. seeded : whether
    the seed changes it. rounded : whether edge rounding changes it. parameters : its own numbers.
    """

    name: str
    title: str
    good_for: str
    sizes: str
    height_mm: float
    faces: tuple[str, ...]
    stands_on: str = "table"
    round: bool = False
    grows: bool = False
    seeded: bool = False
    rounded: bool = True
    parameters: tuple[Parameter, ...] = ()

    def parameter(self, name: str) -> Parameter | None:
        """Return the kind's own parameter of that name, or None."""
        return next((p for p in self.parameters if p.name == name), None)


_CORNER = Parameter("corner_mm", "mm", 3.0, 0.2, 500.0, "Radius of the corners seen from above")

_KINDS = (
    BaseKind(
        "round_plinth",
        "Round plinth with sloping sides",
        "A quiet stand for one figure; a name goes round its front.",
        "width: diameter of the top; height: top to underside",
        6.0,
        ("front", "top"),
        round=True,
    ),
    BaseKind(
        "rectangular_plinth",
        "Rectangular plinth with sloping sides",
        "A stand for long figures and groups; text fits on all four sides.",
        "width, depth: of the top along x and y; height: top to underside",
        6.0,
        ("front", "back", "left", "right", "top"),
        parameters=(_CORNER,),
    ),
    BaseKind(
        "stepped_plinth",
        "Stepped plinth, like the foot of a monument",
        "A formal stand; the tall lowest step takes a line of text.",
        "width, depth: of the top step; height: top to underside",
        12.0,
        ("front", "back"),
        parameters=(
            Parameter("steps", "", 3, 2, 6, "Number of steps", whole=True),
            Parameter("tread_mm", "mm", 3.0, 1.0, 50.0, "Depth of each tread"),
            _CORNER,
        ),
    ),
    BaseKind(
        "name_plate",
        "Name plate with a slanted front",
        "A desk or shelf sign: the slanted front carries a name, the figure stands behind it.",
        "width, depth: of the top behind the slanted front; height: top to underside",
        14.0,
        ("front", "back"),
        parameters=(
            Parameter("slant_deg", "deg", 35.0, 10.0, 55.0, "Lean of the front from upright"),
            Parameter("lip_mm", "mm", 1.5, 0.5, 20.0, "Upright edge below the slanted front"),
            _CORNER,
        ),
    ),
    BaseKind(
        "coin",
        "Coin with a raised rim and milled edge",
        "A token or medal for a low figure or a head; text runs along the rim.",
        "width: diameter of the field within the rim; height: field to underside",
        2.4,
        ("top",),
        round=True,
        parameters=(
            Parameter("rim_mm", "mm", 0.8, 0.3, 5.0, "How far the rim stands above the field"),
            Parameter("rim_width_mm", "mm", 2.0, 0.8, 20.0, "Width of the rim"),
            Parameter("milling_mm", "mm", 1.3, 0.0, 20.0,
                      "From groove to groove on the edge, 0 for a plain edge"),
        ),
    ),
    BaseKind(
        "keyring_tag",
        "Keyring tag with an eye",
        "A tag for keys, bags and zips that carries a low figure, a head or a relief.",
        "width, depth: of the tag without its eye; height: its thickness",
        4.0,
        ("top",),
        parameters=(
            Parameter("hole_mm", "mm", 5.0, 2.0, 30.0, "Diameter of the hole in the eye"),
            Parameter("wall_mm", "mm", 3.0, 1.2, 20.0, "Width of the eye round its hole"),
        ),
    ),
    BaseKind(
        "plant_marker",
        "Plant marker: a label on a stake",
        "A garden or pot sign: the label under the figure bears the plant's name, the stake goes "
        "into the soil.",
        "width, depth: of the cap the figure stands on; height: the cap's thickness",
        4.0,
        ("front", "back"),
        stands_on="soil",
        parameters=(
            Parameter("label_width_mm", "mm", 38.0, 10.0, 200.0, "Width of the label"),
            Parameter("label_height_mm", "mm", 14.0, 4.0, 100.0, "Height of the label"),
            Parameter("stake_mm", "mm", 55.0, 10.0, 300.0, "Length of the stake below the label"),
            Parameter("stake_width_mm", "mm", 12.0, 4.0, 60.0, "Width of the stake"),
            Parameter("thickness_mm", "mm", 4.0, 2.0, 20.0, "Thickness of label and stake"),
        ),
    ),
    BaseKind(
        "brush_rest",
        "Brush rest with grooves beside the figure",
        "Keeps wet brushes, pens or gouges off the table on both sides of the figure.",
        "width, depth: of the middle block the figure stands on; height: top to underside",
        11.0,
        ("front", "back"),
        parameters=(
            Parameter("grooves", "", 2, 1, 6, "Grooves on each side of the figure", whole=True),
            Parameter("groove_mm", "mm", 8.0, 3.0, 60.0, "Width of a groove"),
            Parameter("land_mm", "mm", 3.0, 1.0, 30.0, "Width of the ridge beside a groove"),
            Parameter("least_depth_mm", "mm", 24.0, 5.0, 200.0,
                      "Least size from front to back, so that brushes lie steady"),
        ),
    ),
    BaseKind(
        "wall_hook",
        "Wall hook under a shelf",
        "Screwed to the wall it holds keys, a cloth or a lead; the figure stands on its shelf.",
        "width, depth: of the shelf in front of the wall plate; height: the shelf's front edge",
        8.0,
        ("front",),
        stands_on="wall",
        parameters=(
            Parameter("hook_mm", "mm", 14.0, 5.0, 80.0, "Opening of the hook"),
            Parameter("arm_mm", "mm", 6.0, 3.0, 40.0, "Thickness of the hook's arm"),
            Parameter("arm_width_mm", "mm", 14.0, 4.0, 80.0, "Width of the hook's arm"),
            Parameter("plate_mm", "mm", 5.0, 3.0, 30.0, "Thickness of the plate on the wall"),
            Parameter("screw_mm", "mm", 4.0, 2.0, 10.0, "Diameter of the two screw holes"),
        ),
    ),
    BaseKind(
        "scenic_rock",
        "Scenic rock, another for every seed",
        "A crag for wildlife and adventure: every seed breaks differently.",
        "width, depth: of the level place the figure stands on; height: that place to underside",
        14.0,
        ("front",),
        seeded=True,
        rounded=False,
        parameters=(
            Parameter("boulders", "", 8, 0, 24, "Boulders round the main rock", whole=True),
            Parameter("spread", "", 0.55, 0.1, 2.0,
                      "How far the rock reaches beyond the level place, as a share of its height"),
        ),
    ),
    BaseKind(
        "scenic_log",
        "Scenic log with bark, another for every seed",
        "A fallen log half sunk in the ground, for birds, small animals and garden folk.",
        "width, depth: of the hewn seat along and across the log; height: seat to underside",
        9.0,
        ("front", "left", "right"),
        grows=True,
        seeded=True,
        rounded=False,
        parameters=(
            Parameter("beyond_mm", "mm", 12.0, 4.0, 200.0, "Log beyond the seat at each end"),
            Parameter("bark_mm", "mm", 1.2, 0.0, 10.0, "Depth of the furrows in the bark"),
            Parameter("branch", "", 1, 0, 1, "1 for the stub of a branch, 0 for none", whole=True),
        ),
    ),
)  # fmt: skip

CATALOGUE: Mapping[str, BaseKind] = MappingProxyType({kind.name: kind for kind in _KINDS})
"""Every kind of base by name."""

BASE_KINDS: dict[str, str] = {kind.name: kind.title for kind in _KINDS}
"""Titles of the kinds of base by name."""
