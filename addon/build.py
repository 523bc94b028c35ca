"""Build the Blender extension: `python addon/build.py [--out dist] [--platform linux-x64 | --all]`.

The zip carries the core and the libraries that Blender lacks as wheels for Python 3.11 and 3.13;
Blender installs those that fit. A library's wheel that is not the one in wheels.lock is refused.
Blender's own packaging tool checks and packs the zip, so this runs with a Python that has bpy.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import importlib.util
import platform
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path

ADDON = Path(__file__).resolve().parent
ROOT = ADDON.parent
CACHE = ROOT / ".cache" / "wheels"
LOCK = ADDON / "wheels.lock"

LIBRARIES = (
    "scipy==1.15.3", "manifold3d==3.5.4", "trimesh==5.2.0", "jinja2==3.1.6", "markupsafe==3.0.4",
)  # fmt: skip
PYTHONS = ("3.11", "3.13")  # Blender 4.2 to 5.0, and from 5.1 and Linux distributions
# Newest tags first; pip takes the newest that a library offers.
WHEEL_TAGS = {
    "linux-x64": ("manylinux_2_28_x86_64", "manylinux_2_27_x86_64", "manylinux2014_x86_64"),
    "windows-x64": ("win_amd64",),
    "macos-arm64": ("macosx_12_0_arm64", "macosx_11_0_arm64"),  # scipy's for 14 need 14
    "macos-x64": ("macosx_10_14_x86_64", "macosx_10_13_x86_64", "macosx_10_9_x86_64"),
}
# Not part of the extension itself.
LEFT_OUT = {
    "build.py", "draw_bases.py", "ruff.toml", "wheels.lock", "__pycache__", ".ruff_cache",
}  # fmt: skip
ZIP_TIME = (2020, 1, 1, 0, 0, 0)  # the same source gives the same wheel


def main(arguments: Sequence[str] | None = None) -> int:
    """Build one zip per platform and print their paths and sizes."""
    parser = argparse.ArgumentParser(description="Build the Blender extension")
    parser.add_argument("--out", type=Path, default=ROOT / "dist", help="folder for the zips")
    parser.add_argument(
        "--platform",
        action="append",
        choices=sorted(WHEEL_TAGS),
        help="platform to build for, may be given more than once (default: this one)",
    )
    parser.add_argument("--all", action="store_true", help="build for all platforms")
    parser.add_argument(
        "--lock", action="store_true",
        help="fetch the wheels of all platforms anew, write wheels.lock and build nothing",
    )  # fmt: skip
    options = parser.parse_args(arguments)
    if options.lock:
        LOCK.write_text(lock_text(), encoding="utf-8")
        print(LOCK)  # noqa: T201
        return 0
    chosen = list(WHEEL_TAGS) if options.all else options.platform or [this_platform()]
    for path in build(options.out, chosen):
        print(f"{path}  {path.stat().st_size / 1e6:.1f} MB")  # noqa: T201
    return 0


def this_platform() -> str:
    """Return Blender's name of the platform this runs on."""
    system = {"Linux": "linux", "Windows": "windows", "Darwin": "macos"}[platform.system()]
    machine = "arm64" if platform.machine().lower() in {"arm64", "aarch64"} else "x64"
    name = f"{system}-{machine}"
    if name not in WHEEL_TAGS:
        raise SystemExit(f"There are no wheels for {name}; choose a --platform")
    return name


def build(out: Path, platforms: Sequence[str]) -> list[Path]:
    """Build, check and return the zips in `out`, one per platform."""
    tool = blender_tool()
    out.mkdir(parents=True, exist_ok=True)
    zips = []
    for name in platforms:
        with tempfile.TemporaryDirectory(prefix="pourwright-build-") as temp:
            stage, packed = Path(temp) / "pourwright", Path(temp) / "packed"
            packed.mkdir()
            _stage(stage, name)
            _run(tool, "validate", stage)
            _run(tool, "build", "--source-dir", stage, "--output-dir", packed, "--split-platforms")
            (made,) = packed.glob("*.zip")
            _run(tool, "validate", made)
            zips.append(Path(shutil.move(made, out / made.name)))
    return zips


def blender_tool() -> Path:
    """Return Blender's packaging program, which the bpy module carries."""
    spec = importlib.util.find_spec("bpy")
    if spec is None or spec.origin is None:
        raise SystemExit("Blender's packaging tool is missing: run this with a Python that has bpy")
    for path in sorted(Path(spec.origin).parent.rglob("bl_pkg/cli/blender_ext.py")):
        return path
    raise SystemExit("This bpy has no packaging tool; install bpy 4.2 or later")


def _run(tool: Path, *arguments: object) -> None:
    done = subprocess.run(
        [sys.executable, str(tool), *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        said = (done.stdout + done.stderr).strip()
        raise SystemExit(f"blender_ext {arguments[0]} failed:\n{said}")


def _stage(stage: Path, platform_name: str) -> None:
    """Put source, wheels and the completed manifest into a new folder."""
    shutil.copytree(ADDON, stage, ignore=shutil.ignore_patterns(*LEFT_OUT))
    for licence in ROOT.glob("LICENSE*"):
        shutil.copy2(licence, stage)
    wheels = stage / "wheels"
    wheels.mkdir()
    core_wheel(wheels)
    for wheel in library_wheels(platform_name):
        shutil.copy2(wheel, wheels)
    manifest = stage / "blender_manifest.toml"
    names = sorted(path.name for path in wheels.glob("*.whl"))
    lines = [
        f'platforms = ["{platform_name}"]',
        "wheels = [",
        *(f'    "./wheels/{name}",' for name in names),
        "]",
        "",
    ]
    # Top-level keys have to stand before the first table.
    head, table, tail = manifest.read_text(encoding="utf-8").partition("[permissions]")
    manifest.write_text(head + "\n".join(lines) + "\n" + table + tail, encoding="utf-8")


def library_wheels(platform_name: str) -> list[Path]:
    """Return the pinned libraries' wheels, from the cache or else by pip."""
    CACHE.mkdir(parents=True, exist_ok=True)
    found: dict[str, Path] = {}
    for python in PYTHONS:
        folder = CACHE / f"{platform_name}-{python}"
        there = {path.name for path in folder.glob("*.whl")}
        # What was cut short, or other versions that an older checkout left.
        if len(there) != len(LIBRARIES) or there - locked().keys():
            _download(folder, platform_name, python)
        found |= {path.name: path for path in folder.glob("*.whl")}
    wheels = [found[name] for name in sorted(found)]
    verify(wheels, locked())
    return wheels


def locked() -> dict[str, str]:
    """Return the SHA-256 of each wheel that may go into a zip, by file name."""
    rows = [line.split() for line in LOCK.read_text(encoding="utf-8").splitlines()]
    return {row[1]: row[0] for row in rows if row and row[0] != "#"}


def verify(wheels: Sequence[Path], known: Mapping[str, str]) -> None:
    """Refuse a wheel that is not in the lock, or not the file that was locked."""
    for wheel in wheels:
        digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
        if wheel.name not in known:
            raise SystemExit(
                f"{wheel.name} is not in {LOCK.name}; if a library was changed on purpose, "
                "run addon/build.py --lock and look at the difference"
            )
        if digest != known[wheel.name]:
            raise SystemExit(
                f"{wheel} is not the file that {LOCK.name} names: its SHA-256 is {digest}, "
                f"not {known[wheel.name]}; delete it and build again"
            )


def lock_text() -> str:
    """Return the lock for the wheels as the package index has them now.

    pip holds each download against the index's own hash.
    """
    found: dict[str, str] = {}
    for name in WHEEL_TAGS:
        for python in PYTHONS:
            with tempfile.TemporaryDirectory() as temp:
                _download(Path(temp) / "wheels", name, python)
                for path in (Path(temp) / "wheels").glob("*.whl"):
                    found[path.name] = hashlib.sha256(path.read_bytes()).hexdigest()
    head = "# SHA-256 and name of every wheel in the zips; written by addon/build.py --lock"
    return "\n".join([head, *(f"{found[name]}  {name}" for name in sorted(found)), ""])


def _download(folder: Path, platform_name: str, python: str) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    with tempfile.TemporaryDirectory() as temp:
        tags = [option for tag in WHEEL_TAGS[platform_name] for option in ("--platform", tag)]
        subprocess.run(
            [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps",
             "--only-binary", ":all:", "--implementation", "cp", "--python-version", python,
             *tags, "--dest", temp, *LIBRARIES],
            check=True,
        )
        shutil.copytree(temp, folder)


def core_wheel(folder: Path) -> Path:
    """Write the core as a pure wheel (binary distribution format 1.0); return its path."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    name, version = project["name"], project["version"]
    source = ROOT / "core"
    files = {
        path.relative_to(source).as_posix(): path.read_bytes()
        for path in sorted((source / name).rglob("*"))
        if path.is_file() and "__pycache__" not in path.parts
    }
    info = f"{name}-{version}.dist-info"
    files[f"{info}/METADATA"] = (
        f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n"
        f"Summary: {project['description']}\nRequires-Python: {project['requires-python']}\n"
    ).encode()
    files[f"{info}/WHEEL"] = (
        b"Wheel-Version: 1.0\nGenerator: pourwright-build\n"
        b"Root-Is-Purelib: true\nTag: py3-none-any\n"
    )
    record = [f"{path},{_digest(data)},{len(data)}" for path, data in files.items()]
    files[f"{info}/RECORD"] = "\n".join([*record, f"{info}/RECORD,,", ""]).encode()
    wheel = folder / f"{name}-{version}-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w", zipfile.ZIP_DEFLATED) as packed:
        for path, data in files.items():
            entry = zipfile.ZipInfo(path, ZIP_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            packed.writestr(entry, data)
    return wheel


def _digest(data: bytes) -> str:
    return "sha256=" + base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()


if __name__ == "__main__":
    sys.exit(main())
