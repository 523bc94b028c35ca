"""Model files in, meshes in millimetres out: 3MF by a reader of our own, others by trimesh's."""

from __future__ import annotations

import io
import logging
import re
import warnings
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from pourwright.errors import InputError, MeshError
from pourwright.solid.gltf import check_glb
from pourwright.solid.mesh import Floats, TriMesh, tri_mesh
from pourwright.solid.read_threemf import read_threemf
from pourwright.solid.seams import joined_parts
from pourwright.solid.solid import Finding
from pourwright.solid.text_models import check_obj, check_ply

MM_PER_UNIT = {"micron": 0.001, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}

MODEL_FORMATS = frozenset({".stl", ".obj", ".ply", ".3mf", ".glb"})
# Steps of float32 above this share of the diagonal are told: 0.002 mm on a figure of 100 mm.
_COARSE = 2e-5
# Name of the vertex property that says how much a place is to be left alone.
PROTECT = "protect"


def read_models(
    paths: Sequence[Path], unit: str | None = None
) -> tuple[list[TriMesh], list[Finding]]:
    """Read model files as meshes in mm, with findings on their units.

    Parts of a file that are open by themselves are one mesh: so comes a surface that changes its
    material. A PLY file's vertex property `protect` (0 to 1, or a byte from 0 to 255) is read as
    weights.

    unit : one of `MM_PER_UNIT` for every file, or None: 3MF and GLB say their own unit, and files
    that cannot (STL, OBJ, PLY) are taken as millimetres, which the findings say.

    Raises InputError for files that are missing, of another format, empty or damaged, and
    MeshError for models without triangles, with coordinates that are not finite, or with protect
    weights out of range.
    """
    if unit is not None and unit not in MM_PER_UNIT:
        raise InputError(
            f"There is no unit '{unit}'", hint="choose one of " + ", ".join(MM_PER_UNIT)
        )
    meshes: list[TriMesh] = []
    findings: list[Finding] = []
    for path in paths:
        check_model_path(path)
        found, stated, notes = _load(path)
        used, note = _choose_unit(path, stated, unit)
        findings += [note, *notes]
        scale = MM_PER_UNIT[used]
        parts = joined_parts(found, path.name)
        findings += [note for m in parts for note in _coarse(m, scale)]
        meshes += [replace(m, vertices=m.vertices * scale) for m in parts]
    return meshes, findings


def check_model_path(path: Path) -> None:
    """Raise InputError unless `path` is a file of a format that can be read."""
    if path.is_dir():
        raise InputError(f"{path} is a folder", hint="give a model file")
    if not path.exists():
        raise InputError(f"There is no file {path}", hint="check the name")
    if path.suffix.lower() not in MODEL_FORMATS:
        raise InputError(
            f"{path} is of no format that can be read", hint="give STL, OBJ, PLY, 3MF or GLB"
        )


def _load(path: Path) -> tuple[list[TriMesh], str | None, list[Finding]]:
    """The meshes in the file's unit, the unit if it says one, and what was noticed."""
    kind = path.suffix.lower()[1:]
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            f"{path} cannot be read: {error.strerror}", hint="check its rights"
        ) from error
    if not data:
        raise InputError(f"{path} is empty", hint="export the model again")
    if kind == "stl":
        _check_stl(path, data)
    if kind == "3mf":
        return read_threemf(path, data)
    if kind == "glb":
        check_glb(path, data)
    if kind == "ply":
        check_ply(path, data)
    if kind == "obj":
        check_obj(path, data)
    return _load_with_trimesh(path, kind, data), "m" if kind == "glb" else None, []


def _load_with_trimesh(path: Path, kind: str, data: bytes) -> list[TriMesh]:
    import trimesh

    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    # Texture seams would split a PLY's vertices and part them from their weights.
    ply: dict[str, Any] = {"fix_texture": False, "skip_materials": True}
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            # numpy stops at a number that is none, keeps what came before, and only warns.
            warnings.filterwarnings("error", "string or file could not be read")
            scene = trimesh.load_scene(
                io.BytesIO(data), file_type=kind, process=False, maintain_order=True,
                **(ply if kind == "ply" else {}),
            )  # fmt: skip
            parts = [g for g in scene.dump() if isinstance(g, trimesh.Trimesh)]
    except MemoryError:
        raise
    except Exception as error:  # readers raise whatever their parser stumbles over
        raise InputError(
            f"{path} cannot be read as {kind.upper()}: {type(error).__name__} {error}".strip(),
            hint="export the model again",
        ) from error
    # glTF 2.0, section 3.4: metres, +Y up; here +Z is up.
    turn = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]) if kind == "glb" else np.eye(3)
    many = len(parts) > 1
    meshes = []
    for number, part in enumerate(parts, start=1):
        label = part.metadata.get("name") if many else None
        name = f"{path.name}:{label or number}" if many else path.name
        if len(part.faces):
            weights = _ply_weights(part, path) if kind == "ply" else None
            mesh = tri_mesh(part.vertices, part.faces, name, weights)
            meshes.append(replace(mesh, vertices=mesh.vertices @ turn.T))
    if not meshes:
        raise MeshError(f"{path} has no triangles", hint="export the model again", kind="empty")
    return meshes


def _ply_weights(part: Any, path: Path) -> Floats | None:
    """Protect weights of a PLY as trimesh read it; None for a file without the property."""
    raw = part.metadata.get("_ply_raw", {}).get("vertex", {})
    kind = raw.get("properties", {}).get(PROTECT)
    if kind is None:
        return None
    if "," in kind:  # how trimesh writes a list down
        raise MeshError(
            f"{path}: the property '{PROTECT}' is a list",
            hint="give every vertex one number from 0 to 1",
            kind="protect",
        )
    try:
        weights = np.asarray(raw["data"][PROTECT], dtype=np.float64).reshape(-1)
    except (KeyError, TypeError, ValueError) as error:  # lines shorter than the header says
        raise MeshError(
            f"{path}: the property '{PROTECT}' cannot be read",
            hint="export the model again",
            kind="protect",
        ) from error
    return weights / 255.0 if np.dtype(kind) == np.uint8 else weights


def _check_stl(path: Path, data: bytes) -> None:
    """Tell text from binary by length, as the format gives no other sure sign."""
    if len(data) >= 84:
        count = int.from_bytes(data[80:84], "little")
        if len(data) == 84 + 50 * count:
            if count == 0:
                raise MeshError(f"{path} has no triangles", hint="export it again", kind="empty")
            return
    head = data[:512].lstrip().lower()
    if head.startswith(b"solid") and b"facet" in data[:4096].lower():
        if b"endsolid" not in data[-512:].lower():
            raise InputError(f"{path} is cut short", hint="export the model again")
        _check_facets(path, data.lower())
        return
    if len(data) >= 84 and b"\0" in data[:4096]:
        raise InputError(
            f"{path} is cut short or no STL: {len(data)} bytes, where its header promises "
            f"{84 + 50 * int.from_bytes(data[80:84], 'little')}",
            hint="export the model again",
        )
    raise InputError(f"{path} is no STL file", hint="export the model again")


def _check_facets(path: Path, text: bytes) -> None:
    """Raise InputError for a text STL whose facets do not all begin, end and have three corners."""
    text = re.sub(rb"(?m)^[ \t]*(end)?solid[^\n]*", b"", text)
    end = text.count(b"endfacet")
    begin, corners = text.count(b"facet") - end, text.count(b"vertex")
    if begin != end or corners != 3 * end:
        raise InputError(
            f"{path} is damaged: {begin} facets begin, {end} end, and {corners} corners are there",
            hint="export the model again",
        )


def _coarse(mesh: TriMesh, scale: float) -> list[Finding]:
    """Tell of a mesh in float32 that lies so far out that its numbers are coarse there."""
    far = float(np.abs(mesh.vertices[mesh.faces[:, 0]]).max())
    step = float(np.spacing(np.float32(far)))
    if step <= _COARSE * mesh.diagonal_mm or not np.isfinite(mesh.diagonal_mm):
        return []
    if not (mesh.vertices == mesh.vertices.astype(np.float32)).all():
        return []
    return [
        Finding(
            "coarse_numbers",
            f"'{mesh.name}' lies {far * scale:.3g} mm from the origin, where the file's numbers "
            f"are {step * scale:.2g} mm apart: move it to the origin and export it again",
        )
    ]


def _choose_unit(path: Path, stated: str | None, asked: str | None) -> tuple[str, Finding]:
    if asked is not None:
        other = f", though the file says {stated}" if stated and stated != asked else ""
        return asked, Finding("unit_given", f"{path.name} read in {asked} as asked{other}")
    if stated is not None:
        return stated, Finding("unit_stated", f"{path.name} says its unit: {stated}")
    return "mm", Finding(
        "unit_assumed", f"{path.name} says no unit: read in mm; if that is wrong, say the unit"
    )
