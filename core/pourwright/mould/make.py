"""Box, rubber, trapped air and cut for a finished master, all in one call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pourwright.air import Crew, pair_for, unit_vector
from pourwright.errors import Point
from pourwright.mould.box import MouldBox, make_box
from pourwright.mould.cost import Price, RodLike, price_of
from pourwright.mould.cut import CutLine, WayPoint, default_way_points, solve_loop
from pourwright.mould.demould import LeafReport, demould
from pourwright.mould.fit import VesselFit, fit_box
from pourwright.mould.leaves import Leaves, RodCut, part_leaves, rods_cut
from pourwright.mould.parting import Parting, find_parting
from pourwright.mould.register import Key, keys_of, outside_line
from pourwright.mould.rubber import Rubber, rubber_for
from pourwright.mould.settings import MouldSettings
from pourwright.mould.surface import SurfaceGraph, graph_of
from pourwright.mould.trapped import TrappedAir, trapped_air
from pourwright.mould.tunnels import Tunnels, find_tunnels
from pourwright.progress import Progress, part, silent
from pourwright.shop.silicone import Silicone, silicone_named
from pourwright.shop.vessel import Vessel
from pourwright.solid.frames import board_rotation, rotated
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.protect import Protection


@dataclass(frozen=True, eq=False)
class CutPlan:
    """Everything about the cut, frame of the board; way points may be moved and solved again."""

    graph: SurfaceGraph
    price: Price
    parting: Parting
    line: CutLine
    outside_mm: Floats
    tunnels: Tunnels
    leaves: Leaves
    rods: tuple[RodCut, ...]
    reports: tuple[LeafReport, LeafReport]
    keys: tuple[Key, ...]

    @property
    def slits_mm(self) -> tuple[Floats, ...]:
        """Loops (k, 3) round openings; the rubber inside each is slit."""
        return tuple(self.graph.points[loop] for loop in self.tunnels.loops)


@dataclass(frozen=True, eq=False)
class Mould:
    """A mould, frame of the board. turn : (3, 3) rotation from the standing frame to it."""

    turn: Floats
    box: MouldBox
    rubber: Rubber
    trapped: TrappedAir
    cut: CutPlan
    fits: tuple[VesselFit, ...]

    def standing(self, points: Floats) -> Floats:
        """Return points (n, 3) of the frame of the board in the standing frame."""
        turned: Floats = points @ self.turn
        return turned


def make_mould(
    master: TriMesh,
    up: Sequence[float],
    settings: MouldSettings,
    *,
    figure: TriMesh | None = None,
    base_height_mm: float | None = None,
    rods: Sequence[RodLike] = (),
    protection: Protection | None = None,
    silicone: Silicone | None = None,
    cup_ml: float | None = None,
    chamber: Vessel | None = None,
    pot: Vessel | None = None,
    visible_mm: float = 0.3,
    progress: Progress = silent,
) -> Mould:
    """Plan the mould of a master.

    master : closed, standing frame. up : direction that points up while resin is poured; rubber is
    poured with it pointing down. figure : what decides how the mould opens, None for the whole
    master. base_height_mm : x . up of the face that the figure stands on, None without a base.
    rods : vents and gates on the master. silicone : None for the preset that the settings name.
    cup_ml : of the largest degassing cup at hand. chamber, pot : vessels that the mould has to go
    into, with its box into the one and without it into the other; None where there is none.
    """
    turn = board_rotation(unit_vector(up))
    solid = rotated(master, turn)
    progress(0.0, "Sizing the box")
    box = make_box(solid, settings.box)
    rubber = rubber_for(
        solid, box, silicone or silicone_named(settings.silicone), settings.box.margin,
        cup_ml=cup_ml,
        chamber_mm=None if chamber is None else (chamber.diameter_mm, chamber.height_mm),
    )  # fmt: skip
    # The air under the rubber and the cut have nothing to do with each other.
    with Crew(pair_for(len(master.faces)), trapped_air.__module__) as crew:
        progress(0.1, "Finding air under the master")
        air = crew.aside(_trapped, rubber.body, visible_mm)
        cut = plan_cut(
            solid, box, settings,
            figure=None if figure is None else rotated(figure, turn),
            base_top_mm=None if base_height_mm is None else -base_height_mm,
            rods=[(np.array(r.path_mm) @ turn.T, r.diameter_mm) for r in rods],
            protection=protection, turn=turn, way_points_mm=_on_board(settings, turn),
            progress=part(progress, 0.2, 0.7),
        )  # fmt: skip
        progress(0.7, "Finding air under the master")
        trapped = air()
    fits = [fit_box(box, chamber)] if chamber is not None else []
    if pot is not None:
        fits.append(fit_box(box, pot, with_walls=False))
    return Mould(turn, box, rubber, trapped, cut, tuple(fits))


def _trapped(rubber: TriMesh, visible_mm: float) -> TrappedAir:
    return trapped_air(rubber, visible_mm=visible_mm)


def _on_board(settings: MouldSettings, turn: Floats) -> list[tuple[str, Point, int]] | None:
    """The user's way points in the frame of the board, None for those of the shape."""
    places = []
    for through in settings.way_points:
        x, y, z = (float(c) for c in turn @ np.asarray(through.at_mm, dtype=np.float64))
        places.append((through.name, (x, y, z), through.side))
    return places or None


def plan_cut(
    master: TriMesh,
    box: MouldBox,
    settings: MouldSettings,
    *,
    figure: TriMesh | None = None,
    base_top_mm: float | None = None,
    rods: Sequence[tuple[Floats, float]] = (),
    protection: Protection | None = None,
    turn: Floats | None = None,
    way_points_mm: Sequence[tuple[str, Point, int]] | None = None,
    progress: Progress = silent,
) -> CutPlan:
    """Plan the cut of a master, frame of the board; see `make_mould`.

    way_points_mm : (name, place, side) of each, as the user put them; None for the default ones.
    """
    choices = settings.cut
    rotation = np.eye(3) if turn is None else turn
    parting = find_parting(master if figure is None else figure, choices, rotation)
    graph = graph_of(master, choices.edge_mm)
    viewer = None
    if choices.viewer is not None:
        viewer = rotation @ np.asarray(choices.viewer, dtype=np.float64)
        viewer = viewer / np.linalg.norm(viewer)
    progress(0.3, "Pricing the surface")
    price = price_of(
        graph, parting, choices, rods=rods, viewer=viewer, size_mm=master.diagonal_mm,
        protection=None if protection is None else (protection, rotation.T),
    )  # fmt: skip
    if way_points_mm is None:
        ways = default_way_points(graph, price, parting, base_top_mm)
    else:
        ways = snapped(graph, price, way_points_mm)
    progress(0.4, "Finding the cheapest line")
    line = solve_loop(graph, price, parting, ways, choices)
    progress(0.5, "Looking for openings")
    tunnels = find_tunnels(graph, price.arcs, price.rod < 0)
    leaves = part_leaves(graph, price, parting, line, tunnels.loops)
    progress(0.9, "Measuring undercuts")
    return CutPlan(
        graph=graph,
        price=price,
        parting=parting,
        line=line,
        outside_mm=outside_line(parting, line, box, settings.registration),
        tunnels=tunnels,
        leaves=leaves,
        rods=rods_cut(graph, price, parting, line, leaves, rods),
        reports=demould(graph, parting, leaves),
        keys=keys_of(parting, box, settings.registration),
    )


def snapped(
    graph: SurfaceGraph, price: Price, places: Sequence[tuple[str, Point, int]]
) -> tuple[WayPoint, ...]:
    """Return way points at the corners of the surface nearest to places, rods left out."""
    free = np.flatnonzero(price.rod < 0)
    found = []
    for name, at, side in places:
        gap = np.linalg.norm(graph.points[free] - np.asarray(at, dtype=np.float64), axis=1)
        found.append(WayPoint(name, int(free[np.argmin(gap)]), side))
    return tuple(found)
