"""The tasks that make something of a figure: its air, its way up, its master."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pourwright.errors import InputError
from pourwright.progress import Progress
from pourwright.progress import part as part_of
from pourwright.worker.result import DONE, UNDECIDED, Json, Part, Result, materials_of

# Shapes take time: pockets that matter are drawn, and the largest few of those that do not.
MAX_SHAPES_THAT_MATTER, MAX_SMALL_SHAPES = 200, 12


def air(job: Json, meshes: list[Any], progress: Progress) -> Result:
    """Find the air of a figure as it is."""
    from pourwright.files.plan_json import air_to_dict
    from pourwright.plan.job_file import parse_job
    from pourwright.plan.pipeline import check_air
    from pourwright.solid import intake

    settings = parse_job(job["job"], materials_of(job))
    solid = intake(meshes, progress=part_of(progress, 0.0, 0.4))
    check = check_air(solid, settings.up, (), settings.process, part_of(progress, 0.4, 0.9))
    parts = _pocket_parts("pocket", "Air Pocket", solid.mesh, check.up, check.pockets)
    parts.append(_rising(0, solid.mesh, check.up, settings.process, alone=True))
    status = UNDECIDED if any(p.matters for p in check.pockets) else DONE
    return status, air_to_dict(check), parts


def pose(job: Json, meshes: list[Any], progress: Progress) -> Result:
    """Search for the best way up; no meshes come back, but all that the sweep found."""
    from pourwright.files.pose_json import pose_to_dict
    from pourwright.plan.job_file import parse_job
    from pourwright.pose.search import search
    from pourwright.solid import intake

    settings = parse_job(job["job"], materials_of(job))
    solid = intake(meshes, progress=part_of(progress, 0.0, 0.2))
    found = search(
        solid, settings.process, settings.pose, settings.base.embed_mm,
        part_of(progress, 0.2, 1.0),
    )  # fmt: skip
    data = pose_to_dict(found)
    data["sweep"] |= {"directions": found.directions.tolist(), "scores": found.scores.tolist()}
    return DONE, data, []


def plan(job: Json, meshes: list[Any], progress: Progress) -> Result:
    """Make the master and prove it."""
    from pourwright.files.plan_json import plan_to_dict
    from pourwright.plan.job_file import parse_job
    from pourwright.plan.pipeline import plan_pour
    from pourwright.solid import intake

    settings = parse_job(job["job"], materials_of(job))
    given = None if job.get("given") is None else _given_vents(job["given"])
    own_base = None if job.get("own_base") is None else _own_base(job["own_base"], meshes)
    figure = [m for i, m in enumerate(meshes) if i != job.get("own_base")]
    solid = intake(figure, progress=part_of(progress, 0.0, 0.25))
    made = plan_pour(
        solid, settings, part_of(progress, 0.25, 0.95), given=given, own_base=own_base
    )
    progress(0.95, "Drawing air pockets")
    parts = [
        Part("master", 0, "Master", made.master.mesh),
        Part("base", 0, "Sprue Base", made.base),
    ]
    if made.funnel is not None:
        parts.append(Part("funnel", 0, "Funnel", made.funnel))
    parts += [Part("gate", i, f"Gate {i + 1}", mesh) for i, mesh in enumerate(made.gate_meshes)]
    if made.socket is not None:
        parts.append(Part("socket", 0, "Base With Socket", made.socket.mesh))
    before = _united_without_vents(made)
    finished = made.master.mesh
    parts += _pocket_parts("pocket", "Air Pocket", before, made.up, made.pockets)
    parts += _pocket_parts("pocket_after", "Air Left", finished, made.up, made.pockets_after)
    parts += [
        _rising(i, mesh, made.up, settings.process) for i, mesh in enumerate((before, finished))
    ]
    return (UNDECIDED if made.undecided else DONE), plan_to_dict(made), parts


def _own_base(number: object, meshes: Sequence[Any]) -> Any:
    """Return the mesh of that number as one solid; raises InputError where there is none."""
    from pourwright.solid import intake

    if not isinstance(number, int) or not 0 <= number < len(meshes) or len(meshes) < 2:
        raise InputError(f"The job folder cannot be read: there is no mesh {number} for a base")
    return intake([meshes[number]]).mesh


def _given_vents(entries: Sequence[Json]) -> list[Any]:
    """Return the vents that the user made; raises InputError that names the one it is about."""
    from pourwright.vents.settings import GivenVent

    vents = []
    for entry in entries:
        try:
            path = tuple((float(x), float(y), float(z)) for x, y, z in entry["path_mm"])
            vents.append(GivenVent(path, float(entry["diameter_mm"])))
        except InputError as error:
            raise InputError(f"'{entry['name']}': {error.what}", hint=error.hint) from None
        except (KeyError, TypeError, ValueError) as error:
            raise InputError(f"The job folder cannot be read: given vents {error}") from None
    return vents


def _united_without_vents(plan: Any) -> Any:
    """Return all but the vents as one mesh: what the plan's first pockets are in."""
    from pourwright.solid.boolean import union

    funnel = [plan.funnel] if plan.funnel is not None else []
    bodies = [plan.moulded_figure, plan.base, *funnel, *plan.gate_meshes]
    return union(bodies, "Figure With Base")


def _rising(
    index: int, mesh: Any, up: Sequence[float], process: Any, alone: bool = False
) -> Part:
    """Return a cavity with the level at which each face's air is closed in, where that matters.

    alone : open at its highest point only, as a figure without base is looked at; else at all
    that lies in the mould top plane.
    """
    from pourwright.air import (
        analysed_mesh,
        closing_levels_mm,
        find_pockets,
        prepare,
        top_plane_vertices,
        unit_vector,
    )

    surface, direction = prepare(mesh), unit_vector(up)
    openings = None if alone else top_plane_vertices(surface, direction)
    report = find_pockets(surface, direction, openings)
    name = "Rising Resin" if index == 0 else "Rising Resin With Vents"
    levels = closing_levels_mm(
        report, lambda p: p.saddle_height_mm is None or process.matters(p.volume_mm3)
    )
    return Part("rising", index, name, analysed_mesh(report), levels)


def _pocket_parts(
    role: str, title: str, mesh: Any, up: Sequence[float], pockets: Sequence[Any]
) -> list[Part]:
    """Return drawable shapes of pockets, in the order of their numbers."""
    from pourwright.air.shapes import pocket_shapes

    largest = sorted(range(len(pockets)), key=lambda i: -pockets[i].volume_mm3)
    matter = [i for i in largest if pockets[i].matters][:MAX_SHAPES_THAT_MATTER]
    small = [i for i in largest if not pockets[i].matters][:MAX_SMALL_SHAPES]
    chosen = sorted(matter + small)
    places = [(pockets[i].peak_mm, pockets[i].saddle_height_mm) for i in chosen]
    shapes = pocket_shapes(mesh, up, places)
    return [
        Part(role, i, f"{title} {i + 1}", shape)
        for i, shape in zip(chosen, shapes, strict=True)
        if len(shape.faces)
    ]
