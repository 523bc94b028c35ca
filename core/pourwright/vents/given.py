"""Rods as the user put them: taken as they are, measured, and given their bodies."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pourwright.air import AirReport, nearest_vertices
from pourwright.air.pockets import OUTSIDE
from pourwright.errors import InputError
from pourwright.solid.columns import frame
from pourwright.solid.gaps import GapMeter
from pourwright.solid.lines import near_path, samples
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.vents.place import Vents, angle_deg, body_of, point_of
from pourwright.vents.rings import rings_of
from pourwright.vents.rods import trimmed
from pourwright.vents.settings import GivenVent, Vent, VentSettings


def given_vents(
    report: AirReport, given: Sequence[GivenVent], settings: VentSettings
) -> Vents:
    """Take rods as the user put them; raises InputError for one that does not rise.

    A rod whose end comes within its own diameter of the mould top plane ends there. Webs are
    measured off the ends, which are as long as twice web and radius; nothing is moved to keep
    them.
    """
    surface = report.surface
    axes = frame(report.tree.up)
    top = float((surface.vertices @ report.tree.up).max())
    paths = []
    for number, vent in enumerate(given, start=1):
        path = (np.array(vent.path_mm) - surface.centre_mm) @ axes.T
        if path[0, 2] > path[-1, 2]:
            path = path[::-1]
        if (np.diff(path[:, 2]) <= 0).any():
            raise InputError(
                f"Vent {number} does not rise all the way in the pour",
                hint="move its points so that each is above the one before, seen as poured",
                at_mm=vent.path_mm[0],
            )
        if path[-1, 2] >= top - vent.diameter_mm:
            way = path[-1] - path[-2]
            path[-1] = path[-2] + way * ((top - path[-2, 2]) / way[2])
        paths.append(path)
    meter = GapMeter(TriMesh(surface.vertices @ axes.T, surface.faces, "walls"))
    bodies, vents = [], []
    for number, (vent, path) in enumerate(zip(given, paths, strict=True)):
        free = path[-1, 2] >= top - 1e-9
        standing = path @ axes + surface.centre_mm
        first, last = (int(v) for v in nearest_vertices(
            surface, [point_of(standing[0]), point_of(standing[-1])]
        ))
        back = path[0] - path[1]
        bodies.append(
            body_of(
                path,
                path[0] + settings.overlap_mm * back / np.linalg.norm(back),
                vent.diameter_mm / 2,
                0.0 if free else settings.overlap_mm,
                settings,
                axes,
                surface.centre_mm,
                f"vent {number + 1}",
            )
        )
        zone = 2 * (settings.web_mm + vent.diameter_mm / 2)
        ends = (zone, 0.0 if free else zone)
        others = [(p, g.diameter_mm / 2) for i, (p, g) in enumerate(zip(paths, given, strict=True))
                  if i != number]
        pocket = report.pocket_at(first)
        end_normal = np.array([0.0, 0.0, 1.0]) if free else -(surface.normals[last] @ axes.T)
        vents.append(
            Vent(
                kind="rod" if free else "bridge",
                path_mm=tuple(point_of(p) for p in standing),
                diameter_mm=vent.diameter_mm,
                length_mm=float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum()),
                web_mm=_web(path, vent.diameter_mm / 2, ends, meter, others, settings.web_mm),
                serves=(pocket,) if pocket != OUTSIDE else (),
                ends_mm=ends,
                foot_angle_deg=angle_deg(-back, surface.normals[first] @ axes.T),
                end_angle_deg=angle_deg(path[-1] - path[-2], end_normal),
            )
        )
    return Vents(tuple(vents), tuple(bodies), (), rings_of(vents))


def _web(
    path: Floats,
    radius_mm: float,
    ends_mm: tuple[float, float],
    meter: GapMeter,
    others: Sequence[tuple[Floats, float]],
    limit_mm: float,
) -> float:
    """Least rubber beside a rod off its ends, to walls and other rods, cut off at a limit."""
    core = trimmed(path, *ends_mm)
    if core is None:
        return limit_mm
    web = meter.gap_mm(core, limit_mm + radius_mm) - radius_mm
    points = samples(core, 0.25)
    for other, radius in others:
        web = min(web, float(near_path(points, other).min()) - radius - radius_mm)
    return max(web, 0.0)
