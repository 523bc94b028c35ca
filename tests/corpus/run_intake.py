"""Every mesh of the corpus through intake and the air analysis, each against references.

python tests/corpus/run_intake.py [--jobs N] [--plans N] [--write docs/proof.md] [NAME ...]

NAME : only meshes whose package or name holds it. Everything measured is kept as JSON in the
cache; --write makes the document from it. 1 where anything was wrong or crashed.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing as mp
import os
import resource
import sys
import time
import traceback
import warnings
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
import scipy.sparse.csgraph  # noqa: E402
import scipy.spatial  # noqa: E402, F401
import trimesh.exchange.load  # noqa: E402, F401
from fetch import CACHE  # noqa: E402
from sources import Source, sources  # noqa: E402

MEMORY_BYTES = 6 << 30
WATCHDOG_S = 300
Row = dict[str, Any]


def _child(job: Callable[[Source], Row], source: Source, out: Connection) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    warnings.filterwarnings("error", module="pourwright")
    sys.stdout = sys.stderr = open(os.devnull, "w")  # noqa: SIM115, PTH123 - readers talk
    try:
        row = job(source)
    except BaseException as error:
        row = {"outcome": "crash", "kind": type(error).__name__, "message": traceback.format_exc()}
    out.send({"package": source.package, "name": source.name} | row)


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


def main() -> int:
    """Run, keep the measures, and say what went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--json", type=Path, default=CACHE / "intake.json")
    parser.add_argument("--resume", action="store_true", help="leave out what the JSON file has")
    parser.add_argument("names", nargs="*")
    given = parser.parse_args()
    found, versions, left_out = sources()
    chosen = [
        s for s in found
        if not given.names or any(n == s.package or n in s.name for n in given.names)
    ]  # fmt: skip
    kept = json.loads(given.json.read_text()) if given.resume and given.json.exists() else {}
    rows: list[Row] = kept.get("rows", [])
    done = {(r["package"], r["name"]) for r in rows}
    chosen = [s for s in chosen if (s.package, s.name) not in done]
    before = kept.get("seconds", 0.0)
    begin = saved = time.monotonic()

    def save() -> None:
        given.json.write_text(json.dumps({
            "date": time.strftime("%Y-%m-%d", time.gmtime()),
            "seconds": before + time.monotonic() - begin,
            "versions": versions, "left_out": left_out, "rows": rows,
        }, indent=0))  # fmt: skip

    def tell(row: Row) -> None:
        nonlocal saved
        rows.append(row)
        if row["outcome"] in ("wrong", "crash"):
            print(json.dumps(row), file=sys.stderr, flush=True)
        if time.monotonic() - saved > 20:
            saved = time.monotonic()
            save()
            print(f"{len(rows)} of {len(done) + len(chosen)}", file=sys.stderr, flush=True)

    in_processes(one_mesh.measure, chosen, given.jobs, tell)
    save()
    outcomes = [r["outcome"] for r in rows]
    print({o: outcomes.count(o) for o in sorted(set(outcomes))})
    return 1 if {"wrong", "crash"} & set(outcomes) else 0


if __name__ == "__main__":
    sys.exit(main())
