"""Files that once crashed Pourwright or gave a wrong figure, and a few new ones of that sort."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("resource", reason="limits of a process are not on every system")

from pourwright.solid import read_models
from tests.fuzz import doors
from tests.fuzz.doors import judge
from tests.fuzz.mutate import kind_of
from tests.fuzz.plain_readers import triangles
from tests.fuzz.run import KEPT
from tests.fuzz.seeds import KINDS, MODELS, SUFFIX, seeds
from tests.fuzz.winding import disagreement
from tests.fuzz.workers import Case, Worker, case_of

FILES = sorted(KEPT.iterdir())


@pytest.fixture(scope="module")
def worker():
    one = Worker()
    yield one
    one.stop()


def test_files_are_kept():
    assert len(FILES) >= 10
    assert {f.name.split("-")[0] for f in FILES} <= set(KINDS)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_a_file_that_failed_once(path, worker):
    outcome = worker.ask(Case(path.name.split("-")[0], path.read_bytes(), air=True))
    assert outcome.word in ("accepted", "refused"), outcome


def test_a_key_of_many_dots_is_refused_at_once(worker):
    outcome = worker.ask(Case("silicone", b"a." * 30_000))
    assert outcome.word == "refused" and "200 dots" in outcome.detail


def test_new_cases(worker):
    words = set()
    for number in range(68):
        case = replace(case_of(kind_of(number), 0, number), air=False)
        outcome = worker.ask(case)
        assert outcome.word in ("accepted", "refused"), (case.kind, number, outcome)
        words.add(outcome.word)
    assert words == {"accepted", "refused"}


@pytest.mark.parametrize("kind", MODELS)
def test_the_plain_readers_read_what_pourwright_reads(tmp_path, kind):
    for number, data in enumerate(seeds(kind)):
        path = tmp_path / f"{number}{SUFFIX[kind]}"
        path.write_bytes(data)
        read = np.concatenate([m.vertices[m.faces] for m in read_models([path])[0]])
        plain = triangles(kind, data)
        assert plain is not None and plain.shape == read.shape
        # Objects may come in another order.
        one, other = (np.sort(s.reshape(-1, 9), axis=0) for s in (plain, read))
        assert np.abs(one - other).max() < 1e-4


def test_a_wrong_figure_is_called_wrong(tmp_path, monkeypatch):
    """Guards the judge: a solid that lost a tenth of its height does not pass."""
    real = doors.intake

    def shorter(meshes):
        solid = real(meshes)
        mesh = replace(solid.mesh, vertices=solid.mesh.vertices * [1, 1, 0.9])
        return replace(solid, mesh=mesh)

    monkeypatch.setattr(doors, "intake", shorter)
    assert judge("stl", seeds("stl")[0], tmp_path).word == "wrong"


def test_parts_of_a_spike_are_compared_near_its_surface():
    """Where random points miss the body, they are taken at its triangles."""
    needle = np.array([[0, 0, 0], [1e4, 1e4, 1e4], [1, 0, 0], [0, 1, 0.0]])
    soup = needle[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]]
    if np.linalg.det(needle[1:]) < 0:
        soup = soup[:, ::-1]
    assert disagreement(soup, soup) == 0.0
    assert disagreement(soup, soup + [0.0, 5.0, 0.0]) > 0.5


def test_a_crash_and_a_hang_are_told(monkeypatch):
    def broken(kind, data, folder, air):
        if data == b"loop":
            while True:
                pass
        return bytearray(1 << 40) if data == b"memory" else (_ for _ in ()).throw(SystemExit)

    monkeypatch.setattr("tests.fuzz.workers.judge", broken)
    monkeypatch.setattr("tests.fuzz.workers.TIME_S", 0.5)
    one = Worker()
    try:
        assert one.ask(Case("stl", b"loop")).mark.startswith("over")
        assert one.ask(Case("stl", b"exit")).mark.startswith("died")
        assert one.ask(Case("stl", b"memory")).mark.startswith("died")
    finally:
        one.stop()
