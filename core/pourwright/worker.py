"""The worker process of a graphical program: one job folder in, one result out.

Run as `python -m pourwright.worker JOBDIR`. JOBDIR holds

- job.json: {"task": "air" | "plan", "job": the text of a job file, "names": [mesh names]}, where
  a plan may have "given": [{"name", "path_mm", "diameter_mm"}], the vents to take as they are
  instead of routing; or
  {"task": "export", "plan": plan.json's data, "names": [one name], "folder": where to,
  "files": names out of master.3mf, master.stl, rods.csv, plan.json, "overwrite": whether to
  replace files}
- meshes.npz: vertices_0 (n, 3) and faces_0 (m, 3), vertices_1 ..., mm, standing frame; protect_0
  (n,) where vertices have protect weights

and gets

- result.json: the data of `files.plan_json` plus "objects": [{"name", "role", "index"}] with role
  master, base, funnel, pocket or pocket_after, index counting in the data's own list; or
  {"error": {"kind", "message", "at_mm"}}
- result.npz: vertices_0, faces_0 ... of the objects.

Progress goes to standard output, one JSON object per line: {"fraction": 0.4, "text": "..."}. The
exit status is that of the command line: 0 done, 1 something is left to decide, 2 not done. The
process ends when its standard input is closed, so that it cannot outlive the program that
started it.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any, TextIO

from pourwright.errors import Cancelled, InputError, MeshError, PourwrightError
from pourwright.progress import Progress
from pourwright.progress import part as part_of
from pourwright.shop.process import Process

DONE, UNDECIDED, REFUSED = 0, 1, 2
# Time for a job that writes files to leave by itself once nobody listens any more.
GRACE_S = 2.0
# Lines of progress are cheap to write and dear to read: ten a second are plenty.
PROGRESS_EVERY_S = 0.1
# Shapes take time: pockets that matter are drawn, and the largest few of those that do not.
MAX_SHAPES_THAT_MATTER, MAX_SMALL_SHAPES = 200, 12
# A mesh that came back from single precision is called unchanged within these.
SAME_VOLUME_SHARE, SAME_BOUNDS_MM = 1e-4, 0.01
PA_PER_KPA = 1000.0

Json = dict[str, Any]
Result = tuple[int, Json, list["Part"]]


@dataclass(frozen=True, eq=False)
class Part:
    """A mesh of the result and what it is."""

    role: str
    index: int
    name: str
    mesh: Any

    def entry(self) -> Json:
        """Return what result.json says of it."""
        return {"name": self.name, "role": self.role, "index": self.index}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the job in the folder named by the one argument; return the exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if len(given) != 1 or not Path(given[0]).is_dir():
        sys.stderr.write("usage: python -m pourwright.worker JOBDIR\n")
        return REFUSED
    alone = threading.Event()
    threading.Thread(target=_watch, args=(sys.stdin, alone), daemon=True).start()
    return run(Path(given[0]), _reporter(sys.stdout, alone))


def run(folder: Path, progress: Progress) -> int:
    """Run the job in `folder`, write its result there and return the exit status."""
    try:
        task, meshes = _read_job(folder)
        status, data, parts = task(meshes, progress)
        _write_result(folder, data, parts)
    except PourwrightError as error:
        kind = error.kind if isinstance(error, MeshError) else type(error).__name__
        _write_json(
            folder,
            {"error": {"kind": kind, "message": error.one_line(), "at_mm": error.at_mm}},
        )
        return REFUSED
    except MemoryError:
        _write_json(
            folder,
            {
                "error": {
                    "kind": "MemoryError",
                    "message": "There is not enough memory for this figure; reduce its triangles",
                    "at_mm": None,
                }
            },
        )
        return REFUSED
    return status


def _watch(stream: TextIO | None, alone: threading.Event) -> None:
    """Wait for the end of standard input, then make sure that this process ends too."""
    if stream is None:
        return
    while stream.read(4096):
        pass
    alone.set()
    time.sleep(GRACE_S)
    os._exit(REFUSED)


def _reporter(stream: TextIO, alone: threading.Event) -> Progress:
    last = 0.0

    def report(fraction: float, text: str) -> None:
        nonlocal last
        if alone.is_set():
            raise Cancelled
        now = time.monotonic()
        if now - last >= PROGRESS_EVERY_S or fraction >= 1.0:
            last = now
            stream.write(json.dumps({"fraction": round(float(fraction), 4), "text": text}) + "\n")
            stream.flush()

    return report


def _read_job(folder: Path) -> tuple[Callable[[list[Any], Progress], Result], list[Any]]:
    import numpy as np

    from pourwright.solid import tri_mesh

    try:
        job: Json = json.loads((folder / "job.json").read_text(encoding="utf-8"))
        task = {"air": _air, "plan": _plan, "export": _export}[job["task"]]
        with np.load(folder / "meshes.npz", allow_pickle=False) as stored:
            arrays = [
                (
                    stored[f"vertices_{i}"],
                    stored[f"faces_{i}"],
                    str(name),
                    stored.get(f"protect_{i}"),
                )
                for i, name in enumerate(job["names"])
            ]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(f"The job folder cannot be read: {type(error).__name__} {error}") from None
    return partial(task, job), [tri_mesh(*mesh) for mesh in arrays]


def _air(job: Json, meshes: list[Any], progress: Progress) -> Result:
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


def _plan(job: Json, meshes: list[Any], progress: Progress) -> Result:
    from pourwright.files.plan_json import plan_to_dict
    from pourwright.plan.job_file import parse_job
    from pourwright.plan.pipeline import plan_pour
    from pourwright.solid import intake

    settings = parse_job(job["job"])
    given = None if job.get("given") is None else _given_vents(job["given"])
    solid = intake(meshes, progress=part_of(progress, 0.0, 0.25))
    plan = plan_pour(solid, settings, part_of(progress, 0.25, 0.95), given=given)
    progress(0.95, "Drawing air pockets")
    parts = [
        Part("master", 0, "Master", plan.master.mesh),
        Part("base", 0, "Sprue Base", plan.base),
    ]
    if plan.funnel is not None:
        parts.append(Part("funnel", 0, "Funnel", plan.funnel))
    before = _united_without_vents(plan)
    finished = plan.master.mesh
    parts += _pocket_parts("pocket", "Air Pocket", before, plan.up, plan.pockets)
    parts += _pocket_parts("pocket_after", "Air Left", finished, plan.up, plan.pockets_after)
    return (UNDECIDED if plan.undecided else DONE), plan_to_dict(plan), parts


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


def _export(job: Json, meshes: list[Any], progress: Progress) -> Result:
    from pourwright.files.atomic import Writer, write_files
    from pourwright.files.plan_json import to_json
    from pourwright.files.rods_csv import rods_csv
    from pourwright.files.stl import write_stl
    from pourwright.files.threemf import write_threemf

    plan, (mesh,) = dict(job["plan"]), meshes
    progress(0.1, "Checking the master")
    if _was_edited(plan, mesh):
        mesh, plan = _checked_again(plan, mesh, part_of(progress, 0.1, 0.5))
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


def _checked_again(plan: Json, mesh: Any, progress: Progress) -> tuple[Any, Json]:
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
    made = mix(resin_named(resin["material"]), solid.volume_mm3 / 1000.0, resin["margin"])
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


def _write_result(folder: Path, data: Json, parts: list[Part]) -> None:
    import numpy as np

    arrays = {}
    for i, part in enumerate(parts):
        arrays[f"vertices_{i}"] = part.mesh.vertices
        arrays[f"faces_{i}"] = part.mesh.faces
    np.savez(folder / "result.npz", **arrays)
    _write_json(folder, {**data, "objects": [part.entry() for part in parts]})


def _write_json(folder: Path, data: Json) -> None:
    """Write result.json in one step: whoever finds it finds all of it."""
    unfinished = folder / "result.json.part"
    unfinished.write_text(json.dumps(data), encoding="utf-8")
    unfinished.replace(folder / "result.json")


if __name__ == "__main__":
    sys.exit(main())
