"""One function over many items, by this process and some helpers that share the same large data.

Threads do not help here: one direction is hundreds of array operations of some ten microseconds,
and at each of them two threads of one interpreter wait for each other longer than that. Processes
do not, and the data costs them nothing: its arrays lie in a file that all of them map into memory.
Whoever is free takes the next item, so that nobody waits for a helper to start.
"""

from __future__ import annotations

import contextlib
import mmap
import os
import pickle
import subprocess
import sys
import tempfile
import threading
from collections import deque
from collections.abc import Callable, Generator, Sequence
from pathlib import Path
from types import TracebackType
from typing import IO, Any, TypeVar, cast

import numpy as np

Data = TypeVar("Data")
Item = TypeVar("Item")
Result = TypeVar("Result")

# Arrays start at multiples of this, as numpy likes it.
_ALIGN = 64
_WORK, _ITEM = "work", "item"
_START = "from pourwright.air.parallel import serve; serve()"
# Triangles from which a second process is worth its start, about half a second.
_WORTH_A_PROCESS = 60_000
# With more items than this for each process a helper has the next one at hand before it is done.
_MANY = 8


def processors() -> int:
    """Return how many processors this process may use."""
    may_use = getattr(os, "sched_getaffinity", None)  # not on Windows and macOS
    return len(may_use(0)) if may_use is not None else os.cpu_count() or 1


def pair_for(triangles: int) -> int:
    """Return how many processes to have for two works on a surface: 2, or 1 for a small one."""
    return 2 if triangles >= _WORTH_A_PROCESS and processors() > 1 else 1


class Crew:
    """This process and its helpers, which start at once and stay until the crew is closed.

    processes : how many work together, this one among them; 1 starts none. module : what the
    helpers import while they wait for work, the one that has the functions they will run.
    """

    def __init__(self, processes: int, module: str = __name__):
        self._helpers = [_launch(module) for _ in range(processes - 1)]
        self._shared: list[tuple[object, tempfile.TemporaryDirectory[str]]] = []

    def __enter__(self) -> Crew:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the helpers at once."""
        for helper in self._helpers:
            helper.kill()
        for helper in self._helpers:
            helper.wait()
            for pipe in (helper.stdin, helper.stdout):
                _close(cast(IO[bytes], pipe))
        for _, folder in self._shared:
            folder.cleanup()
        self._helpers, self._shared = [], []

    def map(
        self, work: Callable[[Data, Item], Result], data: Data, items: Sequence[Item]
    ) -> Generator[Result, None, None]:
        """Yield work(data, item) for each item, in their order.

        work : a function at the top level of a module, or a method named through its class.
        data, items and results are pickled; the arrays in `data` are shared and read-only for the
        helpers, and written once however often they are asked about. What `work` raises is raised
        here, in its turn. An iterator that is not followed to its end closes the crew.
        """
        tasks = _Tasks(len(items))
        ahead = 2 if len(items) > _MANY * (1 + len(self._helpers)) else 1
        helpers = self._helpers[: max(len(items) - 1, 0)]
        threads = []
        if helpers:
            order = pickle.dumps((_WORK, work, self._share(data)), protocol=5)
            threads = [
                threading.Thread(target=_hand_out, args=(helper, order, items, tasks, ahead))
                for helper in helpers
            ]
        done = False
        try:
            _keep_freed_memory()
            for thread in threads:
                thread.start()
            for place in range(len(items)):
                while not tasks.is_done(place):
                    number = tasks.take()
                    if number is None:
                        tasks.wait_for(place)
                    else:
                        tasks.put(number, _tried(work, data, items[number]))
                worked, value = tasks.results.pop(place)
                if not worked:
                    raise value
                yield value
            done = True
        finally:
            if not done:
                tasks.stop()
                self.close()
            for thread in threads:
                thread.join()

    @property
    def alone(self) -> bool:
        """Whether there are no helpers."""
        return not self._helpers

    def aside(
        self, work: Callable[[Data, Item], Result], data: Data, item: Item
    ) -> Callable[[], Result]:
        """Have a helper do one item, as in `map`, while this process goes on.

        Returns what waits for the result, or raises what `work` raised. Without helpers, or when
        the helper dies, the work is done there and then. Not while a `map` is under way.
        """
        if not self._helpers:
            return lambda: work(data, item)
        tasks = _Tasks(1)
        order = pickle.dumps((_WORK, work, self._share(data)), protocol=5)
        thread = threading.Thread(
            target=_hand_out, args=(self._helpers[0], order, [item], tasks, 1), daemon=True
        )
        thread.start()

        def wait() -> Result:
            thread.join()
            worked, value = tasks.results.get(0, (False, _Died()))
            if isinstance(value, _Died):
                return work(data, item)
            if not worked:
                raise value
            return cast(Result, value)

        return wait

    def _share(self, data: object) -> str:
        """Write data for the helpers unless they have it; the folder it is in."""
        for known, folder in self._shared:
            if known is data:
                return folder.name
        folder = tempfile.TemporaryDirectory(prefix="pourwright-", ignore_cleanup_errors=True)
        self._shared.append((data, folder))
        _write(Path(folder.name), data)
        return folder.name


class _Died(RuntimeError):
    """A helper ended before its work."""


class _Tasks:
    """Which items are taken, and the results that nobody has asked for yet."""

    def __init__(self, count: int):
        self.results: dict[int, tuple[bool, Any]] = {}
        self._left = deque(range(count))
        self._news = threading.Condition()

    def take(self) -> int | None:
        try:
            return self._left.popleft()
        except IndexError:
            return None

    def stop(self) -> None:
        self._left.clear()

    def put(self, number: int, result: tuple[bool, Any]) -> None:
        with self._news:
            self.results[number] = result
            self._news.notify_all()

    def is_done(self, number: int) -> bool:
        return number in self.results

    def wait_for(self, number: int) -> None:
        with self._news:
            while number not in self.results:
                self._news.wait()


def _hand_out(
    helper: subprocess.Popen[bytes], order: bytes, items: Sequence[Any], tasks: _Tasks, ahead: int
) -> None:
    """Keep one helper busy until no item is left."""
    sent: deque[int] = deque()
    try:
        orders, answers = cast(IO[bytes], helper.stdin), cast(IO[bytes], helper.stdout)
        orders.write(order)
        while True:
            while len(sent) < ahead and (number := tasks.take()) is not None:
                sent.append(number)
                orders.write(pickle.dumps((_ITEM, items[number]), protocol=5))
            orders.flush()
            if not sent:
                return
            tasks.put(sent[0], pickle.load(answers))
            sent.popleft()
    except (OSError, ValueError, EOFError, pickle.UnpicklingError):
        died = _Died("A helper process ended before its work")
        for number in sent:
            tasks.put(number, (False, died))


def serve() -> None:
    """Do a helper's share; reads what to do from standard input, answers on standard output."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    # What anything prints must not get among the answers.
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    _keep_freed_memory()
    work, data, known = None, None, None
    while True:
        try:
            what, *more = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        if what == _WORK:
            work, folder = more
            if folder != known:
                data, known = _read(Path(folder)), folder
            continue
        reply = _tried(work, data, more[0])
        try:
            answer = pickle.dumps(reply, protocol=5)
        except Exception as error:
            answer = pickle.dumps((False, error), protocol=5)
        answers.write(answer)
        answers.flush()


def _tried(work: Any, data: Any, item: Any) -> tuple[bool, Any]:
    """Whether the work went well, and its result or its error."""
    try:
        return True, work(data, item)
    except Exception as error:
        return False, error


def _keep_freed_memory() -> None:
    """Have glibc keep freed memory for the next array operation.

    Until it has seen a large block freed it hands memory back after each one and asks for it anew
    page by page: a quarter of the time.
    """
    np.empty(31 << 20, dtype=np.uint8)


def _launch(module: str) -> subprocess.Popen[bytes]:
    """Start a helper."""
    return subprocess.Popen(
        [sys.executable, "-c", f"import {module}; {_START}"],
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


def _close(pipe: IO[bytes]) -> None:
    # What was still to be written has no reader any more.
    with contextlib.suppress(OSError):
        pipe.close()


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
