"""3MF (Core Specification 1.3): one mesh, in millimetres, standing ready on the print plate."""

from __future__ import annotations

import re
import zipfile
from typing import BinaryIO
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from pourwright import __version__
from pourwright.errors import OutputError, Point
from pourwright.solid.mesh import Floats, Ints, TriMesh

_CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels"'
    ' ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model"'
    ' ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
_RELATIONSHIPS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0"'
    ' Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
    "</Relationships>\n"
)
_CORE_NAMESPACE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
# The zip format's first day: with a clock in it the same plan would give different bytes.
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
_UNIX = 3
_COMPRESSION_LEVEL = 4
_ROWS_AT_ONCE = 20_000
# Nine digits hold 1e-7 mm at 100 mm; seventeen hold every float64 exactly.
_DIGITS_USUAL, _DIGITS_EXACT = 9, 17
_PLATE_STEP_MM = 1e-6
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def write_threemf(
    stream: BinaryIO, mesh: TriMesh, up: Point, *, title: str, description: str
) -> None:
    """Write a 3MF package to a binary stream.

    mesh : closed surface; its vertices are kept in the standing frame, rounded to 9 digits (to
        17 where 9 would fold a triangle).
    up : unit pour direction, (3,). The build item's transform turns it down, so that the part
        stands on the mould top plane, and shifts the part into the positive octant.

    The same arguments give the same bytes. Raises OutputError if the surface is not closed and
    consistently oriented, as the standard demands.
    """
    _require_closed(mesh)
    digits, printed = _printed_vertices(mesh)
    transform = plate_transform(printed, up)
    head = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{_CORE_NAMESPACE}">\n'
        f'<metadata name="Title">{_xml_text(title)}</metadata>\n'
        f'<metadata name="Description">{_xml_text(description)}</metadata>\n'
        f'<metadata name="Application">Pourwright {__version__}</metadata>\n'
        '<resources>\n<object id="1" type="model">\n<mesh>\n<vertices>\n'
    )
    numbers = " ".join(f"{number:.12g}" for number in transform.ravel())
    tail = (
        "</triangles>\n</mesh>\n</object>\n</resources>\n"
        f'<build>\n<item objectid="1" transform="{numbers}"/>\n</build>\n</model>\n'
    )
    vertex = f'<vertex x="%.{digits}g" y="%.{digits}g" z="%.{digits}g"/>\n'
    triangle = '<triangle v1="%d" v2="%d" v3="%d"/>\n'
    model = b"".join(
        (
            head.encode("utf-8"),
            _rows(vertex, mesh.vertices + 0.0),
            b"</vertices>\n<triangles>\n",
            _rows(triangle, mesh.faces),
            tail.encode("ascii"),
        )
    )
    with zipfile.ZipFile(stream, "w") as package:
        package.writestr(_entry("[Content_Types].xml"), _CONTENT_TYPES)
        package.writestr(_entry("_rels/.rels"), _RELATIONSHIPS)
        package.writestr(_entry("3D/3dmodel.model"), model, compresslevel=_COMPRESSION_LEVEL)


def plate_transform(vertices: Floats, up: Point) -> Floats:
    """Return the 4x3 matrix, for row vectors, that stands the part on the plate.

    vertices : (n, 3) mm. The first three rows turn `up` to -Z, the last one shifts the part so
    that no coordinate is below 0. Row vectors as in the 3MF standard: [x y z 1] @ matrix.
    """
    matrix = np.empty((4, 3))
    matrix[:3] = np.round(_turn_down(np.asarray(up, dtype=np.float64)).T, 9) + 0.0
    low = (vertices @ matrix[:3]).min(axis=0)
    # Rounded up, so that printing the matrix cannot push the part under the plate.
    matrix[3] = np.ceil(-low / _PLATE_STEP_MM) * _PLATE_STEP_MM + 0.0
    return matrix


def _turn_down(up: Floats) -> Floats:
    """Return a rotation matrix, for column vectors, that takes `up` to -Z."""
    x, y, z = up / np.linalg.norm(up)
    if z > 0.0:
        # Half a turn about X first: the shortest way is ill defined near +Z.
        half_turn = np.diag([1.0, -1.0, -1.0])
        return _turn_down(half_turn @ up) @ half_turn
    # Rodrigues' formula for the axis up x -Z, written out; 1 - z is at least 1 here.
    k = 1.0 / (1.0 - z)
    return np.array(
        [
            [1.0 - k * x * x, -k * x * y, x],
            [-k * x * y, 1.0 - k * y * y, y],
            [-x, -y, -z],
        ]
    )


def _printed_vertices(mesh: TriMesh) -> tuple[int, Floats]:
    """Return how many digits to print, and the vertices as a reader will see them."""
    rounded = _rounded(mesh.vertices, _DIGITS_USUAL)
    for a, b in ((0, 1), (1, 2), (2, 0)):
        first, second = mesh.faces[:, a], mesh.faces[:, b]
        folded = (rounded[first] == rounded[second]).all(axis=1)
        if folded.any():
            return _DIGITS_EXACT, mesh.vertices
    return _DIGITS_USUAL, rounded


def _rounded(values: Floats, digits: int) -> Floats:
    """Round to significant digits, as printing does but for the last bit."""
    size = np.abs(values)
    exponent = np.floor(np.log10(np.where(size > 0, size, 1.0)))
    # Two factors, for 10 ** 300 times 10 ** 20 is no float.
    step = np.power(10.0, np.clip(exponent - (digits - 1), -300, 300))
    return np.round(values / step) * step


def _require_closed(mesh: TriMesh) -> None:
    """Raise OutputError unless every edge joins two triangles that run along it oppositely."""
    faces, count = mesh.faces, len(mesh.vertices)
    folded = (faces == np.roll(faces, 1, axis=1)).any()
    start = faces.ravel()
    end = np.roll(faces, -1, axis=1).ravel()
    there, back = np.sort(start * count + end), np.sort(end * count + start)
    once = not (there[1:] == there[:-1]).any()
    if len(faces) < 4 or folded or not once or not np.array_equal(there, back):
        raise OutputError(
            f"'{mesh.name}' is not a closed surface, and a 3MF file holds nothing else",
            hint="repair the model first",
        )


def _rows(row: str, values: NDArray[np.float64] | Ints) -> bytes:
    """Return `row % (a, b, c)` for every row of values; many at once, since one by one is slow."""
    blocks = []
    for first in range(0, len(values), _ROWS_AT_ONCE):
        block = values[first : first + _ROWS_AT_ONCE]
        blocks.append((row * len(block) % tuple(block.ravel().tolist())).encode("ascii"))
    return b"".join(blocks)


def _entry(name: str) -> zipfile.ZipInfo:
    """Return a zip entry whose bytes do not depend on the clock or the system."""
    entry = zipfile.ZipInfo(name, _ZIP_TIME)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.create_system = _UNIX
    entry.external_attr = 0o644 << 16
    return entry


def _xml_text(text: str) -> str:
    return escape(_NOT_XML.sub("?", text))
