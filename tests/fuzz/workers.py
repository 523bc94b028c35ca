"""Processes that judge cases one after the other, each watched: its time and its memory end."""

from __future__ import annotations

import multiprocessing
import resource
import shutil
import tempfile
import time
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path

from tests.fuzz.doors import Outcome, judge
from tests.fuzz.mutate import make_case

TIME_S = 20.0
MEMORY_BYTES = 2 << 30

_fork = multiprocessing.get_context("fork")


@dataclass(frozen=True)
class Case:
    """A file of a kind; air : models go through the command `air` as well."""

    kind: str
    data: bytes
    air: bool = False
    number: int = -1


def case_of(kind: str, seed: int, number: int) -> Case:
    """Return the fuzzer's case of that number."""
    return Case(kind, make_case(kind, seed, number), number % 8 == 0, number)


def _serve(line: Connection, folder: Path) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    # Whatever stack a crash dumps is for us, not for the terminal.
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    while True:
        try:
            case = line.recv()
        except EOFError:
            return
        line.send(judge(case.kind, case.data, folder, case.air))


@dataclass
class Worker:
    """One process and the case it is at."""

    case: Case | None = None
    until: float = 0.0
    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(dir=_fast_folder())))

    def __post_init__(self) -> None:
        self._start()

    def _start(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir()
        self.line, theirs = _fork.Pipe()
        self.process = _fork.Process(target=_serve, args=(theirs, self.folder), daemon=True)
        self.process.start()
        theirs.close()

    def give(self, case: Case) -> None:
        """Start on a case."""
        self.case, self.until = case, time.monotonic() + TIME_S
        try:
            self.line.send(case)
        except (BrokenPipeError, ConnectionResetError):
            self.until = 0.0

    def taken(self) -> tuple[Case, Outcome] | None:
        """Return the case and what came of it, None while it is still at it."""
        assert self.case is not None
        outcome = None
        if self.line.poll():
            try:
                outcome = self.line.recv()
            except (EOFError, ConnectionResetError):
                self.process.join()
                outcome = Outcome("crash", f"died {self.process.exitcode}")
        elif time.monotonic() > self.until:
            outcome = Outcome("crash", f"over {TIME_S:g} s")
        if outcome is None:
            return None
        case, self.case = self.case, None
        if outcome.mark.startswith(("died", "over")):
            self.process.kill()
            self.process.join()
            self._start()
        return case, outcome

    def ask(self, case: Case) -> Outcome:
        """Judge one case and wait for it."""
        self.give(case)
        while True:
            wait([self.line], timeout=0.5)
            done = self.taken()
            if done is not None:
                return done[1]

    def stop(self) -> None:
        """End the process."""
        self.process.kill()
        self.process.join()
        shutil.rmtree(self.folder, ignore_errors=True)


def _fast_folder() -> str | None:
    return "/dev/shm" if Path("/dev/shm").is_dir() else None
