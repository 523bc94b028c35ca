"""3MF packages (Core Specification 1.3) in, as meshes: strict, so that no part goes missing.

Read are the model that the package names, objects of the meshes and components in it, their
transforms, and parts in files of their own (the production extension's `path`). What else an
extension adds to a mesh is refused if the model says that it is required, else passed over.
"""

from __future__ import annotations

import zipfile
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from xml.parsers import expat

import numpy as np

from pourwright.errors import InputError, MeshError, PourwrightError
from pourwright.solid.mesh import Floats, Ints, TriMesh, tri_mesh
from pourwright.solid.package import UNREADABLE, open_package
from pourwright.solid.solid import Finding

UNITS = {"micron": "micron", "millimeter": "mm", "centimeter": "cm", "inch": "in", "foot": "ft",
         "meter": "m"}  # fmt: skip
_HINT = "export the model again"
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
_MATERIAL = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
_START = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_SUPPORTS = ("support", "solidsupport")
# Components may hold components; ten thousand copies of one triangle are no figure.
_MOST_PARTS, _MOST_TRIANGLES = 5_000, 50_000_000
# Of XML at once; a comment longer than that is gone through again with every further chunk.
_CHUNK = 64 * 2**20
_BAR = "|"  # between namespace and name


@dataclass
class _Use:
    """A component of an object or an item of the build: which object, and where it stands."""

    part: str
    number: str
    transform: Floats


@dataclass
class _Object:
    name: str
    kind: str
    points: array[float] = field(default_factory=lambda: array("d"))
    corners: array[int] = field(default_factory=lambda: array("q"))
    uses: list[_Use] = field(default_factory=list)


def read_threemf(path: Path, data: bytes) -> tuple[list[TriMesh], str, list[Finding]]:
    """Return the meshes of the build in the file's unit, that unit, and what was left out.

    Raises InputError, naming the file and the place in it, for a package that breaks the standard
    or needs more of it than can be read, and MeshError for meshes that are none.
    """
    with open_package(path, data) as package:
        try:
            return _Reader(path, package).read()
        except PourwrightError:
            raise
        except expat.ExpatError as error:
            raise InputError(f"{path} cannot be read as 3MF: {error}", hint=_HINT) from error
        except (*UNREADABLE, LookupError, OverflowError, RecursionError) as error:
            raise InputError(
                f"{path} cannot be read as 3MF: {type(error).__name__} {error}", hint=_HINT
            ) from error


class _Reader:
    def __init__(self, path: Path, package: zipfile.ZipFile):
        self._path, self._package = path, package
        # Names in a package tell no case apart.
        self._files = {name.lower().lstrip("/"): name for name in package.namelist()}
        self._models: dict[str, _Model] = {}
        self._triangles = 0
        self._supports = 0

    def read(self) -> tuple[list[TriMesh], str, list[Finding]]:
        start = self._start()
        model = self._model(start)
        if not model.items:
            raise InputError(f"{self._path} builds nothing", hint=_HINT)
        found = [mesh for use in model.items for mesh in self._meshes(use, np.eye(4), ())]
        if not found:
            raise MeshError(f"{self._path} has no triangles", hint=_HINT, kind="empty")
        meshes = [
            tri_mesh(v, f, f"{self._path.name}:{name or i}" if len(found) > 1 else self._path.name)
            for i, (v, f, name) in enumerate(found, start=1)
        ]
        notes = [
            Finding("supports_left_out", f"{self._path.name}: {self._supports} supports left out")
        ] if self._supports else []  # fmt: skip
        return meshes, model.unit, notes

    def _start(self) -> str:
        """The part that the package's relationships name as the model."""
        rels = self._files.get("_rels/.rels")
        if rels is not None:
            targets: list[str] = []

            def begin(tag: str, given: dict[str, str]) -> None:
                if tag.endswith("Relationship") and given.get("Type") == _START:
                    targets.append(given.get("Target", ""))

            _parse(self._path, self._package, rels, begin, None)
            if targets:
                return targets[0]
        return "3D/3dmodel.model"

    def _model(self, part: str) -> _Model:
        key = str(PurePosixPath("/") / part).lower().lstrip("/")
        if key not in self._models:
            if key not in self._files:
                raise InputError(f"{self._path} has no part '{part}'", hint=_HINT)
            self._models[key] = _Model(self._path, self._package, self._files[key], key)
        return self._models[key]

    def _meshes(
        self, use: _Use, above: Floats, within: tuple[tuple[str, str], ...]
    ) -> Iterator[tuple[Floats, Ints, str]]:
        place = (use.part, use.number)
        if place in within or len(within) > 100:
            raise InputError(f"{self._path}: object {use.number} is a part of itself", hint=_HINT)
        thing = self._model(use.part).objects.get(use.number)
        if thing is None:
            raise InputError(
                f"{self._path}: object {use.number} is asked for and not there", hint=_HINT
            )
        self._triangles += len(thing.corners) // 3 + _MOST_TRIANGLES // _MOST_PARTS
        if self._triangles > _MOST_TRIANGLES:
            raise InputError(f"{self._path} multiplies its objects without end", hint=_HINT)
        if thing.kind in _SUPPORTS:
            self._supports += 1
            return
        transform = use.transform @ above
        if len(thing.corners):
            points = np.frombuffer(thing.points).reshape(-1, 3)
            faces = np.frombuffer(thing.corners, dtype=np.int64).reshape(-1, 3)
            turned = np.linalg.det(transform[:3, :3]) < 0
            yield (
                points @ transform[:3, :3] + transform[3, :3],
                faces[:, ::-1] if turned else faces,
                thing.name,
            )
        for inner in thing.uses:
            yield from self._meshes(inner, transform, (*within, place))


class _Model:
    """One model part: its unit, objects and build, as its XML says them."""

    def __init__(self, path: Path, package: zipfile.ZipFile, name: str, key: str):
        self.unit = "mm"
        self.objects: dict[str, _Object] = {}
        self.items: list[_Use] = []
        self._path, self._name, self._key = path, name, key
        self._object: _Object | None = None
        self._spaces: dict[str, str] = {}
        self._seen_model = False
        _parse(path, package, name, self._begin, self._space)
        if not self._seen_model:
            raise InputError(f"{path}: its part '{name}' holds no model", hint=_HINT)

    def _space(self, prefix: str | None, address: str) -> None:
        self._spaces[prefix or ""] = address

    def _begin(self, tag: str, given: dict[str, str]) -> None:
        space, _, name = tag.rpartition(_BAR)
        if space != _CORE:
            return
        thing = self._object
        if name == "vertex" and thing is not None:
            thing.points.extend((float(given["x"]), float(given["y"]), float(given["z"])))
        elif name == "triangle" and thing is not None:
            thing.corners.extend((int(given["v1"]), int(given["v2"]), int(given["v3"])))
        elif name == "mesh" and thing is not None and len(thing.points):
            self._refuse(f"object '{thing.name}' has two meshes")
        elif name == "object":
            self._new_object(given)
        elif name == "component" and thing is not None:
            thing.uses.append(self._use(given))
        elif name == "item":
            self.items.append(self._use(given))
        elif name == "model":
            self._new_model(given)

    def _new_model(self, given: dict[str, str]) -> None:
        unit = given.get("unit", "millimeter")
        if unit not in UNITS:
            self._refuse(f"its unit is '{unit}', which 3MF does not know")
        self.unit, self._seen_model = UNITS[unit], True
        for prefix in given.get("requiredextensions", "").split():
            if self._spaces.get(prefix) not in (_PRODUCTION, _MATERIAL):
                self._refuse(
                    f"it needs the extension {self._spaces.get(prefix, prefix)}, which cannot be "
                    "read"
                )

    def _new_object(self, given: dict[str, str]) -> None:
        number = given["id"]
        if number in self.objects:
            self._refuse(f"there are two objects {number}")
        self._object = _Object(given.get("name", ""), given.get("type", "model"))
        self.objects[number] = self._object

    def _use(self, given: dict[str, str]) -> _Use:
        other = given.get(_PRODUCTION + _BAR + "path")
        matrix = np.eye(4)
        if "transform" in given:
            try:
                values = [float(word) for word in given["transform"].split()]
                matrix[:, :3] = np.array(values).reshape(4, 3)
            except ValueError:
                self._refuse(f"the transform '{given['transform'][:60]}' is not twelve numbers")
            flat = not np.isfinite(matrix).all() or not np.abs(np.linalg.det(matrix[:3, :3])) > 0
            if flat:
                self._refuse(f"the transform '{given['transform'][:60]}' leaves no body")
        return _Use(self._key if other is None else other, given["objectid"], matrix)

    def _refuse(self, why: str) -> None:
        raise InputError(f"{self._path}: in '{self._name}' {why}", hint=_HINT)


def _parse(path: Path, package: zipfile.ZipFile, name: str, begin: object, space: object) -> None:
    """Run a part of the package through an XML parser that refuses document types.

    3MF forbids them, and entities that multiply or name other files come from nowhere else.
    """

    def refuse(*_: object) -> None:
        raise InputError(
            f"{path}: its part '{name}' defines a document type, which 3MF forbids", hint=_HINT
        )

    parser = expat.ParserCreate(namespace_separator=_BAR)
    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = begin  # type: ignore[assignment]
    parser.StartNamespaceDeclHandler = space  # type: ignore[assignment]
    try:
        with package.open(name) as stream:
            while chunk := stream.read(_CHUNK):
                parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except (expat.ExpatError, LookupError, ValueError, OverflowError) as error:
        what = f"lacks {error}" if isinstance(error, KeyError) else str(error)
        raise InputError(
            f"{path}: in '{name}', line {parser.CurrentLineNumber}: {what}", hint=_HINT
        ) from error
