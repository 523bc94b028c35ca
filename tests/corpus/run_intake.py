"""Every mesh of the corpus through intake and the air analysis, each against references.

python tests/corpus/run_intake.py [--jobs N] [--resume] [--plans FILE] [--write docs/proof.md]
    [NAME ...]

NAME : only the meshes of that package, or whose name holds it. Everything measured is kept as JSON
in the cache; --write makes the page from it. 1 where anything was wrong or crashed.

Each row says by which state of the code it was measured; a run that goes on from another one
measures again what other code did.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing as mp
import os
import resource
import sys
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("", "core", "tests/core", "tests/corpus")]

# All that a job imports on its way is imported here once, before the processes part.
import lxml.etree  # noqa: E402, F401
import manifold3d  # noqa: E402, F401
import networkx  # noqa: E402, F401
import one_mesh  # noqa: E402
import PIL.Image  # noqa: E402, F401
import proof  # noqa: E402
import scipy.sparse.csgraph  # noqa: E402
import scipy.spatial  # noqa: E402, F401
import trimesh.exchange.load  # noqa: E402, F401
from fetch import CACHE, NAMES  # noqa: E402
from sources import Source, sources  # noqa: E402

MEMORY_BYTES = 6 << 30
WATCHDOG_S = 300
# Besides the demo's figures and the clean meshes.
PLANNED = frozenset(
    f"Blender/{name}" for name in (
        "cube", "uv_sphere", "torus", "cone", "monkey_voxels", "monkey_blocks", "metaballs", "skin",
        "text_bevelled", "array_of_spheres",
    )
) | {f"assembled/assembled_{i}" for i in range(4)}
# What a row depends on, besides the libraries.
MEASURING = ("one_mesh.py", "by_lines.py", "sources.py", "blender_shapes.py")
Row = dict[str, Any]


def code_state() -> str:
    """Name of the state of the code that a row depends on, 12 digits of a SHA-256."""
    files = [*(ROOT / "core" / "pourwright").rglob("*.py"), *(ROOT / "blend_demo").glob("*.py")]
    files += [ROOT / "tests" / "corpus" / name for name in MEASURING]
    files += [ROOT / "tests" / "core" / "reference.py"]
    total = hashlib.sha256()
    for path in sorted(files):
        total.update(path.relative_to(ROOT).as_posix().encode() + b"\0" + path.read_bytes())
    return total.hexdigest()[:12]


def _child(job: Callable[[Source], Row], source: Source, out: Connection) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    warnings.filterwarnings("error", module="pourwright")
    sys.stdout = sys.stderr = open(os.devnull, "w")  # noqa: SIM115, PTH123 - readers talk
    try:
        row = job(source)
    except BaseException as error:
        row = {"outcome": "crash", "kind": type(error).__name__, "message": traceback.format_exc()}
    spent = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    row["cpu_s"] = sum(s.ru_utime + s.ru_stime for s in spent)
    out.send(row)


def in_processes(
    job: Callable[[Source], Row], chosen: list[Source], jobs: int, tell: Callable[[Row], None]
) -> None:
    """Run the job on each mesh in a process of its own, with limits on memory and time."""
    fork = mp.get_context("fork")
    waiting = list(reversed(chosen))
    running: dict[Any, tuple[Any, Source, float]] = {}
    while waiting or running:
        while waiting and len(running) < jobs:
            source = waiting.pop()
            mine, theirs = fork.Pipe(duplex=False)
            process = fork.Process(target=_child, args=(job, source, theirs))
            process.start()
            theirs.close()
            running[mine] = (process, source, time.monotonic())
        ready = wait(list(running), timeout=1.0)
        for pipe, (process, source, begin) in list(running.items()):
            row = None
            if pipe in ready:
                try:
                    row = pipe.recv()
                except EOFError:
                    process.join()
                    row = {"outcome": "crash", "kind": f"exit {process.exitcode}", "message": ""}
            elif time.monotonic() - begin > WATCHDOG_S:
                process.kill()
                row = {"outcome": "crash", "kind": f"over {WATCHDOG_S} s", "message": ""}
            if row is None:
                continue
            process.join()
            del running[pipe]
            row = {"package": source.package, "name": source.name} | row
            row["seconds"] = time.monotonic() - begin
            tell(row)


def chosen(found: list[Source], names: list[str]) -> list[Source]:
    """Those whose package is named or whose name holds one of the names; all without names."""
    return [s for s in found if not names or any(n == s.package or n in s.name for n in names)]


def planned(found: list[Source]) -> list[Source]:
    """Whole plans are made of the demo's figures, Blender's solids and the clean meshes."""
    clean = {f"data/meshes/{name}.off" for name in NAMES}
    return [
        s for s in found
        if s.package == "demo" or s.name in clean or f"{s.package}/{s.name}" in PLANNED
    ]  # fmt: skip


def run(
    job: Callable[[Source], Row], sources_: list[Source], jobs: int, path: Path, kept: Row
) -> Row:
    """Run what `kept` does not hold by this code; what is measured is written now and then."""
    state = code_state()
    before: list[Row] = kept.get("rows", [])
    rows = [r for r in before if r.get("state") == state]
    if len(rows) < len(before):
        print(f"{len(before) - len(rows)} rows of other code are dropped", file=sys.stderr)
    done = {(r["package"], r["name"]) for r in rows}
    left = [s for s in sources_ if (s.package, s.name) not in done]
    begin = saved = time.monotonic()
    seconds = kept.get("seconds", 0.0) if rows else 0.0
    result = kept | {"rows": rows, "date": time.strftime("%Y-%m-%d", time.gmtime()), "jobs": jobs}

    def save() -> None:
        result["seconds"] = seconds + time.monotonic() - begin
        part = path.with_suffix(".part")
        part.write_text(json.dumps(result))
        part.replace(path)

    def tell(row: Row) -> None:
        nonlocal saved
        rows.append(row | {"state": code_state()})  # it may be edited meanwhile
        if row["outcome"] in ("wrong", "crash"):
            print(json.dumps(row), file=sys.stderr, flush=True)
        if time.monotonic() - saved > 20:
            saved = time.monotonic()
            save()
            print(f"{len(rows)} of {len(done) + len(left)}", file=sys.stderr, flush=True)

    in_processes(job, left, jobs, tell)
    place = {(s.package, s.name): i for i, s in enumerate(sources_)}
    rows.sort(key=lambda r: place.get((r["package"], r["name"]), len(place)))
    save()
    return result


def main() -> int:
    """Run, keep the measures, write the page, and say what went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--json", type=Path, default=CACHE / "intake.json")
    parser.add_argument("--plans", type=Path, help="plan as well; where to keep its measures")
    parser.add_argument(
        "--resume", action="store_true", help="leave out what the files have of this code"
    )
    parser.add_argument("--write", type=Path, metavar="PAGE", help="write docs/proof.md")
    parser.add_argument("--state", action="store_true", help="say which state of the code this is")
    parser.add_argument("names", nargs="*")
    given = parser.parse_args()
    if given.state:
        print(code_state())
        return 0
    found, versions, left_out = sources()
    kept = (proof.read(given.json) if given.resume else None) or {}
    kept |= {"versions": versions, "left_out": left_out, "found": Counter(s.package for s in found)}
    intake = run(one_mesh.measure, chosen(found, given.names), given.jobs, given.json, kept)
    plans = None
    if given.plans:
        kept = (proof.read(given.plans) if given.resume else None) or {}
        plans = run(
            one_mesh.plan, chosen(planned(found), given.names), given.jobs, given.plans, kept
        )
    if given.write:
        fuzz = proof.read(ROOT / "docs" / "proof-fuzz.json")
        given.write.write_text(proof.document(intake, plans, fuzz), encoding="utf-8")
    outcomes = [r["outcome"] for r in intake["rows"] + (plans["rows"] if plans else [])]
    print({o: outcomes.count(o) for o in sorted(set(outcomes))})
    return 1 if {"wrong", "crash"} & set(outcomes) else 0


if __name__ == "__main__":
    sys.exit(main())
