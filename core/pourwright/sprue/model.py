"""What bases are described by: where they go, what builders make, and what is said of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pourwright.errors import Point
from pourwright.solid.mesh import Floats, TriMesh


@dataclass(frozen=True)
class Site:
    """Where a base goes: the face the figure stands on, in the frame of the board, mm.

    x, y : middle of that face. half_x, half_y : its half sizes; equal on round bases.
    front : how far in front of the middle (towards -Y) the feet end. figure_mm : height of the
    figure.
    """

    x: float
    y: float
    half_x: float
    half_y: float
    front: float
    figure_mm: float


@dataclass(frozen=True, eq=False)
class Face:
    """A face of a base that takes text: a frame and the room in it, mm.

    bend : "plane"; "cone", bent about the upright axis `radius_mm` behind the face, which leans
    as `upward` says; or "arc", level, its lines bent about the point `radius_mm` along `upward`.
    origin : middle of the room. right, upward : unit vectors along and across the lines of text.
    behind_mm : thickness of the base behind the face, where it is thin.
    """

    name: str
    origin: Floats
    right: Floats
    upward: Floats
    width_mm: float
    height_mm: float
    bend: str = "plane"
    radius_mm: float = 0.0
    behind_mm: float = float("inf")

    @property
    def normal(self) -> Floats:
        """Unit vector out of the base."""
        return np.cross(self.right, self.upward)

    def moved(self, offset: Floats) -> Face:
        """Return this face shifted by `offset`, (3,) mm."""
        return replace(self, origin=self.origin + offset)

    def place(self, points: Floats) -> Floats:
        """Return points (n, 3), given along, across and out of the face, in space."""
        u, v, w = points.T[:, :, None]
        normal = self.normal
        if self.bend == "plane":
            return self.origin + u * self.right + v * self.upward + w * normal
        turn = u / self.radius_mm
        if self.bend == "arc":
            centre = self.origin + self.radius_mm * self.upward
            away = np.sin(turn) * self.right - np.cos(turn) * self.upward
            return centre + (self.radius_mm - v) * away + w * normal
        out = np.array([normal[0], normal[1], 0.0])
        out /= np.linalg.norm(out)
        axis = self.origin - self.radius_mm * out
        away = np.sin(turn) * self.right + np.cos(turn) * out
        reach = self.radius_mm + v * (self.upward @ out) + w * (normal @ out)
        rise = v * self.upward[2] + w * normal[2]
        return axis + reach * away + rise * np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class Shape:
    """A base by itself: height 0 is the rim of its underside, the middle of its face is above 0, 0.

    top_mm : height of the face the figure stands on. ring : outline (k, 2) of the face the resin
    enters, the funnel's neck or the opening itself. ring_mm : its height; rim_mm : the height
    that the funnel's own height counts from. footprint : convex outline (k, 2) of what the
    finished piece stands on; on the wall, of its plate seen from the front (x and height).
    smallest_wall_mm : thickness of its thinnest part. faces : room for text.
    """

    body: TriMesh
    top_mm: float
    ring: Floats
    ring_mm: float
    footprint: Floats
    smallest_wall_mm: float
    faces: tuple[Face, ...]
    rim_mm: float = 0.0
    rounding_mm: float = 0.0


@dataclass(frozen=True)
class Lettering:
    """Text as it came out: its lines, height of capitals and thinnest line or gap, mm."""

    lines: tuple[str, ...]
    face: str
    style: str
    capital_mm: float
    thinnest_mm: float


@dataclass(frozen=True, eq=False)
class BaseFacts:
    """What is to be known of a base before it is made, in the frame of the board, mm.

    stands_on : "table", "soil" or "wall". footprint : convex outline (k, 2) of what the finished
    piece stands on, along x and y; on the wall, of the wall plate, along x and z.
    centre_of_mass_mm : of figure and base together, each whole. margin_mm : on table and soil,
    how far within the footprint that centre stands, from its nearest edge; on the wall, how far
    within the plate's width. Negative: it falls over, or hangs askew.
    smallest_wall_mm : thickness of the base's thinnest part, letters apart; None for a body of the
    user's, where nobody knows but who measures. volume_mm3 : of the base. lettering : None without
    text.
    """

    stands_on: str
    footprint: Floats
    centre_of_mass_mm: Point
    margin_mm: float
    smallest_wall_mm: float | None
    rounding_mm: float
    volume_mm3: float
    lettering: Lettering | None = None


@dataclass(frozen=True, eq=False)
class Sprue:
    """Base and funnel, in the frame of the board: board below, pour opening downwards.

    board_z_mm : height of the board, the mould top plane once the mould is turned over.
    top_z_mm : height of the face the figure stands on.
    neck : outline (k, 2) of the face where the funnel breaks off, or of the open face itself.
    neck_z_mm : height of that face. faces : where text may go.
    """

    base: TriMesh
    funnel: TriMesh | None
    board_z_mm: float
    top_z_mm: float
    neck: Floats
    neck_z_mm: float
    faces: tuple[Face, ...]
    facts: BaseFacts
