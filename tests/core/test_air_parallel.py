"""Many directions on several processes: the same results, errors and ends as on one."""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest
from random_bodies import random_body
from reference import mesh_of

from pourwright.air import Crew, PocketTable, Surface, parallel, pockets_in, prepare
from pourwright.errors import GeometryError


def process_number(_: object, __: object) -> int:
    time.sleep(0.01)
    return os.getpid()


def where_array_is(data: np.ndarray, _: object) -> tuple[int, int]:
    time.sleep(0.01)
    return os.getpid(), data.ctypes.data


def writable(data: np.ndarray, _: object) -> tuple[int, bool]:
    print("what a function prints is no answer")
    time.sleep(0.01)
    return os.getpid(), bool(data.flags.writeable)


def refuse_three(_: object, number: int) -> int:
    if number == 3:
        raise GeometryError("Three is one too many", hint="take two", at_mm=(1.0, 2.0, 3.0))
    return number


def vanish(asker: int, _: object) -> None:
    time.sleep(0.01)
    if os.getpid() != asker:
        os._exit(1)


def table(surface: Surface, up: np.ndarray) -> PocketTable:
    return pockets_in(surface, up)


def helpers_only(results: list[tuple[int, object]]) -> list[tuple[int, object]]:
    return [r for r in results if r[0] != os.getpid()]


def test_a_crew_finds_what_one_process_does():
    rng = np.random.default_rng(8)
    surface = prepare(mesh_of(random_body("hollow", rng).refine(3)))
    ups = rng.normal(size=(41, 3))
    ups /= np.linalg.norm(ups, axis=1)[:, None]
    with Crew(2) as crew:
        # Until the helper takes part, so that its answers are among those looked at.
        while len(set(crew.map(process_number, surface, range(9)))) < 2:
            pass
        found = list(crew.map(table, surface, ups))
    assert len(found) == len(ups) and any(len(t.peaks) for t in found)
    for up, got in zip(ups, found, strict=True):
        want = pockets_in(surface, up)
        for name in ("peaks", "peak_heights_mm", "saddle_heights_mm", "volumes_mm3"):
            np.testing.assert_array_equal(getattr(got, name), getattr(want, name))


def test_all_take_part_and_stay_for_the_next_task():
    with Crew(3) as crew:
        seen = [set(crew.map(process_number, None, range(400))) for _ in range(2)]
    assert seen[0] == seen[1]
    assert len(seen[0]) == 3 and os.getpid() in seen[0]


def test_one_alone_starts_nobody(monkeypatch):
    monkeypatch.setattr(parallel, "_launch", None)
    assert set(Crew(1).map(process_number, None, range(3))) == {os.getpid()}


@pytest.mark.parametrize("items", [[], [1]])
def test_next_to_nothing_to_do(items):
    with Crew(3) as crew:
        assert list(crew.map(process_number, None, items)) == [os.getpid()] * len(items)


def test_arrays_are_shared_to_be_read_only_and_written_once():
    data, other = np.arange(4.0), np.empty(0)
    with Crew(2) as crew:
        places = []
        for _ in range(2):
            results = list(crew.map(where_array_is, data, range(200)))
            places += [at for _, at in helpers_only(results)]
        assert len(set(places)) == 1
        flags = list(crew.map(writable, data, range(200)))
        assert helpers_only(flags) and not any(may for _, may in helpers_only(flags))
        # More data, and none, may follow.
        assert helpers_only(list(crew.map(writable, other, range(200))))


@pytest.mark.parametrize("processes", [1, 2])
def test_an_error_of_the_function_is_raised_in_its_turn(processes):
    with Crew(processes) as crew:
        results = crew.map(refuse_three, None, range(200))
        assert [next(results) for _ in range(3)] == [0, 1, 2]
        with pytest.raises(GeometryError) as caught:
            next(results)
    assert caught.value.at_mm == (1.0, 2.0, 3.0)
    assert caught.value.hint == "take two"


def test_a_process_that_dies_is_an_error():
    with Crew(2) as crew, pytest.raises(RuntimeError, match="ended before"):
        list(crew.map(vanish, os.getpid(), range(300)))


@pytest.mark.parametrize("processes", [1, 2])
def test_work_aside(processes):
    with Crew(processes) as crew:
        number = crew.aside(process_number, np.zeros(1000), 0)
        here = crew.alone
        assert (number() == os.getpid()) == here
        with pytest.raises(GeometryError, match="one too many"):
            crew.aside(refuse_three, None, 3)()


def test_work_aside_is_done_here_when_the_helper_dies():
    with Crew(2) as crew:
        assert crew.aside(vanish, os.getpid(), None)() is None
        # And when it is dead before it is asked.
        assert crew.aside(process_number, None, 0)() == os.getpid()


def test_a_small_surface_gets_no_helper(monkeypatch):
    assert parallel.pair_for(100) == 1
    assert parallel.pair_for(10**6) == min(2, parallel.processors())
    monkeypatch.setattr(parallel, "processors", lambda: 1)
    assert parallel.pair_for(10**6) == 1


def test_closing_ends_all_and_leaves_nothing(monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    crew = Crew(2)
    numbers = set(crew.map(process_number, np.zeros(1000), range(200)))
    results = crew.map(process_number, np.zeros(1000), range(200))
    next(results)
    assert len(numbers) == 2 and list(tmp_path.iterdir())
    results.close()
    assert not list(tmp_path.iterdir())
    if Path("/proc").exists():
        assert not any(Path(f"/proc/{n}").exists() for n in numbers - {os.getpid()})
    # This process goes on alone.
    assert set(crew.map(process_number, None, range(3))) == {os.getpid()}
