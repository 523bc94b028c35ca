"""The air of a solid or of a master, judged by what it leaves in the cast."""

from __future__ import annotations

from collections.abc import Sequence

from pourwright.air import (
    AirPocket,
    AirReport,
    Surface,
    find_pockets,
    highest_vertex,
    nearest_vertices,
    prepare,
    top_plane_vertices,
    unit_vector,
)
from pourwright.errors import Point
from pourwright.plan.model import AirCheck, JudgedPocket
from pourwright.progress import Progress, silent
from pourwright.shop.process import Process
from pourwright.solid import boolean
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.solid import Solid

# Longest edge of the surface on which rods may start.
_CONTACT_MM = 1.5


def check_air(
    solid: Solid,
    up: Sequence[float],
    vent_points_mm: Sequence[Point],
    process: Process,
    progress: Progress = silent,
) -> AirCheck:
    """Find the air pockets of a solid as it is.

    vent_points_mm : places where the surface is open to the air (the nearest surface vertex of
    each); with none, the highest vertex along `up` is the opening.
    """
    direction = unit_vector(up)
    progress(0.0, "Preparing the surface")
    surface = prepare(solid.mesh)
    openings = (
        nearest_vertices(surface, vent_points_mm)
        if len(vent_points_mm)
        else highest_vertex(surface, direction)
    )
    progress(0.6, "Finding air pockets")
    report = find_pockets(surface, direction, openings)
    progress(1.0, f"{len(report.pockets)} air pockets")
    return AirCheck(
        up=point_of(direction),
        process_name=process.name,
        residual_factor=process.residual_factor,
        visible_defect_mm=process.visible_defect_mm,
        figure=solid,
        openings_mm=tuple(point_of(surface.vertices[v] + surface.centre_mm) for v in openings),
        pockets=judge(report.pockets, process),
    )


def judge(pockets: Sequence[AirPocket], process: Process) -> tuple[JudgedPocket, ...]:
    """Say of each pocket what is left of it in the cast; one without any opening always matters."""
    return tuple(
        JudgedPocket(
            peak_mm=p.peak_mm,
            peak_height_mm=p.peak_height_mm,
            saddle_height_mm=p.saddle_height_mm,
            volume_mm3=p.volume_mm3,
            component=p.component,
            residual_diameter_mm=process.residual_diameter_mm(p.volume_mm3),
            matters=p.saddle_height_mm is None or process.matters(p.volume_mm3),
        )
        for p in pockets
    )


def air_of(mesh: TriMesh, up: Floats) -> tuple[AirReport, Ints]:
    """Air of a master-like mesh: open where it lies in the mould top plane."""
    surface: Surface = prepare(mesh)
    openings = top_plane_vertices(surface, up)
    return find_pockets(surface, up, openings), openings


def fine(mesh: TriMesh) -> TriMesh:
    """The same surface with vertices close enough for rods to start at."""
    return boolean.refined(mesh, max(_CONTACT_MM, mesh.diagonal_mm / 100))


def point_of(values: Floats) -> Point:
    """An array (3,) as a plain point."""
    x, y, z = (float(c) for c in values)
    return (x, y, z)
