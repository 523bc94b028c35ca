"""What intake hands on: one watertight union and what was found on the way."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.errors import Point
from pourwright.solid.mesh import TriMesh
from pourwright.solid.protect import Protection


@dataclass(frozen=True)
class Finding:
    """Something noticed in the user's model, with the place.

    kind : short name for programs, e.g. "inverted_shell".
    message : one sentence for people.
    at_mm : (x, y, z) in the standing frame, or None where there is no single place.
    """

    kind: str
    message: str
    at_mm: Point | None = None


@dataclass(frozen=True, eq=False)
class Solid:
    """One watertight solid, the union of everything the user gave.

    mesh : closed, outward-oriented surface in the standing frame, mm.
    shells : closed shells that were read, before they were united.
    triangles : triangles that were read.
    parts : separate pieces of the union (1 when all of the figure hangs together).
    findings : what was noticed, in the order of the checks.
    protection : surface the user wants left alone, or None.
    """

    mesh: TriMesh
    volume_mm3: float
    shells: int
    triangles: int
    parts: int
    findings: tuple[Finding, ...] = ()
    protection: Protection | None = None
