from __future__ import annotations

import json
import multiprocessing
from pathlib import Path

import pytest

from pourwright.errors import InputError, OutputError
from pourwright.files.log import Bubble, Pour, append_pour, log_path, read_log
from pourwright.shop.found import Predicted, compare

FIRST = Pour(
    when="2026-11-25T14:30:00+00:00",
    figure="heron",
    materials={"resin": "polyurethane", "batch A": "17/4"},
    temperature_c=21.5,
    minutes={"mix": 0.8},
    casts=2,
    bubbles=(Bubble((1.0, 2.0, -3.5), 0.8, "under the wing"), Bubble((0, 0, 0))),
    note="line one\nline two \u2028 and an é",
)
SECOND = Pour(when="2026-11-26T09:00", figure="heron")


def test_what_is_written_is_read(tmp_path):
    path = log_path(tmp_path / "heron.toml")
    assert path.name == "heron.pours.jsonl"
    assert read_log(path).pours == ()
    append_pour(path, FIRST)
    append_pour(path, SECOND)
    log = read_log(path)
    assert log.pours == (FIRST, SECOND)
    assert log.damaged == ()
    assert log.casts == 3
    assert path.read_bytes().count(b"\n") == 2


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
def test_torn_line_is_kept_and_later_entries_are_read(tmp_path, share):
    path = tmp_path / "a.pours.jsonl"
    append_pour(path, FIRST)
    whole = path.read_bytes()
    torn = whole[: int(len(whole) * share)]
    path.write_bytes(whole + torn)
    append_pour(path, SECOND)
    assert path.read_bytes().startswith(whole + torn + b"\n")
    log = read_log(path)
    assert log.pours == (FIRST, SECOND)
    (damaged,) = log.damaged
    assert damaged.line == 2
    assert damaged.text == torn[:200].decode()


def test_every_cut_leaves_the_entries_before_it(tmp_path):
    path = tmp_path / "a.pours.jsonl"
    append_pour(path, FIRST)
    append_pour(path, SECOND)
    whole = path.read_bytes()
    for cut in range(0, len(whole), 7):
        path.write_bytes(whole[:cut])
        log = read_log(path)
        ends = whole[:cut].count(b"\n")
        assert log.pours[:ends] == (FIRST, SECOND)[:ends]
        assert len(log.pours) + len(log.damaged) <= 2


def add(path: str, number: int) -> None:
    for i in range(20):
        append_pour(Path(path), Pour(when="2026-11-25", figure=f"{number}-{i}", note="x" * 3000))


def test_several_at_once_do_not_mix(tmp_path):
    path = tmp_path / "a.pours.jsonl"
    context = multiprocessing.get_context("fork")
    workers = [context.Process(target=add, args=(str(path), n)) for n in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
        assert worker.exitcode == 0
    log = read_log(path)
    assert log.damaged == ()
    assert sorted(p.figure for p in log.pours) == sorted(
        f"{n}-{i}" for n in range(3) for i in range(20)
    )


@pytest.mark.parametrize(
    "line",
    [
        b"[]", b"3", b'{"schema": 2, "when": "2026-11-25", "figure": "a"}',
        b'{"schema": 1, "when": "2026-11-25"}', b'{"schema": 1, "when": "soon", "figure": "a"}',
        b'{"schema": 1, "when": "2026-11-25", "figure": "a", "bubbles": [{"at_mm": [1, 2]}]}',
        b'{"schema": 1, "when": "2026-11-25", "figure": "a", "casts": -1}',
        b'{"schema": 1, "when": "2026-11-25", "figure": "a", "minutes": [1]}',
        b'{"schema": 1, "when": "2026-11-25", "figure": "a", "extra": 1}',
        b"\xff\xfe", b"[" * 100_000, b'{"schema": 1, "when": NaN, "figure": "a"}',
    ],
)  # fmt: skip
def test_lines_that_are_no_entry(tmp_path, line):
    path = tmp_path / "a.pours.jsonl"
    append_pour(path, FIRST)
    with path.open("ab") as stream:
        stream.write(line + b"\n")
    append_pour(path, SECOND)
    log = read_log(path)
    assert log.pours == (FIRST, SECOND)
    assert [d.line for d in log.damaged] == [2]
    assert log.damaged[0].why


def test_half_of_a_character_is_damage(tmp_path):
    """JSON can name it, and the sheet could not be written with it."""
    path = tmp_path / "pours.jsonl"
    whole = b'{"schema": 1, "when": "2026-11-25T14:30+00:00", "figure": "hare", "note": "%s"}\n'
    path.write_bytes(whole % b"\\ud83d\\udc07" + whole % b"\\ud800")
    found = read_log(path)
    assert [p.note for p in found.pours] == ["\U0001f407"]
    assert [d.line for d in found.damaged] == [2]


def test_places_that_cannot_hold_a_log(tmp_path):
    with pytest.raises(OutputError):
        append_pour(tmp_path, FIRST)
    with pytest.raises(OutputError):
        append_pour(tmp_path / "nowhere" / "a.jsonl", FIRST)
    with pytest.raises(InputError, match="folder"):
        read_log(tmp_path)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Bubble((1.0, float("nan"), 0.0)),
        lambda: Bubble((1.0, 2.0)),
        lambda: Bubble((1.0, 2.0, 3.0), -1.0),
        lambda: Pour(when="yesterday", figure="a"),
        lambda: Pour(when="2026-11-25", figure=" "),
        lambda: Pour(when="2026-11-25", figure="a", temperature_c=500),
    ],
)
def test_bad_entries_are_refused(make):
    with pytest.raises(InputError):
        make()


def test_the_file_is_lines_of_json(tmp_path):
    path = tmp_path / "a.pours.jsonl"
    append_pour(path, FIRST)
    data = json.loads(path.read_text("ascii"))
    assert data["schema"] == 1
    assert data["bubbles"][0]["at_mm"] == [1.0, 2.0, -3.5]


PLACES = [
    Predicted("left", (0.0, 0.0, 10.0), "pocket 1"),
    Predicted("left", (50.0, 0.0, 0.0), "pocket 2"),
    Predicted("vented", (0.0, 0.0, 14.0), "vent 1"),
    Predicted("harmless", (0.0, 30.0, 0.0), "pocket 3"),
]


def test_predicted_against_found():
    result = compare([(0, 0, 11), (0.0, 0.5, 13.5), (0, 31, 0), (99, 0, 0)], PLACES, 3.0)
    names = [m.place.name if m.place else None for m in result.matches]
    assert names == ["pocket 1", "vent 1", "pocket 3", None]
    assert result.matches[0].distance_mm == 1.0
    assert [p.name for p in result.not_found] == ["pocket 2"]
    assert [result.count(k) for k in ("left", "vented", "harmless", None)] == [1, 1, 1, 1]
    assert "1 where the plan left air" in result.words
    assert "did not draw" in result.words


def test_the_distance_counts():
    assert compare([(0, 0, 7)], PLACES, 3.0).matches[0].place is PLACES[0]
    assert compare([(0, 0, 6.99)], PLACES, 3.0).matches[0].place is None
    assert compare([], PLACES).words == "No bubbles were found, though the plan left 2"
    with pytest.raises(InputError):
        compare([], PLACES, -1)
