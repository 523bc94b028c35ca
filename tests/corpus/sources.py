"""Every mesh of the corpus: where it comes from and how it is read."""

from __future__ import annotations

import gzip
import hashlib
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from fetch import CACHE, PACKAGES, unpacked

from blend_demo.hare import hare
from blend_demo.heron import heron
from pourwright.example import snail
from pourwright.solid import Finding, TriMesh, read_models, tri_mesh
from pourwright.solid.read import MODEL_FORMATS
from pourwright.solid.seams import joined_parts

SIZE_MM = 60.0
# Read by Pourwright itself; by trimesh for it; shapes that this run makes; not at all.
OWN = MODEL_FORMATS
OTHERS = frozenset({".off", ".gltf", ".js", ".npz"})
UNREAD = frozenset({".3ds", ".dae", ".fbx", ".vtk", ".msh", ".ase", ".lwo", ".blend", ".mdl"})
FIGURES = {"heron": heron, "hare": hare, "snail": snail}
ASSEMBLIES = 24


class Unread(Exception):
    """A format or file that the run's other readers do not take."""


@dataclass(frozen=True)
class Source:
    """One mesh. path : its file, or None for a shape that is made here."""

    package: str
    name: str
    path: Path | None


def sources() -> tuple[list[Source], dict[str, str], dict[str, int]]:
    """Return all different meshes, what each package was, and how many were left out, and why."""
    found: list[Source] = []
    versions: dict[str, str] = {}
    out: dict[str, int] = {}
    seen: set[bytes] = set()
    for package in PACKAGES:
        folder = unpacked(package)
        versions[package.name] = (folder / "FROM").read_text().strip()
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            kind = format_of(path)
            if kind in UNREAD:
                out[f"format {kind}"] = out.get(f"format {kind}", 0) + 1
            if kind not in OWN | OTHERS or (kind == ".js" and package.name != "bunny"):
                continue
            if package.name == "pymeshfix" and "examples" not in path.parts:
                continue
            digest = hashlib.sha256(path.read_bytes()).digest()
            if digest in seen:
                out["same file again"] = out.get("same file again", 0) + 1
                continue
            seen.add(digest)
            found.append(Source(package.name, str(path.relative_to(folder)), path))
    blender = CACHE / "blender"
    if not (blender / "FROM").exists():
        script = Path(__file__).with_name("blender_shapes.py")
        subprocess.run([sys.executable, str(script), str(blender)], check=True)
    versions["Blender"] = (blender / "FROM").read_text().strip()
    found += [Source("Blender", p.stem, p) for p in sorted(blender.glob("*.npz"))]
    found += [Source("demo", name, None) for name in FIGURES]
    found += [Source("assembled", f"assembled_{i}", None) for i in range(ASSEMBLIES)]
    return found, versions, out


def format_of(path: Path) -> str:
    """The file's format, seen through gzip."""
    return Path(path.stem if path.suffix == ".gz" else path.name).suffix.lower()


def load(source: Source) -> tuple[list[TriMesh], list[Finding]]:
    """Read a mesh, `SIZE_MM` at its longest; the demo's figures as large as they are.

    Raises what Pourwright's reader raises, and Unread where another reader did not take the file.
    """
    if source.package == "demo":
        return [
            TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in FIGURES[source.name](0.5)
        ], []
    if source.package == "assembled":
        return scaled(_assembled(int(source.name.split("_")[1]))), []
    assert source.path is not None
    kind = format_of(source.path)
    if kind in OWN:
        meshes, findings = _own(source.path, kind)
    else:
        meshes, findings = joined_parts(list(_other(source.path, kind)), source.path.name), []
    return scaled(meshes), findings


def scaled(meshes: list[TriMesh]) -> list[TriMesh]:
    """The meshes together `SIZE_MM` at their longest; as they are where that cannot be told."""
    used = np.concatenate([m.vertices[np.unique(m.faces)] for m in meshes])
    with np.errstate(all="ignore"):
        size = float(np.ptp(used, axis=0).max())
        if not (np.isfinite(size) and size > 0):
            return meshes
        return [replace(m, vertices=m.vertices * (SIZE_MM / size)) for m in meshes]


def _own(path: Path, kind: str) -> tuple[list[TriMesh], list[Finding]]:
    if path.suffix != ".gz":
        return read_models([path])
    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / f"model{kind}"
        plain.write_bytes(gzip.decompress(path.read_bytes()))
        return read_models([plain])


def _other(path: Path, kind: str) -> Iterator[TriMesh]:
    if kind == ".npz":
        data = np.load(path)
        yield tri_mesh(data["vertices"], data["faces"].reshape(-1, 3), path.stem)
        return
    if kind == ".js":
        text = path.read_text()
        arrays = [
            re.search(rf"exports\.{key}=\[(\[.*?\])\]", text) for key in ("positions", "cells")
        ]
        rows = [
            np.array([r.split(",") for r in a[1].strip("[]").split("],[")], dtype=float)
            for a in arrays if a
        ]
        yield tri_mesh(rows[0], rows[1].astype(np.int64), path.stem)
        return
    import trimesh

    try:
        scene = trimesh.load_scene(path, process=False)
        parts = [g for g in scene.dump() if isinstance(g, trimesh.Trimesh) and len(g.faces)]
    except Exception as error:  # whatever that reader stumbles over
        raise Unread(f"{type(error).__name__}: {error}") from error
    if not parts:
        raise Unread("no triangles")
    for part in parts:
        yield tri_mesh(part.vertices, part.faces, path.name)


def _assembled(seed: int) -> list[TriMesh]:
    """Two to six closed meshes at random poses and sizes, some mirrored: how figures look."""
    rng = np.random.default_rng(1000 + seed)
    names = [
        "bull", "cow", "elephant", "camel", "dino", "triceratops", "elk", "cactus", "hand",
        "bear", "knot1", "cheese", "handle", "turbine", "rotor",
    ]  # fmt: skip
    folder = unpacked(PACKAGES[0]) / "data" / "meshes"
    meshes = []
    for name in rng.choice(names, rng.integers(2, 7)):
        (mesh,) = _other(folder / f"{name}.off", ".off")
        turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
        size = rng.uniform(0.5, 1.0) / np.ptp(mesh.vertices, axis=0).max()
        middle = mesh.bounds_mm.mean(axis=0)
        points = (mesh.vertices - middle) * size @ turn.T + rng.uniform(-0.3, 0.3, 3)
        mirrored = np.linalg.det(turn) < 0
        meshes.append(TriMesh(points, mesh.faces[:, ::-1] if mirrored else mesh.faces, str(name)))
    return meshes
