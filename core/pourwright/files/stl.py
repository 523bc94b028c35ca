"""Binary STL: 84 + 50 n bytes, counter-clockwise triangles, no units (millimetres are meant)."""

from __future__ import annotations

from typing import BinaryIO

import numpy as np

from pourwright.errors import OutputError
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.vectors import doubled_areas

# Readers take a file that starts with the word "solid" for the text form of STL.
_HEADER = b"Binary STL by Pourwright, unit millimetre"
_HEADER_BYTES = 80
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def write_stl(stream: BinaryIO, mesh: TriMesh) -> None:
    """Write the mesh to a binary stream, in its own frame, one record per triangle.

    The format holds float32, so coordinates are rounded by up to 6e-8 of their distance from
    the origin: 0.006 um at 100 mm. Triangles smaller than that fold flat; they are written all
    the same, for leaving them out would open the surface. Raises OutputError for coordinates
    that are not finite in float32.
    """
    corners = mesh.vertices[mesh.faces]
    with np.errstate(over="ignore"):
        single = corners.astype(np.float32)
    if not np.isfinite(single).all():
        raise OutputError(
            f"'{mesh.name}' has coordinates too large for an STL file",
            hint="check the unit of the model",
        )
    records = np.zeros(len(corners), dtype=_RECORD)
    records["normal"] = _unit_normals(mesh)
    records["corners"] = single
    stream.write(_HEADER.ljust(_HEADER_BYTES))
    stream.write(np.uint32(len(records)).astype("<u4").tobytes())
    stream.write(records.tobytes())


def _unit_normals(mesh: TriMesh) -> Floats:
    """Return unit normals, (n, 3), and zeros for triangles without area as the format asks."""
    normal = doubled_areas(mesh.vertices, mesh.faces)
    length = np.linalg.norm(normal, axis=1)
    return normal / np.where(length > 0, length, 1.0)[:, None]
