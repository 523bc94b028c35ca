"""Where air is trapped when the cavity fills: exact, from the surface, in any direction."""

from pourwright.air.jointree import JoinTree, join_tree
from pourwright.air.parallel import Crew, pair_for, processors
from pourwright.air.pockets import (
    AirPocket,
    AirReport,
    PocketTable,
    find_pockets,
    highest_vertex,
    nearest_vertices,
    pockets_in,
    read_pockets,
    top_plane_vertices,
    unit_vector,
)
from pourwright.air.rising import analysed_mesh, closing_levels_mm
from pourwright.air.surface import Surface, prepare
from pourwright.air.volume import AirAbove, air_above, volumes_above

__all__ = [
    "AirAbove",
    "AirPocket",
    "AirReport",
    "Crew",
    "JoinTree",
    "PocketTable",
    "Surface",
    "air_above",
    "analysed_mesh",
    "closing_levels_mm",
    "find_pockets",
    "highest_vertex",
    "join_tree",
    "nearest_vertices",
    "pair_for",
    "pockets_in",
    "prepare",
    "processors",
    "read_pockets",
    "top_plane_vertices",
    "unit_vector",
    "volumes_above",
]
