"""Writing a set of files so that none is ever half written and none is replaced unasked.

Every file is written in full beside its target, in a hidden folder, and only then moved into
place, which the file system does in one step. When anything goes wrong on the way, what was
there before is put back. A killed process leaves whole files, old or new, and at worst the
hidden folder.
"""

from __future__ import annotations

import contextlib
import errno
import functools
import os
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

from pourwright.errors import OutputError

Writer = Callable[[BinaryIO], None]
"""Writes the whole of one file to an open binary stream."""

STAGE_PREFIX = ".pourwright-unfinished-"


def check_targets(targets: Iterable[Path], force: bool) -> None:
    """Raise OutputError unless every target could be written now; changes nothing.

    Folders that do not exist yet are fine where they could be made. A target that exists is
    refused without `force` unless it is an empty file, and always if it is no plain file. To
    know whether a folder can be written to, one is made in it and removed at once, for access
    rights alone do not tell (read-only disks, the superuser).
    """
    paths = list(targets)
    _refuse_existing(paths, force)
    for folder in sorted({_existing_ancestor(p.parent) for p in paths}):
        with _output_errors(f"Cannot write in the folder {folder}"):
            Path(tempfile.mkdtemp(prefix=STAGE_PREFIX, dir=folder)).rmdir()


def write_files(contents: Mapping[Path, Writer | bytes], *, force: bool) -> list[Path]:
    """Write all of the files or none, and return their paths in the order given.

    Missing folders are made. Raises OutputError, one line, when a target exists (see
    `check_targets`) or cannot be written; then and when a writer raises, nothing of the set is
    left, replaced files are back, and folders made on the way are gone.
    """
    paths = list(contents)
    _refuse_existing(paths, force)
    with contextlib.ExitStack() as undo_folders:
        made = _make_folders({p.parent for p in paths}, undo_folders)
        with contextlib.ExitStack() as cleanup:
            staged = _stage_all(contents, cleanup)
            with contextlib.ExitStack() as undo_moves:
                for target, stage in staged.items():
                    with _output_errors(f"Cannot write {target}"):
                        _move_into_place(stage, target, force, undo_moves)
                for folder in {p.parent for p in paths} | {f.parent for f in made}:
                    _sync_folder(folder)
                undo_moves.pop_all()
        undo_folders.pop_all()
    return paths


@contextlib.contextmanager
def _output_errors(what: str) -> Iterator[None]:
    """Turn an operating system's refusal into one line that says what could not be done."""
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error) or type(error).__name__
        raise OutputError(f"{what}: {reason}", hint="free space or choose another place") from error


def _refuse_existing(paths: list[Path], force: bool) -> None:
    """Raise OutputError that names all targets which must not be replaced."""
    not_plain, taken = [], []
    for path in paths:
        _existing_ancestor(path.parent)
        try:
            status = path.lstat()
        except FileNotFoundError:
            continue
        except OSError as error:
            raise OutputError(f"Cannot write {path}: {error.strerror}") from error
        if not stat.S_ISREG(status.st_mode):
            not_plain.append(path)
        elif status.st_size > 0 and not force:
            taken.append(path)
    if not_plain:
        raise OutputError(
            "Not a plain file, so it cannot be replaced: " + ", ".join(map(str, not_plain)),
            hint="choose another name",
        )
    if taken:
        raise OutputError(
            "Already there: " + ", ".join(map(str, taken)),
            hint="choose another place, or allow it to be replaced with --force",
        )


def _existing_ancestor(folder: Path) -> Path:
    """Return the nearest folder above that exists; OutputError if a file is in the way."""
    for candidate in (folder, *folder.parents):
        try:
            mode = candidate.stat().st_mode
        except FileNotFoundError:
            if candidate.is_symlink():
                raise OutputError(f"{candidate} is a broken link, not a folder") from None
            continue
        except NotADirectoryError:
            continue
        except OSError as error:
            raise OutputError(f"Cannot reach {candidate}: {error.strerror}") from error
        if not stat.S_ISDIR(mode):
            raise OutputError(f"{candidate} is a file, not a folder", hint="choose another folder")
        return candidate
    raise OutputError(f"There is no folder above {folder}", hint="choose another folder")


def _make_folders(folders: set[Path], undo: contextlib.ExitStack) -> list[Path]:
    """Make missing folders, outermost first; those made here go again when `undo` unwinds."""
    made = []
    for folder in sorted(folders):
        for candidate in (*reversed(folder.parents), folder):
            with _output_errors(f"Cannot make the folder {candidate}"):
                try:
                    candidate.mkdir()
                except FileExistsError:
                    continue
                except OSError:
                    if candidate.is_dir():  # a read-only place that is there already
                        continue
                    raise
            made.append(candidate)
            undo.callback(_quietly, candidate.rmdir)
    return made


def _stage_all(
    contents: Mapping[Path, Writer | bytes], cleanup: contextlib.ExitStack
) -> dict[Path, Path]:
    """Write every file in full into a hidden folder beside its target, down to the disk."""
    stages: dict[Path, Path] = {}
    staged = {}
    for number, (target, content) in enumerate(contents.items()):
        with _output_errors(f"Cannot write {target}"):
            folder = target.parent
            if folder not in stages:
                stages[folder] = Path(tempfile.mkdtemp(prefix=STAGE_PREFIX, dir=folder))
                cleanup.callback(shutil.rmtree, stages[folder], ignore_errors=True)
            staged[target] = stages[folder] / f"{number}-new"
            with staged[target].open("xb") as stream:
                if callable(content):
                    content(stream)
                else:
                    stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
    return staged


def _move_into_place(stage: Path, target: Path, force: bool, undo: contextlib.ExitStack) -> None:
    """Move one finished file to its target in one step, and note how to take it back."""
    old = stage.with_name(stage.name.replace("-new", "-old"))
    try:
        _keep_copy(target, old)
    except FileNotFoundError:
        undo.callback(_quietly, functools.partial(_remove_own, target, stage.stat()))
        if not force:
            _move_to_free_name(stage, target)
            return
    else:
        if not force and old.stat().st_size > 0:
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST))
        undo.callback(_quietly, functools.partial(old.replace, target))
    stage.replace(target)


def _move_to_free_name(stage: Path, target: Path) -> None:
    """Move `stage` unless someone else has made the target in the meantime."""
    try:
        os.link(stage, target)  # unlike a move, it fails if the target exists
    except FileExistsError:
        raise
    except (OSError, NotImplementedError):  # a file system, or a system, without hard links
        stage.replace(target)


def _remove_own(target: Path, written: os.stat_result) -> None:
    """Remove the target if it is the file that was written, not someone else's."""
    if os.path.samestat(target.lstat(), written):
        target.unlink()


def _keep_copy(target: Path, old: Path) -> None:
    """Keep what is at `target` under a second name, by a link where that can be done."""
    try:
        os.link(target, old, follow_symlinks=False)
    except FileNotFoundError:
        raise
    except (OSError, NotImplementedError):
        shutil.copy2(target, old)


def _quietly(action: Callable[[], object]) -> None:
    with contextlib.suppress(OSError):
        action()


def _sync_folder(folder: Path) -> None:
    """Bring a folder's new names to the disk, where the system can do that."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
