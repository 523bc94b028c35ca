"""The task that plans the mould of a master that is there already."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from pourwright.errors import InputError, Point
from pourwright.progress import Progress
from pourwright.progress import part as part_of
from pourwright.worker.result import DONE, UNDECIDED, Json, Part, Result, materials_of

# Shapes of trapped air take time: the largest ones that matter are drawn.
_MOST_SHAPES = 60
_SIDES = 32  # of a tube as it is drawn


@dataclass(frozen=True)
class _Rod:
    path_mm: tuple[Point, ...]
    diameter_mm: float


def mould(job: Json, meshes: list[Any], progress: Progress) -> Result:
    """Plan box, rubber and cut of a master as it is: the first mesh; the others are the figure."""
    from pourwright.files.mould_json import mould_data, silicone_data
    from pourwright.files.plan_json import warning_data
    from pourwright.mould import MouldSettings
    from pourwright.plan.job_file import parse_job
    from pourwright.plan.moulding import mould_for, mould_warnings
    from pourwright.plan.scale import scaled
    from pourwright.solid import intake

    settings, plan = parse_job(job["job"], materials_of(job)), job["plan"]
    if job.get("way_points"):
        asked = MouldSettings.from_table({"way_points": job["way_points"]}).way_points
        settings = replace(settings, mould=replace(settings.mould, way_points=asked))
    master = intake(meshes[:1], progress=part_of(progress, 0.0, 0.1)).mesh
    figure = intake(meshes[1:], progress=part_of(progress, 0.1, 0.25))
    try:
        up, scale = tuple(plan["up"]), plan["scale"]
        height = float(plan["base"]["figure_side_height_mm"])
        rods = [
            _Rod(tuple(tuple(p) for p in rod["path_mm"]), float(rod["diameter_mm"]))
            for rod in [*plan["vents"], *plan["gates"]]
        ]
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"The plan lacks {error}", hint="press Make Master again, then Plan Mould"
        ) from None
    body = figure.mesh
    if scale["applied"]:
        body = scaled(body, float(scale["factor"]), scale["about_mm"])
    made = mould_for(
        settings, master, up,
        figure=body, base_height_mm=height, rods=rods, protection=figure.protection,
        progress=part_of(progress, 0.25, 0.95),
    )  # fmt: skip
    warnings = list(mould_warnings(made, body, master, settings))
    progress(0.95, "Drawing air under the master")
    data = {
        "silicone": silicone_data(made),
        "mould": mould_data(made),
        "warnings": [warning_data(w) for w in warnings],
    }
    status = UNDECIDED if any(w.open for w in warnings) else DONE
    return status, data, _parts(made)


def _parts(made: Any) -> list[Part]:
    """Return the box and the largest pockets that matter as meshes, standing frame."""
    from pourwright.air.shapes import pocket_shapes
    from pourwright.mould.box import inside_of
    from pourwright.mould.trapped import UP
    from pourwright.solid.frames import rotated

    back = made.turn.T
    shown = [i for i, p in enumerate(made.trapped.pockets) if p.matters][:_MOST_SHAPES]
    places = [(made.trapped.pockets[i].peak_mm, made.trapped.pockets[i].saddle_mm) for i in shown]
    shapes = pocket_shapes(made.rubber.body, tuple(UP.tolist()), places)
    return [
        Part("box", 0, "Mould Box", rotated(inside_of(made.box, _SIDES), back)),
        *(
            Part("rubber_air", i, f"Air in Rubber {i + 1}", rotated(shape, back))
            for i, shape in zip(shown, shapes, strict=True)
            if len(shape.faces)
        ),
    ]
