"""A base for a figure that exists: a socket for its feet, so that it is put in from above.

Base, rods and funnel are printed as a part of their own. The figure goes into the socket straight
down, with a gap all round for wax or glue, and rods end the same gap short of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from pourwright.checks import check_number
from pourwright.errors import GeometryError, InputError, Point
from pourwright.solid import boolean, fits
from pourwright.solid.gaps import GapMeter
from pourwright.solid.mesh import Floats, TriMesh
from pourwright.solid.topology import is_watertight

# A layer of the socket's walls: finer than printers draw.
_LAYER_MM, _ROD_LAYER_MM = 0.1, 0.2
_COARSE_LAYERS, _FINE_LAYERS = 30, 60
# Common practice, no source: a thinner floor breaks.
_FLOOR_MM = 0.8
# What is cut off in crumbs smaller than this is dropped.
_CRUMB_MM3 = 0.05
# Of the clearance: what rounding may take.
_HOLDS = 0.98
# Where a rod is cut farther than this off the figure, it is not its foot that is cut.
_FOOT_MM = 1.0


@dataclass(frozen=True)
class Refused:
    """A body that cannot be part of the socket's print.

    number : in the order given. at_mm : where. reason : why, and what to do.
    """

    number: int
    at_mm: Point
    reason: str


@dataclass(frozen=True, eq=False)
class SocketPart:
    """Base and bodies as one closed part with a socket, and the bodies that it goes without."""

    mesh: TriMesh
    refused: tuple[Refused, ...]


def with_socket(
    figure: TriMesh,
    base: TriMesh,
    clearance_mm: float,
    depth_mm: float,
    bodies: Sequence[TriMesh] = (),
    *,
    draft_deg: float = 0.0,
) -> SocketPart:
    """Return base and bodies as one closed part with a socket for the figure's feet.

    figure, base : in the frame of the board (board below), the figure where it will stand.
    clearance_mm : gap all round. depth_mm : the lowest part of the figure, of this height, goes
    into the socket. bodies : funnel and rods, cut back to the clearance off the figure. draft_deg :
    the socket's walls lean outwards by this angle.

    The figure can be put in and taken out straight up without coming nearer than the clearance.
    A rod is refused that hangs on the figure alone, or that reaches over a part of it, so that
    the figure could not be put in: it is glued on by hand afterwards.
    Raises InputError for numbers out of range, a figure that does not reach the base and a base
    that is too thin, GeometryError where the figure meets the base above the socket.
    """
    check_number("socket.clearance_mm", clearance_mm, 0.02, 5.0)
    check_number("socket.depth_mm", depth_mm, 0.1, 200.0)
    check_number("socket.draft_deg", draft_deg, 0.0, 30.0)
    offset = base.bounds_mm.mean(axis=0)
    figure, base = figure.moved(-offset), base.moved(-offset)
    room = _socket(figure, base, clearance_mm, depth_mm, draft_deg, offset)
    part = boolean.difference(base, [room], "base")
    fitting, refused = _fitting(figure, part, [b.moved(-offset) for b in bodies], clearance_mm)
    whole = _one_piece(boolean.union([part, *fitting], "base with socket"), offset)
    if fits.gap_mm(whole, figure, 2 * clearance_mm) < _HOLDS * clearance_mm:
        meeting = fits.shared(whole, figure)
        apart, _ = cKDTree(whole.vertices).query(figure.vertices)
        place = figure.vertices[int(np.argmin(apart))]
        raise GeometryError(
            f"The figure comes nearer to the base than {clearance_mm:.3g} mm above the socket",
            hint=f"make the socket deeper than {depth_mm:.3g} mm or the base lower there",
            at_mm=(place if meeting is None else meeting.bounds_mm.mean(axis=0)) + offset,
        )
    return SocketPart(
        whole.moved(offset),
        tuple(replace(r, at_mm=_point(np.array(r.at_mm) + offset)) for r in refused),
    )


def socket_part(
    figure: TriMesh,
    base: TriMesh,
    clearance_mm: float,
    depth_mm: float,
    bodies: Sequence[TriMesh] = (),
    *,
    draft_deg: float = 0.0,
) -> TriMesh:
    """Return the part of `with_socket`; GeometryError where a body is refused."""
    made = with_socket(figure, base, clearance_mm, depth_mm, bodies, draft_deg=draft_deg)
    if made.refused:
        first = made.refused[0]
        raise GeometryError(f"'{bodies[first.number].name}' {first.reason}", at_mm=first.at_mm)
    return made.mesh


def _socket(
    figure: TriMesh,
    base: TriMesh,
    clearance_mm: float,
    depth_mm: float,
    draft_deg: float,
    offset: np.ndarray,
) -> TriMesh:
    """The room for the feet, checked against the base."""
    low, top = float(figure.bounds_mm[0, 2]), float(base.bounds_mm[1, 2])
    room = fits.room_to_lift(
        figure,
        # What flares out just above must not come too near to the rim either.
        below_mm=low + depth_mm + clearance_mm,
        top_mm=max(top, low + depth_mm) + 1.0,
        clearance_mm=clearance_mm,
        layer_mm=_LAYER_MM,
        draft_deg=draft_deg,
        name="socket",
    )
    cut = None if room is None else fits.shared(base, room)
    if room is None or cut is None:
        raise InputError(
            "The figure's feet do not reach into the base",
            hint="let the figure stand lower, or make the base higher",
            at_mm=np.append(figure.bounds_mm.mean(axis=0)[:2], low) + offset,
        )
    # What lies under the socket, as thick as the floor has to be, and is not base.
    lowered = room.moved(np.array([0.0, 0.0, -_FLOOR_MM]))
    missing = fits.remainder(lowered, [room, base])
    if missing is not None:
        under = fits.shared(missing.moved(np.array([0.0, 0.0, _FLOOR_MM])), cut)
        if under is not None and under.volume_mm3 > _CRUMB_MM3:
            raise InputError(
                f"Less than {_FLOOR_MM:g} mm of the base are left under the socket",
                hint="make the base higher, or let the figure stand less deep in it",
                at_mm=under.bounds_mm.mean(axis=0) + offset,
            )
    return room


def _fitting(
    figure: TriMesh, base: TriMesh, bodies: Sequence[TriMesh], clearance_mm: float
) -> tuple[list[TriMesh], list[Refused]]:
    cut: dict[int, TriMesh] = {}
    refused = []
    for number, body in enumerate(bodies):
        left, blocks = _cut_back(figure, body, clearance_mm)
        if left and blocks is None and len(left) == 1:
            cut[number] = left[0]
        elif not left and blocks is None:
            refused.append(Refused(number, _middle(body), "lies within the figure: leave it out"))
        else:
            refused.append(
                Refused(
                    number,
                    blocks or _middle(min(left, key=_size)),
                    "reaches over a part of the figure, which then cannot be put in from above: "
                    "leave it out and glue it on afterwards",
                )
            )
    # What still hangs together with the base, through other bodies as well.
    joined = {-1}
    while True:
        more = {
            i for i, body in cut.items()
            if i not in joined
            and any(_touch(body, base if j < 0 else cut[j]) for j in joined)
        }  # fmt: skip
        if not more:
            break
        joined |= more
    for number, body in cut.items():
        if number not in joined:
            refused.append(
                Refused(
                    number,
                    _middle(body),
                    "hangs on the figure alone: leave it out and glue it on afterwards",
                )
            )
    refused.sort(key=lambda r: r.number)
    return [cut[i] for i in sorted(joined - {-1})], refused


def _cut_back(
    figure: TriMesh, body: TriMesh, clearance_mm: float
) -> tuple[list[TriMesh], Point | None]:
    """Pieces of a body without the room that the figure needs to be lifted.

    Also returns a place where the body stands in the way of lifting it, away from its own foot.
    The room is found in coarse layers, which take too much, and then finely where it cuts.
    """
    coarse = _room(figure, body, clearance_mm, _COARSE_LAYERS)
    roughly = None if coarse is None else fits.shared(body, coarse)
    room = None if roughly is None else _room(figure, roughly, clearance_mm, _FINE_LAYERS)
    cut = None if room is None else fits.shared(body, room)
    if room is None or cut is None:
        return [body], None
    left = fits.remainder(body, [room], body.name)
    pieces = [] if left is None else [p for p in boolean.pieces(left) if _size(p) > _CRUMB_MM3]
    return pieces, _in_the_way(figure, cut, clearance_mm)


def _room(
    figure: TriMesh, body: TriMesh, clearance_mm: float, most_layers: int
) -> TriMesh | None:
    """The room to lift the figure, inside a box round some other body."""
    low, high = body.bounds_mm
    layer_mm = max(_ROD_LAYER_MM, float(high[2] - low[2]) / most_layers)
    reach = np.array([clearance_mm, clearance_mm, 0.0]) * 1.5
    # Nothing of the figure above the box's top, and a clearance, can be in its way.
    near = fits.within_box(
        figure,
        low - reach - [0, 0, figure.diagonal_mm + (high - low)[2]],
        high + reach + [0, 0, 2 * clearance_mm],
    )
    if near is None:
        return None
    top = float(max(near.bounds_mm[1, 2], high[2])) + 1.0
    return fits.room_to_lift(
        near, below_mm=top, top_mm=top, clearance_mm=clearance_mm, layer_mm=layer_mm,
        from_mm=float(low[2]) - layer_mm,
    )  # fmt: skip


def _in_the_way(figure: TriMesh, cut: TriMesh, clearance_mm: float) -> Point | None:
    """A point of what is cut off that is no foot: far from the figure, or None."""
    outside = fits.remainder(cut, [figure])
    if outside is None:
        return None
    limit = clearance_mm + _FOOT_MM
    low, high = outside.bounds_mm
    near = fits.within_box(figure, low - 2 * limit, high + 2 * limit)
    if near is None:
        return _middle(outside)
    meter = GapMeter(near)
    # The surface is no farther off than its nearest corner.
    apart, _ = cKDTree(near.vertices).query(outside.vertices)
    far = np.flatnonzero(apart >= limit)
    for point in outside.vertices[far[np.argsort(-apart[far], kind="stable")]]:
        if meter.gap_mm(point[None], limit) >= limit:
            return _point(point)
    return None


def _one_piece(mesh: TriMesh, offset: np.ndarray) -> TriMesh:
    pieces = [p for p in boolean.pieces(mesh) if abs(p.volume_mm3) > _CRUMB_MM3]
    if len(pieces) != 1:
        smallest = min(pieces, key=_size)
        raise GeometryError(
            f"The base with its socket falls into {len(pieces)} pieces",
            hint="make the base wider than the figure's feet",
            at_mm=smallest.bounds_mm.mean(axis=0) + offset,
        )
    if not is_watertight(pieces[0]):
        raise GeometryError("The base with its socket is open", hint="check the parts' meshes")
    return pieces[0]


def _touch(one: TriMesh, other: TriMesh) -> bool:
    (low, high), (other_low, other_high) = one.bounds_mm, other.bounds_mm
    if (high < other_low).any() or (low > other_high).any():
        return False
    both = fits.shared(one, other)
    return both is not None and both.volume_mm3 > 1e-6


def _size(mesh: TriMesh) -> float:
    return mesh.volume_mm3


def _middle(mesh: TriMesh) -> Point:
    return _point(mesh.bounds_mm.mean(axis=0))


def _point(values: Floats) -> Point:
    x, y, z = (float(c) for c in values)
    return (x, y, z)
