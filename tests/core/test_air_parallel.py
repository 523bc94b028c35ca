"""Many directions on several processes: the same results, errors and ends as on one."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
from random_bodies import random_body
from reference import mesh_of

from pourwright.air import PocketTable, Surface, over_processes, pockets_in, prepare
from pourwright.errors import GeometryError


def process_number(_: object, __: object) -> int:
    return os.getpid()


def writable(data: np.ndarray, _: object) -> bool:
    print("what a function prints is no answer")
    return bool(data.flags.writeable)


def refuse_three(_: object, number: int) -> int:
    if number == 3:
        raise GeometryError("Three is one too many", hint="take two", at_mm=(1.0, 2.0, 3.0))
    return number


def vanish(_: object, __: object) -> None:
    os._exit(1)


def table(surface: Surface, up: np.ndarray) -> PocketTable:
    return pockets_in(surface, up)


def test_processes_find_what_one_does():
    rng = np.random.default_rng(8)
    surface = prepare(mesh_of(random_body("hollow", rng).refine(3)))
    ups = rng.normal(size=(21, 3))
    ups /= np.linalg.norm(ups, axis=1)[:, None]
    found = list(over_processes(table, surface, ups, 2))
    assert len(found) == len(ups) and any(len(t.peaks) for t in found)
    for up, got in zip(ups, found, strict=True):
        want = pockets_in(surface, up)
        for name in ("peaks", "peak_heights_mm", "saddle_heights_mm", "volumes_mm3"):
            np.testing.assert_array_equal(getattr(got, name), getattr(want, name))


def test_each_process_gets_every_other_item_and_none_is_started_in_vain():
    numbers = list(over_processes(process_number, None, range(5), 2))
    assert numbers[0] == numbers[2] == numbers[4] != numbers[1] == numbers[3]
    assert os.getpid() not in numbers
    assert len(set(over_processes(process_number, None, [1], 8))) == 1
    assert list(over_processes(process_number, None, [], 8)) == []


def test_arrays_are_shared_to_be_read_only():
    assert list(over_processes(writable, np.arange(4.0), [0], 1)) == [False]
    assert list(over_processes(writable, np.empty(0), [0], 1)) == [False]


def test_an_error_of_the_function_is_raised_in_its_turn():
    results = over_processes(refuse_three, None, range(6), 2)
    assert [next(results) for _ in range(3)] == [0, 1, 2]
    with pytest.raises(GeometryError) as caught:
        next(results)
    assert caught.value.at_mm == (1.0, 2.0, 3.0)
    assert caught.value.hint == "take two"


def test_a_process_that_dies_is_an_error():
    with pytest.raises(RuntimeError, match="ended before"):
        list(over_processes(vanish, None, [1, 2], 2))


def test_closing_ends_all_and_leaves_nothing(monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    results = over_processes(process_number, np.zeros(1000), range(100), 2)
    numbers = [next(results), next(results)]
    assert list(tmp_path.iterdir())
    results.close()
    assert not list(tmp_path.iterdir())
    if Path("/proc").exists():
        assert not any(Path(f"/proc/{n}").exists() for n in numbers)
