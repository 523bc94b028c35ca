"""Meshes of animals and parts that Debian ships with a geometry library's demos."""

from __future__ import annotations

import subprocess
import tarfile
from pathlib import Path

CACHE = Path(__file__).parents[2] / ".cache" / "corpus"
PACKAGE = "libcgal-demo"
# Closed, in one piece, without faces that cross each other.
NAMES = (
    "bull", "cow", "elephant", "camel", "man", "dino", "triceratops", "elk", "cactus", "hand",
    "femur", "bear", "bear_bis", "diplodocus", "bunny00", "refined_elephant", "armadillo",
    "turbine", "rotor", "knot1", "cheese", "handle",
)


def meshes() -> Path:
    """Return the folder of meshes, downloaded once; needs Debian's apt-get and dpkg."""
    folder = CACHE / "data" / "meshes"
    if folder.is_dir():
        return folder
    CACHE.mkdir(parents=True, exist_ok=True)
    subprocess.run(["apt-get", "download", PACKAGE], cwd=CACHE, check=True)
    deb = next(CACHE.glob(f"{PACKAGE}_*.deb"))
    subprocess.run(["dpkg", "-x", str(deb), "unpacked"], cwd=CACHE, check=True)
    for packed in (CACHE / "unpacked").rglob("data.tar.gz"):
        with tarfile.open(packed) as tar:
            tar.extractall(CACHE, filter="data")
        break
    if not folder.is_dir():
        raise SystemExit(f"{PACKAGE} holds no meshes where they used to be: look in {CACHE}")
    return folder
