"""Where air is trapped when the cavity fills: exact, from the surface, in any direction."""

from pourwright.air.jointree import JoinTree, join_tree
from pourwright.air.pockets import (
    AirPocket,
    AirReport,
    find_pockets,
    highest_vertex,
    nearest_vertices,
    read_pockets,
    top_plane_vertices,
    unit_vector,
)
from pourwright.air.surface import Surface, prepare

__all__ = [
    "AirPocket",
    "AirReport",
    "JoinTree",
    "Surface",
    "find_pockets",
    "highest_vertex",
    "join_tree",
    "nearest_vertices",
    "prepare",
    "read_pockets",
    "top_plane_vertices",
    "unit_vector",
]
