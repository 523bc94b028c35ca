"""How bodies fit each other: room to lift one out straight up, gaps, and what two share."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import manifold3d
import numpy as np

from pourwright.errors import GeometryError
from pourwright.solid.boolean import from_manifold, to_manifold
from pourwright.solid.mesh import Floats, TriMesh

_SEGMENTS = 32
# Outlines are drawn with points this far off at most, and grown by as much.
_DRAWN_MM = 0.005
# Layers whose outlines differ by less are drawn as one.
_ALIKE_MM2 = 1e-6
_DUST_MM3 = 1e-6


def room_to_lift(
    mesh: TriMesh,
    *,
    below_mm: float,
    top_mm: float,
    clearance_mm: float,
    layer_mm: float = 0.1,
    draft_deg: float = 0.0,
    from_mm: float = -math.inf,
    name: str = "room",
) -> TriMesh | None:
    """Return the room that lets the part of a body under a level out straight up.

    below_mm : that level; None is returned where nothing lies under it. top_mm : where the room
    ends. clearance_mm : least distance that is kept to that part, at rest and while it is lifted.
    layer_mm : the room is stacked from prisms of this height at most. draft_deg : its sides lean
    outwards by this angle. from_mm : where the room may start, if not at the part's foot.

    Each prism is the outline of all that lies under its top plus the clearance, grown by the
    clearance: so the outlines only grow upwards, nothing hangs over, and no point of the wall is
    nearer than the clearance.
    """
    body = to_manifold(mesh).trim_by_plane((0.0, 0.0, -1.0), -below_mm)
    if body.is_empty():
        return None
    low, high = body.bounding_box()[2], body.bounding_box()[5]
    floor = max(low - clearance_mm, min(from_mm, high - clearance_mm))
    height = high - clearance_mm - floor
    count = max(math.ceil(height / layer_mm - 1e-9), 1)
    levels = floor + height / count * np.arange(count + 1)
    lean = math.tan(math.radians(draft_deg))
    # The corners of a round join lie on its circle, the sides between them a little inside.
    grown = clearance_mm / math.cos(math.pi / _SEGMENTS) + _DRAWN_MM
    prisms, area = [], 0.0
    for start, end in itertools.pairwise(levels):
        last = end == levels[-1]
        under = body if last else body.trim_by_plane((0.0, 0.0, -1.0), -(end + clearance_mm))
        outline = _outline(under).offset(
            grown + lean * (end - floor), manifold3d.JoinType.Round, 2.0, _SEGMENTS
        )
        outline = outline.simplify(_DRAWN_MM / 4)
        if outline.area() > area + _ALIKE_MM2:
            prisms.append(outline.extrude(top_mm - start).translate((0.0, 0.0, float(start))))
            area = outline.area()
    room = manifold3d.Manifold.batch_boolean(prisms, manifold3d.OpType.Add)
    return from_manifold(_checked(room, "Making room to lift a body out"), name)


def _outline(body: manifold3d.Manifold) -> manifold3d.CrossSection:
    """Silhouette from above; the kernel gives loops that may cross each other."""
    loops = body.project().to_polygons()
    return manifold3d.CrossSection(loops, manifold3d.FillRule.Positive)


def gap_mm(one: TriMesh, other: TriMesh, limit_mm: float) -> float:
    """Least distance between two closed bodies, at most `limit_mm`; 0 where they meet."""
    return float(to_manifold(one).min_gap(to_manifold(other), limit_mm))


def shared(one: TriMesh, other: TriMesh, name: str = "shared") -> TriMesh | None:
    """Return what two closed bodies share, or None where that is nothing or dust."""
    return _unless_dust(to_manifold(one) ^ to_manifold(other), "Intersecting", name)


def remainder(mesh: TriMesh, tools: Sequence[TriMesh], name: str = "remainder") -> TriMesh | None:
    """Return what is left of a closed body without some others, or None, as in `shared`."""
    bodies = [to_manifold(m) for m in (mesh, *tools)]
    left = manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Subtract)
    return _unless_dust(left, "Cutting", name)


def within_box(mesh: TriMesh, low_mm: Floats, high_mm: Floats) -> TriMesh | None:
    """Return the part of a closed body inside a box, or None, as in `shared`."""
    size = np.asarray(high_mm) - np.asarray(low_mm)
    box = manifold3d.Manifold.cube(tuple(float(s) for s in size)).translate(
        tuple(float(c) for c in low_mm)
    )
    return _unless_dust(to_manifold(mesh) ^ box, "Cutting to a box", mesh.name)


def _unless_dust(body: manifold3d.Manifold, what: str, name: str) -> TriMesh | None:
    """The body's surface; None where rounding is all there is, which may be no body at all."""
    _checked(body, what)
    return None if body.is_empty() or body.volume() < _DUST_MM3 else from_manifold(body, name)


def _checked(body: manifold3d.Manifold, what: str) -> manifold3d.Manifold:
    if body.status() != manifold3d.Error.NoError:
        raise GeometryError(f"{what} failed ({body.status().name})", hint="check the parts' meshes")
    return body
