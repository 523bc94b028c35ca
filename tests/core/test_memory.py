"""What a process of our own gives back to the system."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

CORE = Path(__file__).parents[2] / "core"

# Blocks of 8 MB, each above one that stays, after one that large was freed once.
HELD = """
import sys
import numpy as np
from pourwright.memory import give_back_early
def resident_mb():
    return int(open("/proc/self/statm").read().split()[1]) * 4096 / 1e6
if sys.argv[1] == "early":
    give_back_early()
del_once = np.ones(4_000_000)
del del_once
before = resident_mb()
large, small = [], []
for _ in range(10):
    large.append(np.ones(1_000_000))
    small.append(np.ones(10_000))
large.clear()
print(resident_mb() - before)
"""


def held_mb(how: str) -> float:
    run = subprocess.run(
        [sys.executable, "-c", HELD, how], env={"PYTHONPATH": str(CORE)}, capture_output=True,
        text=True, timeout=60, check=True,
    )  # fmt: skip
    return float(run.stdout)


@pytest.mark.skipif(sys.platform != "linux", reason="only the GNU C library is asked")
def test_large_blocks_go_back_as_soon_as_they_are_freed():
    assert held_mb("early") < 10
    if held_mb("late") < 60:
        pytest.skip("this C library gives back all by itself")
