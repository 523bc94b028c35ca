"""The worker process of a graphical program: one job folder in, one result out.

Run as `python -m pourwright.worker JOBDIR`. JOBDIR holds

- job.json: {"task": "air" | "pose" | "plan", "job": the text of a job file, "names": [mesh names]},
  where a plan may have "given": [{"name", "path_mm", "diameter_mm"}], the vents to take as they are
  instead of routing, and "own_base": the number of the mesh that is the base and no figure; or
  {"task": "mould", "job": as above, "plan": plan.json's data, "names": the master's, then the
  figure's, "way_points": those of plan.json moved, or none}; or
  {"task": "export", "plan": plan.json's data, "names": [one name], "folder": where to,
  "files": names out of master.3mf, master.stl, rods.csv, plan.json, sheet.html, "overwrite":
  whether to replace files}; of a plan with a socket the names are two, the second one that of
  the part with the socket, and base.3mf and base.stl are files as well
  any may have "materials": a folder of presets of the shop's own
- meshes.npz: vertices_0 (n, 3) and faces_0 (m, 3), vertices_1 ..., mm, standing frame; protect_0
  (n,) where vertices have protect weights

and gets

- result.json: the data of `files.plan_json`, for a pose of `files.pose_json` with all directions
  and points of the sweep as "directions" and "scores" in its "sweep", plus "objects": [{"name",
  "role", "index"}] with role master, base, funnel, gate, socket (base, rods and funnel with a
  socket, where the job asks for one), pocket or pocket_after, index counting in the data's own
  list; or {"error": {"kind", "message", "at_mm"}}
- result.npz: vertices_0, faces_0 ... of the objects, with their edges_0 (k, 2) and, for each corner
  of a face, the number of the edge to the next corner, corner_edges_0 (3 m,). Two more objects,
  "rising" 0 and 1, are the cavity that the air was found in, and that of the finished master;
  values_2, say, holds for each face of number 2 the level that closes its air in, mm along up.

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
from functools import partial
from pathlib import Path
from typing import Any, TextIO

from pourwright.errors import Cancelled, InputError, MeshError, PourwrightError
from pourwright.memory import give_back_early
from pourwright.progress import Progress
from pourwright.worker.export import export
from pourwright.worker.moulds import mould
from pourwright.worker.result import REFUSED, Json, Part, Result
from pourwright.worker.tasks import air, plan, pose

__all__ = ["main", "run"]

# Time for a job that writes files to leave by itself once nobody listens any more.
GRACE_S = 2.0
# Lines of progress are cheap to write and dear to read: ten a second are plenty.
PROGRESS_EVERY_S = 0.1

_TASKS = {"air": air, "pose": pose, "plan": plan, "mould": mould, "export": export}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the job in the folder named by the one argument; return the exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if len(given) != 1 or not Path(given[0]).is_dir():
        sys.stderr.write("usage: python -m pourwright.worker JOBDIR\n")
        return REFUSED
    give_back_early()
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
        task = _TASKS[job["task"]]
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


def _write_result(folder: Path, data: Json, parts: list[Part]) -> None:
    import numpy as np

    arrays = {}
    for i, part in enumerate(parts):
        arrays[f"vertices_{i}"] = part.mesh.vertices
        # In half the room: a window reads it.
        arrays[f"faces_{i}"] = part.mesh.faces.astype(np.int32)
        arrays[f"edges_{i}"], arrays[f"corner_edges_{i}"] = _edges(part.mesh.faces)
        if part.values is not None:
            arrays[f"values_{i}"] = part.values
    np.savez(folder / "result.npz", **arrays)
    _write_json(folder, {**data, "objects": [part.entry() for part in parts]})


def _edges(faces: Any) -> tuple[Any, Any]:
    """Return the edges (k, 2) of triangles, and for each corner the one to the next, (3 m,)."""
    import numpy as np

    begin, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    several = int(faces.max(initial=0)) + 1
    keys = np.minimum(begin, end) * several + np.maximum(begin, end)
    edges, of_corner = np.unique(keys, return_inverse=True)
    both = np.column_stack(np.divmod(edges, several))
    return both.astype(np.int32), of_corner.astype(np.int32)


def _write_json(folder: Path, data: Json) -> None:
    """Write result.json in one step: whoever finds it finds all of it."""
    unfinished = folder / "result.json.part"
    unfinished.write_text(json.dumps(data), encoding="utf-8")
    unfinished.replace(folder / "result.json")
