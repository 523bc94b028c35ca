"""One function over many items on several processes that share the same large data.

Threads do not help here: one direction is hundreds of array operations of some ten microseconds,
and at each of them two threads of one interpreter wait for each other longer than that. Processes
do not, and the data costs them nothing: its arrays lie in a file that all of them map into memory.
"""

from __future__ import annotations

import mmap
import os
import pickle
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import IO, Any, TypeVar, cast

import numpy as np

Data = TypeVar("Data")
Item = TypeVar("Item")
Result = TypeVar("Result")

# Arrays start at multiples of this, as numpy likes it.
_ALIGN = 64
_START = "from pourwright.air.parallel import serve; serve()"


def over_processes(
    work: Callable[[Data, Item], Result], data: Data, items: Sequence[Item], processes: int
) -> Iterator[Result]:
    """Yield work(data, item) for each item, in their order, computed on some processes.

    work : a function at the top level of a module, or a method named through its class. data,
    items and results are pickled; the arrays in `data` are shared and read-only for all. What
    `work` raises is raised here. Each process takes about half a second to start; closing the
    iterator ends them at once.
    """
    count = min(processes, len(items))
    running: list[subprocess.Popen[bytes]] = []
    with tempfile.TemporaryDirectory(prefix="pourwright-", ignore_cleanup_errors=True) as folder:
        try:
            _write(Path(folder), (work, data))
            running += [_launch(Path(folder), items[i::count]) for i in range(count)]
            for i in range(len(items)):
                answer = cast(IO[bytes], running[i % count].stdout)
                try:
                    worked, value = pickle.load(answer)
                except EOFError as error:
                    raise RuntimeError("A process of the sweep ended before its work") from error
                if not worked:
                    raise value
                yield value
        finally:
            for process in running:
                process.kill()
            for process in running:
                process.communicate()


def serve() -> None:
    """Do one process's share; reads what to do from standard input, answers on standard output."""
    folder, items = pickle.load(sys.stdin.buffer)
    answer = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    # What anything prints must not get among the answers.
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    work, data = _read(Path(folder))
    # Until it has seen a large block freed, glibc hands memory back after each array operation and
    # asks for it anew page by page: a quarter of the time.
    np.empty(31 << 20, dtype=np.uint8)
    for item in items:
        try:
            reply = pickle.dumps((True, work(data, item)), protocol=5)
        except Exception as error:
            reply = pickle.dumps((False, error), protocol=5)
        answer.write(reply)
        answer.flush()


def _launch(folder: Path, items: Sequence[Any]) -> subprocess.Popen[bytes]:
    """Start a process on its items."""
    process = subprocess.Popen(
        [sys.executable, "-c", _START],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join(p for p in sys.path if p),
            "OPENBLAS_NUM_THREADS": "1",  # the processes share the processors out already
        },
        # No console window on Windows.
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )
    with cast(IO[bytes], process.stdin) as pipe:
        pickle.dump((str(folder), list(items)), pipe, protocol=5)
    process.stdin = None
    return process


def _write(folder: Path, thing: Any) -> None:
    """Write a thing apart from its arrays, and these one after another."""
    arrays: list[pickle.PickleBuffer] = []
    frame = pickle.dumps(thing, protocol=5, buffer_callback=arrays.append)
    places = []
    with (folder / "arrays").open("wb") as file:
        for array in arrays:
            file.write(bytes(-file.tell() % _ALIGN))
            with array.raw() as view:
                places.append((file.tell(), view.nbytes))
                file.write(view)
        file.write(b"\0")  # an empty file cannot be mapped
    (folder / "frame").write_bytes(pickle.dumps((frame, places), protocol=5))


def _read(folder: Path) -> Any:
    """Read it back with its arrays where they are in the file."""
    frame, places = pickle.loads((folder / "frame").read_bytes())
    with (folder / "arrays").open("rb") as file:
        view = memoryview(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ))
    return pickle.loads(frame, buffers=[view[at : at + size] for at, size in places])
