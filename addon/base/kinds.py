"""The kinds of sprue base and their own numbers, as Blender shows them.

Kinds and defaults are those of the core, which is too heavy to import when Blender starts; a test
keeps them the same.
"""

from __future__ import annotations

from typing import NamedTuple

KINDS = {
    "round_plinth": "Round plinth with sloping sides",
    "rectangular_plinth": "Rectangular plinth with sloping sides",
    "stepped_plinth": "Stepped plinth, like the foot of a monument",
    "name_plate": "Name plate with a slanted front",
    "coin": "Coin with a raised rim and milled edge",
    "keyring_tag": "Keyring tag with an eye",
    "plant_marker": "Plant marker: a label on a stake",
    "brush_rest": "Brush rest with grooves beside the figure",
    "wall_hook": "Wall hook under a shelf",
    "scenic_rock": "Scenic rock, another for every seed",
    "scenic_log": "Scenic log with bark, another for every seed",
}
ROUND = ("round_plinth", "coin")
SEEDED = ("scenic_rock", "scenic_log")
NOT_ROUNDED = ("scenic_rock", "scenic_log")
# Where text can go, the usual face first.
FACES = {
    "round_plinth": ("front", "top"),
    "rectangular_plinth": ("front", "back", "left", "right", "top"),
    "stepped_plinth": ("front", "back"),
    "name_plate": ("front", "back"),
    "coin": ("top",),
    "keyring_tag": ("top",),
    "plant_marker": ("front", "back"),
    "brush_rest": ("front", "back"),
    "wall_hook": ("front",),
    "scenic_rock": ("front",),
    "scenic_log": ("front", "left", "right"),
}


class Number(NamedTuple):
    """One of a kind's own numbers: its name in job files, how it is shown, and its range.

    A name ends in its unit, _mm or _deg; without one it is a count, or a share if `default` is no
    whole number. What counts from 0 to 1 is a choice of yes and no.
    """

    name: str
    label: str
    default: float
    low: float
    high: float
    help: str


_CORNER = Number("corner_mm", "Corner Radius", 3.0, 0.2, 500.0,
                 "Radius of the corners seen from above")

NUMBERS: dict[str, tuple[Number, ...]] = {
    "round_plinth": (),
    "rectangular_plinth": (_CORNER,),
    "stepped_plinth": (
        Number("steps", "Steps", 3, 2, 6, "Number of steps"),
        Number("tread_mm", "Tread", 3.0, 1.0, 50.0, "Depth of each tread"),
        _CORNER,
    ),
    "name_plate": (
        Number("slant_deg", "Slant", 35.0, 10.0, 55.0, "Lean of the front from upright"),
        Number("lip_mm", "Lip", 1.5, 0.5, 20.0, "Upright edge below the slanted front"),
        _CORNER,
    ),
    "coin": (
        Number("rim_mm", "Rim Height", 0.8, 0.3, 5.0, "How far the rim stands above the field"),
        Number("rim_width_mm", "Rim Width", 2.0, 0.8, 20.0, "Width of the rim"),
        Number("milling_mm", "Milling", 1.3, 0.0, 20.0,
               "From groove to groove on the edge, 0 for a plain edge"),
    ),
    "keyring_tag": (
        Number("hole_mm", "Hole", 5.0, 2.0, 30.0, "Diameter of the hole in the eye"),
        Number("wall_mm", "Eye Width", 3.0, 1.2, 20.0, "Width of the eye round its hole"),
    ),
    "plant_marker": (
        Number("label_width_mm", "Label Width", 38.0, 10.0, 200.0, "Width of the label"),
        Number("label_height_mm", "Label Height", 14.0, 4.0, 100.0, "Height of the label"),
        Number("stake_mm", "Stake Length", 55.0, 10.0, 300.0,
               "Length of the stake below the label"),
        Number("stake_width_mm", "Stake Width", 12.0, 4.0, 60.0, "Width of the stake"),
        Number("thickness_mm", "Thickness", 4.0, 2.0, 20.0, "Thickness of label and stake"),
    ),
    "brush_rest": (
        Number("grooves", "Grooves Each Side", 2, 1, 6, "Grooves on each side of the figure"),
        Number("groove_mm", "Groove Width", 8.0, 3.0, 60.0, "Width of a groove"),
        Number("land_mm", "Ridge Width", 3.0, 1.0, 30.0, "Width of the ridge beside a groove"),
        Number("least_depth_mm", "Least Depth", 24.0, 5.0, 200.0,
               "Least size from front to back, so that brushes lie steady"),
    ),
    "wall_hook": (
        Number("hook_mm", "Hook Opening", 14.0, 5.0, 80.0, "Opening of the hook"),
        Number("arm_mm", "Arm Thickness", 6.0, 3.0, 40.0, "Thickness of the hook's arm"),
        Number("arm_width_mm", "Arm Width", 14.0, 4.0, 80.0, "Width of the hook's arm"),
        Number("plate_mm", "Plate Thickness", 5.0, 3.0, 30.0,
               "Thickness of the plate on the wall"),
        Number("screw_mm", "Screw Holes", 4.0, 2.0, 10.0, "Diameter of the two screw holes"),
    ),
    "scenic_rock": (
        Number("boulders", "Boulders", 8, 0, 24, "Boulders round the main rock"),
        Number("spread", "Spread", 0.55, 0.1, 2.0,
               "How far the rock reaches beyond the level place, as a share of its height"),
    ),
    "scenic_log": (
        Number("beyond_mm", "Ends", 12.0, 4.0, 200.0, "Log beyond the seat at each end"),
        Number("bark_mm", "Bark", 1.2, 0.0, 10.0, "Depth of the furrows in the bark"),
        Number("branch", "Branch", 1, 0, 1, "The stub of a branch"),
    ),
}  # fmt: skip


def applies(kind: str, name: str) -> bool:
    """Whether a common setting makes a difference on this kind."""
    return {
        "depth_mm": kind not in ROUND,
        "seed": kind in SEEDED,
        "rounding_mm": kind not in NOT_ROUNDED,
    }.get(name, True)
