"""Hand Pourwright files made wrong on purpose, thousands a minute, and count what comes of them.

    python -m tests.fuzz.run --minutes 20 --seed 1 --json fuzz.json

Every case is a number of the seed, made anew at will. Outcomes: accepted; refused, with an error of
Pourwright's own; crash (any other exception, a dead process, over 20 s, over 2 GiB); wrong (a model
was accepted whose solid differs from that of an independent reading, by winding numbers). The
first failing case of each sort is made as small as can be and kept beside this file, where
tests/core/test_fuzz_kept.py replays it. Exit status 1 when there was one.
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import json
import os
import sys
import time
import warnings
from collections import Counter
from datetime import UTC, datetime
from multiprocessing.connection import wait
from pathlib import Path

for _threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")  # before numpy comes in; processes are the threads here

from tests.fuzz.doors import Outcome  # noqa: E402
from tests.fuzz.mutate import kind_of  # noqa: E402
from tests.fuzz.seeds import KINDS, SUFFIX, seeds  # noqa: E402
from tests.fuzz.workers import Case, Worker, case_of  # noqa: E402

KEPT = Path(__file__).parent / "kept"
WORDS = ("accepted", "refused", "crash", "wrong")
_SMALLER_S = 60.0
_MOST_KEPT = 40


def main() -> int:
    """Run, print and write the counts."""
    options = _options()
    warnings.simplefilter("ignore")  # as the command line has it
    for kind in KINDS:
        seeds(kind)  # before the fork, so that every worker has them
    counts: Counter[tuple[str, str]] = Counter()
    failed: dict[tuple[str, str, str], tuple[Case, Outcome]] = {}
    workers = [Worker() for _ in range(options.jobs)]
    begun = told = time.monotonic()
    numbers = itertools.count()
    for worker in workers:
        _next(worker, numbers, options)
    while any(w.case for w in workers):
        wait([w.line for w in workers if w.case], timeout=0.5)
        for worker in workers:
            done = worker.taken() if worker.case else None
            if done is None:
                continue
            case, outcome = done
            counts[case.kind, outcome.word] += 1
            key = (case.kind, outcome.word, outcome.mark)
            if outcome.word in ("crash", "wrong") and key not in failed:
                failed[key] = done
                print(f"{' '.join(key)}: case {case.number}\n{outcome.detail[-700:]}", flush=True)
            if time.monotonic() < begun + options.minutes * 60:
                _next(worker, numbers, options)
        if time.monotonic() > told + 60:
            told = time.monotonic()
            print(f"{(told - begun) / 60:.0f} min, {sum(counts.values())} cases", flush=True)
    minutes = (time.monotonic() - begun) / 60
    for case, outcome in list(failed.values())[:_MOST_KEPT]:
        _keep(workers[0], case, outcome, options.kept)
    for worker in workers:
        worker.stop()
    _report(counts, minutes, options)
    return 1 if failed else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--json", type=Path, help="where the counts go")
    parser.add_argument("--kept", type=Path, default=KEPT, help="where failing cases go")
    parser.add_argument("--only", choices=KINDS, help="one kind of file alone")
    return parser.parse_args()


def _next(worker: Worker, numbers: itertools.count[int], options: argparse.Namespace) -> None:
    number = next(numbers)
    worker.give(case_of(options.only or kind_of(number), options.seed, number))


def _keep(worker: Worker, case: Case, outcome: Outcome, folder: Path) -> None:
    """Make a failing case smaller while it fails in the same way, and write it down."""
    deadline = time.monotonic() + _SMALLER_S
    data, size = case.data, len(case.data) // 2
    while size and time.monotonic() < deadline:
        at, shorter = 0, False
        while at < len(data) and time.monotonic() < deadline:
            trial = data[:at] + data[at + size :]
            got = worker.ask(Case(case.kind, trial, case.air))
            if (got.word, got.mark) == (outcome.word, outcome.mark):
                data, shorter = trial, True
            else:
                at += size
        size = size if shorter and size < 64 else size // 2
    folder.mkdir(exist_ok=True)
    name = f"{case.kind}-{hashlib.sha256(data).hexdigest()[:8]}{SUFFIX[case.kind]}"
    (folder / name).write_bytes(data)
    print(f"kept {name}, {len(data)} bytes: {outcome.word} {outcome.mark}", flush=True)


def _report(
    counts: Counter[tuple[str, str]], minutes: float, options: argparse.Namespace
) -> None:
    by_format = {
        kind: {word: counts[kind, word] for word in WORDS}
        for kind in KINDS if any(counts[kind, word] for word in WORDS)
    }  # fmt: skip
    total = {word: sum(row[word] for row in by_format.values()) for word in WORDS}
    result = {
        "date": datetime.now(UTC).date().isoformat(),
        "minutes": round(minutes, 1),
        "seed": options.seed,
        "cases": sum(total.values()),
        **total,
        "by_format": by_format,
    }
    if options.json:
        options.json.write_text(json.dumps(result, indent=1) + "\n", "utf-8")
    for kind, row in by_format.items():
        print(f"{kind:9}", *(f"{row[word]:7} {word}" for word in WORDS))
    print(f"{result['cases']} cases in {minutes:.1f} min:", total)


if __name__ == "__main__":
    sys.exit(main())
