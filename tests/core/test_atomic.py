from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from pourwright.errors import OutputError
from pourwright.files import atomic
from pourwright.files.atomic import STAGE_PREFIX, check_targets, write_files

NAMES = ("one.bin", "two.bin", "three.bin")
CORE = Path(atomic.__file__).parents[2]


def contents(folder: Path, mark: bytes = b"new") -> dict[Path, bytes]:
    return {folder / name: mark + name.encode() for name in NAMES}


def listing(folder: Path) -> dict[str, bytes | None]:
    return {
        str(p.relative_to(folder)): p.read_bytes() if p.is_file() else None
        for p in sorted(folder.rglob("*"))
    }


def test_writes_bytes_and_writers(tmp_path):
    wanted = {tmp_path / "a": b"bytes", tmp_path / "b": lambda stream: stream.write(b"written")}
    assert write_files(wanted, force=False) == list(wanted)
    assert listing(tmp_path) == {"a": b"bytes", "b": b"written"}


def test_files_are_readable_as_any_new_file(tmp_path):
    (tmp_path / "plain").write_bytes(b"")
    write_files({tmp_path / "a": b"bytes"}, force=False)
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_makes_folders(tmp_path):
    write_files({tmp_path / "x" / "y" / "a": b"1", tmp_path / "z" / "b": b"2"}, force=False)
    assert listing(tmp_path) == {
        "x": None, "x/y": None, "x/y/a": b"1", "z": None, "z/b": b"2"
    }  # fmt: skip


def test_relative_paths(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_files({Path("a"): b"1", Path("sub/b"): b"2"}, force=False)
    assert listing(tmp_path) == {"a": b"1", "sub": None, "sub/b": b"2"}


def test_existing_files_are_all_named(tmp_path):
    (tmp_path / "one.bin").write_bytes(b"mine")
    (tmp_path / "three.bin").write_bytes(b"mine")
    before = listing(tmp_path)
    for refuse in (
        lambda: write_files(contents(tmp_path), force=False),
        lambda: check_targets(contents(tmp_path), force=False),
    ):
        with pytest.raises(OutputError) as caught:
            refuse()
        message = str(caught.value)
        assert "\n" not in message
        assert [name in message for name in NAMES] == [True, False, True]
        assert "--force" in message
        assert listing(tmp_path) == before


def test_force_replaces(tmp_path):
    for path in contents(tmp_path):
        path.write_bytes(b"mine")
    check_targets(contents(tmp_path), force=True)
    write_files(contents(tmp_path), force=True)
    assert listing(tmp_path) == {p.name: data for p, data in sorted(contents(tmp_path).items())}


def test_empty_file_may_be_replaced(tmp_path):
    (tmp_path / "one.bin").touch()
    check_targets(contents(tmp_path), force=False)
    write_files(contents(tmp_path), force=False)
    assert (tmp_path / "one.bin").read_bytes() == b"newone.bin"


def make_folder(path: Path) -> None:
    path.mkdir()


def make_link(path: Path) -> None:
    path.symlink_to(path.parent / "elsewhere")


def make_pipe(path: Path) -> None:
    os.mkfifo(path)


@pytest.mark.parametrize("make", [make_folder, make_link, make_pipe])
@pytest.mark.parametrize("force", [False, True])
def test_what_is_no_plain_file_is_never_replaced(tmp_path, make, force):
    make(tmp_path / "two.bin")
    for refuse in (write_files, check_targets):
        with pytest.raises(OutputError, match="Not a plain file"):
            refuse(contents(tmp_path), force=force)
    assert [p.name for p in tmp_path.iterdir()] == ["two.bin"]


@pytest.mark.parametrize("force", [False, True])
def test_folder_that_is_a_file(tmp_path, force):
    (tmp_path / "file").write_bytes(b"mine")
    for folder in (tmp_path / "file", tmp_path / "file" / "sub" / "sub"):
        for refuse in (write_files, check_targets):
            with pytest.raises(OutputError, match="is a file, not a folder"):
                refuse(contents(folder), force=force)
    assert listing(tmp_path) == {"file": b"mine"}


def test_broken_link_as_folder(tmp_path):
    (tmp_path / "gone").symlink_to(tmp_path / "nowhere")
    for refuse in (write_files, check_targets):
        with pytest.raises(OutputError, match="broken link"):
            refuse(contents(tmp_path / "gone"), force=False)


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs /proc")
@pytest.mark.parametrize("folder", [Path("/proc"), Path("/proc/self/new"), Path("/proc/new")])
def test_folder_that_cannot_be_written(folder):
    """Even the superuser cannot write there."""
    for refuse in (write_files, check_targets):
        with pytest.raises(OutputError, match="Cannot"):
            refuse(contents(folder), force=True)


def test_name_too_long(tmp_path):
    for refuse in (write_files, check_targets):
        with pytest.raises(OutputError, match="Cannot"):
            refuse({tmp_path / ("n" * 300): b""}, force=False)
        with pytest.raises(OutputError, match="Cannot"):
            refuse({tmp_path / ("n" * 300) / "file": b""}, force=False)
    assert listing(tmp_path) == {}


def test_check_changes_nothing(tmp_path):
    check_targets(contents(tmp_path / "new" / "out"), force=False)
    assert listing(tmp_path) == {}


def full_disk(*arguments, **options):
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("force", [False, True])
def test_full_disk_while_writing(tmp_path, force):
    if force:
        for path in contents(tmp_path):
            path.write_bytes(b"mine")
    before = listing(tmp_path)
    wanted = {**contents(tmp_path), tmp_path / "new" / "four.bin": full_disk}
    with pytest.raises(OutputError, match=r"four\.bin: No space left on device"):
        write_files(wanted, force=force)
    assert listing(tmp_path) == before


@pytest.mark.parametrize("function", ["fsync", "replace", "link", "mkdir"])
@pytest.mark.parametrize("fails_at", range(8))
@pytest.mark.parametrize("occupied", [(), ("one.bin",), ("two.bin", "three.bin"), NAMES])
@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left"), KeyboardInterrupt()])
def test_failure_at_any_step_puts_everything_back(
    tmp_path, monkeypatch, function, fails_at, occupied, error
):
    """Also a stop by the user in between; a failing link alone is no reason to fail."""
    target = tmp_path / "out"
    if occupied:
        target.mkdir()
    for name in occupied:
        (target / name).write_bytes(b"mine")
    before = listing(tmp_path)
    real, calls = getattr(os, function), 0

    def failing(*arguments, **options):
        nonlocal calls
        calls += 1
        if calls == fails_at + 1:
            raise error
        return real(*arguments, **options)

    with monkeypatch.context() as patch:
        patch.setattr(os, function, failing)
        try:
            write_files(contents(target), force=bool(occupied))
        except (OutputError, KeyboardInterrupt):
            assert listing(tmp_path) == before
            return
    after = {f"out/{p.name}": data for p, data in contents(target).items()}
    assert listing(tmp_path) == {"out": None, **after}


def test_the_steps_above_do_fail(tmp_path, monkeypatch):
    """Guards the test before: it patches functions that are really used."""
    for function in ("fsync", "replace", "link", "mkdir"):
        folder = tmp_path / function
        monkeypatch.undo()
        called = []
        real = getattr(os, function)
        monkeypatch.setattr(
            os,
            function,
            lambda *a, called=called, real=real, **k: called.append(1) or real(*a, **k),
        )
        write_files(contents(folder), force=False)
        write_files(contents(folder, b"again"), force=True)
        assert called


def test_error_of_a_writer_passes_through(tmp_path):
    def broken(stream):
        stream.write(b"half")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_files({**contents(tmp_path / "out"), tmp_path / "out" / "z": broken}, force=False)
    assert listing(tmp_path) == {}


def test_file_made_by_someone_else_in_the_meantime_is_kept(tmp_path):
    def meanwhile(stream):
        stream.write(b"new")
        (tmp_path / "two.bin").write_bytes(b"theirs")

    with pytest.raises(OutputError, match=r"two\.bin: File exists"):
        write_files({**contents(tmp_path), tmp_path / "four.bin": meanwhile}, force=False)
    assert listing(tmp_path) == {"two.bin": b"theirs"}


def test_file_made_by_someone_else_at_the_last_moment_is_kept(tmp_path, monkeypatch):
    """Between the last look and the move into place."""
    look = atomic._keep_copy

    def late(target, old):
        try:
            look(target, old)
        finally:
            if target.name == "two.bin":
                target.write_bytes(b"theirs")

    monkeypatch.setattr(atomic, "_keep_copy", late)
    with pytest.raises(OutputError, match=r"two\.bin: File exists"):
        write_files(contents(tmp_path), force=False)
    assert listing(tmp_path) == {"two.bin": b"theirs"}


def test_file_system_without_links(tmp_path, monkeypatch):
    def no_links(*arguments, **options):
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    write_files(contents(tmp_path), force=False)
    write_files(contents(tmp_path, b"again"), force=True)
    assert listing(tmp_path) == {
        p.name: d for p, d in sorted(contents(tmp_path, b"again").items())
    }  # fmt: skip


ENDLESS_WRITER = """
import sys
from pathlib import Path
from pourwright.files.atomic import write_files

folder = Path(sys.argv[1])
generation = 0
while True:
    generation += 1
    mark = bytes([generation % 251])
    write_files(
        {folder / name: lambda s: [s.write(mark * 50_000) for _ in range(8)] for name in "abc"},
        force=True,
    )
    print(generation, flush=True)
"""


def test_killed_writer_leaves_only_whole_files(tmp_path):
    """Killed at random times, no target is ever half written."""
    random = np.random.default_rng(7)
    seen = 0
    for round_number in range(12):
        folder = tmp_path / str(round_number)
        writer = subprocess.Popen(
            [sys.executable, "-c", ENDLESS_WRITER, str(folder)],
            env={**os.environ, "PYTHONPATH": str(CORE)}, stdout=subprocess.PIPE,
        )  # fmt: skip
        assert writer.stdout is not None
        if round_number % 3:
            writer.stdout.readline()  # the first set is there
        time.sleep(float(random.uniform(0.0, 0.06)))
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        targets = [p for p in folder.glob("[abc]") if p.is_file()]
        if round_number % 3:
            assert len(targets) == 3
        for path in targets:
            data = path.read_bytes()
            assert len(data) == 400_000
            assert len(set(data)) == 1
            seen += 1
        others = [p.name for p in folder.glob("*") if p not in targets] if folder.exists() else []
        assert all(name.startswith(STAGE_PREFIX) for name in others)
        if folder.exists():  # and the next run works
            write_files({folder / name: b"ok" for name in "abc"}, force=True)
    assert seen >= 24
