"""Which wheels may go into a zip: the lock, and what is refused. Needs no Blender."""

import hashlib
import importlib.util
import re

import pytest
from blenders import ROOT

_SPEC = importlib.util.spec_from_file_location("build_extension", ROOT / "addon" / "build.py")
build = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(build)


def _locked_names(platform: str, python: str) -> dict[str, list[str]]:
    """Return the locked wheels of each library that fit a platform and a Python."""
    tag = "cp" + python.replace(".", "")
    fits = re.compile(
        rf"-(py3-none-any|{tag}-{tag}-[\w.]*({'|'.join(build.WHEEL_TAGS[platform])})[\w.]*)\.whl$"
    )
    names = [name for name in build.locked() if fits.search(name)]
    return {
        library: [n for n in names if n.startswith(library.replace("==", "-") + "-")]
        for library in build.LIBRARIES
    }


@pytest.mark.parametrize("python", build.PYTHONS)
@pytest.mark.parametrize("platform", build.WHEEL_TAGS)
def test_the_lock_has_each_library_once(platform: str, python: str) -> None:
    found = _locked_names(platform, python)
    assert all(len(names) == 1 for names in found.values()), found


def test_the_lock_has_nothing_else() -> None:
    wanted = {
        name
        for platform in build.WHEEL_TAGS
        for python in build.PYTHONS
        for names in _locked_names(platform, python).values()
        for name in names
    }
    assert wanted == set(build.locked())
    assert not any(name.startswith("numpy") for name in wanted)  # Blender brings its own
    assert all(re.fullmatch("[0-9a-f]{64}", digest) for digest in build.locked().values())


def test_a_wheel_that_differs_is_refused(tmp_path) -> None:
    wheel = tmp_path / "thing-1.0-py3-none-any.whl"
    wheel.write_bytes(b"as it was")
    known = {wheel.name: hashlib.sha256(b"as it was").hexdigest()}
    build.verify([wheel], known)
    with pytest.raises(SystemExit, match=r"thing-1\.0-py3-none-any\.whl is not in wheels\.lock"):
        build.verify([wheel], {})
    wheel.write_bytes(b"as it is")
    with pytest.raises(SystemExit, match=r"not the file that wheels\.lock names"):
        build.verify([wheel], known)


def test_no_zip_is_staged_from_a_cache_that_was_touched(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(build, "CACHE", tmp_path / "wheels")
    monkeypatch.setattr(build, "LIBRARIES", ("thing==1.0",))
    monkeypatch.setattr(build, "locked", lambda: {"thing-1.0-py3-none-any.whl": "0" * 64})
    for python in build.PYTHONS:
        folder = tmp_path / "wheels" / f"linux-x64-{python}"
        folder.mkdir(parents=True)
        (folder / "thing-1.0-py3-none-any.whl").write_bytes(b"something else")
    with pytest.raises(SystemExit, match="not the file"):
        build._stage(tmp_path / "stage", "linux-x64")
    assert not list((tmp_path / "stage").glob("wheels/thing*"))


def test_what_a_cut_download_left_is_fetched_again(tmp_path, monkeypatch) -> None:
    fetched = []
    monkeypatch.setattr(build, "CACHE", tmp_path / "wheels")
    monkeypatch.setattr(build, "_download", lambda folder, *_: fetched.append(folder))
    (tmp_path / "wheels" / "linux-x64-3.11").mkdir(parents=True)
    build.library_wheels("linux-x64")
    assert [folder.name for folder in fetched] == ["linux-x64-3.11", "linux-x64-3.13"]
