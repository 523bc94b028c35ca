"""The task that writes the files of a plan."""

from __future__ import annotations

from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

from pourwright.errors import InputError
from pourwright.progress import Progress
from pourwright.progress import part as part_of
from pourwright.shop.process import Process
from pourwright.worker.result import DONE, Json, Result, materials_of

# A mesh that came back from single precision is called unchanged within these.
SAME_VOLUME_SHARE, SAME_BOUNDS_MM = 1e-4, 0.01
PA_PER_KPA = 1000.0
SHEET_NAME = "sheet.html"


def export(job: Json, meshes: list[Any], progress: Progress) -> Result:
    """Write the files of a plan, looking again at a master that was edited."""
    from pourwright.files.atomic import Writer, write_files
    from pourwright.files.json_data import to_json
    from pourwright.files.plan_files import SOCKET_NOTE
    from pourwright.files.rods_csv import rods_csv
    from pourwright.files.stl import write_stl
    from pourwright.files.threemf import write_threemf

    plan, mesh = dict(job["plan"]), meshes[0]
    progress(0.1, "Checking the master")
    if _was_edited(plan, mesh):
        mesh, plan = _checked_again(plan, mesh, materials_of(job), part_of(progress, 0.1, 0.5))
    volume_ml = plan["master"]["volume_mm3"] / 1000.0
    writers: dict[str, Writer | bytes] = {
        "master.3mf": partial(
            write_threemf,
            mesh=mesh,
            up=tuple(plan["up"]),
            title=f"Casting master of {plan['figure'].get('name', 'figure')}",
            description=f"{len(plan['vents'])} vents, {volume_ml:.1f} ml of resin to pour",
        ),
        "master.stl": partial(write_stl, mesh=mesh),
        "rods.csv": rods_csv(plan),
        "plan.json": to_json(plan),
    }
    if plan.get("socket") and len(meshes) > 1:
        writers["base.3mf"] = partial(
            write_threemf,
            mesh=meshes[1],
            up=tuple(plan["up"]),
            title=f"Base with a socket for {plan['figure'].get('name', 'figure')}",
            description=SOCKET_NOTE,
        )
        writers["base.stl"] = partial(write_stl, mesh=meshes[1])
    if SHEET_NAME in job["files"]:
        from pourwright.sheet import sheet_html

        progress(0.4, "Drawing the pour sheet")
        writers[SHEET_NAME] = sheet_html(plan, mesh, materials=materials_of(job)).encode("utf-8")
    folder = Path(job["folder"])
    unknown = set(job["files"]) - set(writers)
    if unknown or not job["files"]:
        raise InputError(f"Cannot write {sorted(unknown) or 'no file'}", hint="choose files")
    progress(0.5, "Writing files")
    paths = write_files(
        {folder / name: content for name, content in writers.items() if name in job["files"]},
        force=bool(job["overwrite"]),
    )
    return DONE, {"files": [str(path) for path in paths], "warnings": plan["warnings"]}, []


def _was_edited(plan: Json, mesh: Any) -> bool:
    """Whether the mesh is no longer the master that was planned."""
    import numpy as np

    planned = plan["master"]
    volume, low_high = planned["volume_mm3"], np.asarray(planned["bounds_mm"])
    return bool(
        len(mesh.faces) != planned["triangles"]
        or abs(mesh.volume_mm3 - volume) > SAME_VOLUME_SHARE * volume
        or np.abs(mesh.bounds_mm - low_high).max() > SAME_BOUNDS_MM
    )


def _checked_again(
    plan: Json, mesh: Any, materials: Any, progress: Progress
) -> tuple[Any, Json]:
    """Return a master that was edited by hand as a solid, and the plan brought up to date.

    Volume, mix and the air that is left are worked out again; vents and parts cannot be known.
    """
    from pourwright.air import find_pockets, prepare, top_plane_vertices, unit_vector
    from pourwright.plan.pipeline import judge
    from pourwright.shop.resin import mix, resin_named
    from pourwright.solid import intake

    solid = intake([mesh], progress=part_of(progress, 0.0, 0.7))
    progress(0.7, "Finding air that is left")
    up, surface = unit_vector(plan["up"]), prepare(solid.mesh)
    report = find_pockets(surface, up, top_plane_vertices(surface, up))
    after = [asdict(pocket) for pocket in judge(report.pockets, _process_of(plan))]
    resin = plan["resin"]
    preset = resin_named(resin["material"], materials)
    made = mix(preset, solid.volume_mm3 / 1000.0, resin["margin"])
    masses = {key: getattr(made, key) for key in ("poured_ml", "to_mix_ml", "part_a_g", "part_b_g")}
    low, high = solid.mesh.bounds_mm
    master = {
        **plan["master"],
        "volume_mm3": solid.volume_mm3,
        "triangles": len(solid.mesh.faces),
        "size_mm": (high - low).tolist(),
        "bounds_mm": [low.tolist(), high.tolist()],
    }
    left = sum(pocket["matters"] for pocket in after)
    warning = {
        "code": "master_edited",
        "message": (
            f"The master was changed by hand: volume, mix and air were worked out again, {left} "
            "air pockets that matter are left; vents and parts are those of the plan"
        ),
        "at_mm": None,
        "open": left > 0,
    }
    # What the plan said of air that is left no longer holds.
    others = [w for w in plan["warnings"] if w["code"] != "pocket_left"]
    changed = {
        "pockets_after": after,
        "master": master,
        "resin": resin | masses,
        "warnings": [*others, warning],
        "undecided": any(w["open"] for w in [*others, warning]),
    }
    return solid.mesh, plan | changed


def _process_of(plan: Json) -> Process:
    """Return the process that a plan's data was made with."""
    process = plan["process"]
    return Process(
        process["name"],
        process["title"],
        process["trap_kpa_absolute"] * PA_PER_KPA,
        process["cure_kpa_absolute"] * PA_PER_KPA,
        process["visible_defect_mm"],
    )
