"""What the cases about poses have in common."""

import bpy
from stage import choose, gate, part, settings

DIRECTIONS = 40
TALLEST_MM = 90.0  # longer than the gallows' diagonal


def gallows() -> list[bpy.types.Object]:
    """Add the gallows in mm and make it the figure."""
    bpy.context.scene.unit_settings.scale_length = 0.001
    objects = gate()
    choose(objects)
    return objects


def find_pose() -> None:
    """Search among a few directions; most cases do not care how good the poses are."""
    settings().pose.directions = DIRECTIONS
    assert bpy.ops.pourwright.find_pose() == {"FINISHED"}
    assert not part("running").busy()


def row_of(index: int):
    return settings().pose.poses[index]


def up_of(row) -> tuple[float, float, float]:
    x, y, z = row.up
    return x, y, z
