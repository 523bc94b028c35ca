"""The tasks that make something of a figure: its air, its way up, its master."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pourwright.errors import InputError
from pourwright.progress import Progress
from pourwright.progress import part as part_of
from pourwright.worker.result import DONE, UNDECIDED, Json, Part, Result

# Shapes take time: pockets that matter are drawn, and the largest few of those that do not.
MAX_SHAPES_THAT_MATTER, MAX_SMALL_SHAPES = 200, 12


def air(job: Json, meshes: list[Any], progress: Progress) -> Result:
    """Find the air of a figure as it is."""
    from pourwright.files.plan_json import air_to_dict
    from pourwright.plan.job_file import parse_job
    from pourwright.plan.pipeline import check_air
    from pourwright.solid import intake

    settings = parse_job(job["job"])
    solid = intake(meshes, progress=part_of(progress, 0.0, 0.4))
    check = check_air(solid, settings.up, (), settings.process, part_of(progress, 0.4, 0.9))
    parts = _pocket_parts("pocket", "Air Pocket", solid.mesh, check.up, check.pockets)
    status = UNDECIDED if any(p.matters for p in check.pockets) else DONE
    return status, air_to_dict(check), parts


def pose(job: Json, meshes: list[Any], progress: Progress) -> Result:
    """Search for the best way up; no meshes come back, but all that the sweep found."""
    from pourwright.files.pose_json import pose_to_dict
    from pourwright.plan.job_file import parse_job
    from pourwright.pose.search import search
    from pourwright.solid import intake

    settings = parse_job(job["job"])
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

    settings = parse_job(job["job"])
    given = None if job.get("given") is None else _given_vents(job["given"])
    solid = intake(meshes, progress=part_of(progress, 0.0, 0.25))
    made = plan_pour(solid, settings, part_of(progress, 0.25, 0.95), given=given)
    progress(0.95, "Drawing air pockets")
    parts = [
        Part("master", 0, "Master", made.master.mesh),
        Part("base", 0, "Sprue Base", made.base),
    ]
    if made.funnel is not None:
        parts.append(Part("funnel", 0, "Funnel", made.funnel))
    before = _united_without_vents(made)
    finished = made.master.mesh
    parts += _pocket_parts("pocket", "Air Pocket", before, made.up, made.pockets)
    parts += _pocket_parts("pocket_after", "Air Left", finished, made.up, made.pockets_after)
    return (UNDECIDED if made.undecided else DONE), plan_to_dict(made), parts


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
    """Return figure, base and funnel as one mesh: what the plan's first pockets are in."""
    from pourwright.solid.boolean import union

    bodies = [plan.figure.mesh, plan.base, *([plan.funnel] if plan.funnel is not None else [])]
    return union(bodies, "Figure With Base")


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
