"""Distances from straight pieces to a surface, exact and many at once."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.solid.vectors import cross, dot

# Faces that share a box. Few enough to be looked at one by one, many enough to skip the rest.
_BLOCK = 32
# Longer pieces are cut, so that their boxes hold little that is far from them.
_PIECE_MM = 6.0

Boxes = NDArray[np.float32]


class GapMeter:
    """Measures how near paths come to a mesh, which is indexed once.

    Faces that follow each other should lie near each other, as those of `air.prepare` do; any
    order gives the same distances.
    """

    def __init__(self, mesh: TriMesh):
        self._vertices, self._faces = mesh.vertices, mesh.faces
        i, j, k = mesh.faces.T
        # Boxes only say which faces are measured: in single precision they are half as large, and
        # a step larger than the face, so that none is missed.
        self._low, self._high = (np.empty((3, len(mesh.faces)), np.float32) for _ in range(2))
        for axis in range(3):
            v = mesh.vertices[:, axis]
            below = np.nextafter(v.astype(np.float32), np.float32(-np.inf))
            above = np.nextafter(v.astype(np.float32), np.float32(np.inf))
            self._low[axis] = np.minimum(np.minimum(below[i], below[j]), below[k])
            self._high[axis] = np.maximum(np.maximum(above[i], above[j]), above[k])
        starts = np.arange(0, len(mesh.faces), _BLOCK)
        self._block_low = np.minimum.reduceat(self._low, starts, axis=1)
        self._block_high = np.maximum.reduceat(self._high, starts, axis=1)

    def gap_mm(self, path: Floats, limit_mm: float) -> float:
        """Least distance of a path, (k, 3), from the surface, at most `limit_mm`; 0 if it crosses.

        A single point is a path too.
        """
        a, b = (path, path) if len(path) == 1 else (path[:-1], path[1:])
        count = np.maximum(np.ceil(np.linalg.norm(b - a, axis=1) / _PIECE_MM), 1).astype(int)
        least = limit_mm
        for start, end, n in zip(a, b, count, strict=True):
            cuts = start + np.linspace(0, 1, n + 1)[:, None] * (end - start)
            for p, q in itertools.pairwise(cuts):
                near = self._near(np.minimum(p, q) - least, np.maximum(p, q) + least)
                if len(near):
                    gap = piece_distances(p, q, self._vertices[self._faces[near]]).min()
                    least = min(least, float(gap))
        return least

    def _near(self, low: Floats, high: Floats) -> Ints:
        """Faces whose boxes meet the box low..high."""
        blocks = np.flatnonzero(_meet(self._block_low, self._block_high, low, high))
        faces: Ints = (blocks[:, None] * _BLOCK + np.arange(_BLOCK)).ravel()
        faces = faces[faces < len(self._faces)]
        return faces[_meet(self._low[:, faces], self._high[:, faces], low, high)]


def _meet(box_low: Boxes, box_high: Boxes, low: Floats, high: Floats) -> Ints:
    meet = (box_low[0] <= high[0]) & (box_high[0] >= low[0])
    for axis in (1, 2):
        meet &= (box_low[axis] <= high[axis]) & (box_high[axis] >= low[axis])
    found: Ints = meet
    return found


def piece_distances(p: Floats, q: Floats, corners: Floats) -> Floats:
    """Distance (k,) of each triangle (k, 3, 3) from the straight piece p-q.

    The nearest two points are an end of the piece over the inside of the triangle, or on an edge
    of the triangle; or the piece pierces the triangle. All three are tried.
    """
    ends = [np.ascontiguousarray(corners[:, i]) for i in range(3)]
    best = np.full(len(corners), np.inf)
    for i in range(3):
        best = np.minimum(best, _between_pieces(p, q, ends[i], ends[(i + 1) % 3]))
    a = ends[0]
    normal = cross(ends[1] - a, ends[2] - a)
    length = np.sqrt(dot(normal, normal))
    solid = length > 0
    normal = normal / np.where(solid, length, 1.0)[:, None]
    over_p, over_q = dot(p - a, normal), dot(q - a, normal)
    for end, over in ((p, over_p), (q, over_q)):
        nearer = np.flatnonzero(solid & (np.abs(over) < best))
        feet = end - over[nearer, None] * normal[nearer]
        held = nearer[_inside(feet, corners[nearer], normal[nearer])]
        best[held] = np.abs(over[held])
    # Where it passes the triangle's plane; a piece in that plane meets an edge or is over it.
    passes = np.flatnonzero(solid & ((over_p < 0) != (over_q < 0)))
    if len(passes):
        t = over_p[passes] / (over_p[passes] - over_q[passes])
        at = p + t[:, None] * (q - p)
        best[passes[_inside(at, corners[passes], normal[passes])]] = 0.0
    return best


def _inside(points: Floats, corners: Floats, normal: Floats) -> Ints:
    """Whether points of the triangles' planes, (k, 3), lie inside the triangles."""
    inside = np.ones(len(corners), dtype=bool)
    for i in range(3):
        side = cross(corners[:, (i + 1) % 3] - corners[:, i], points - corners[:, i])
        inside &= dot(side, normal) >= 0
    found: Ints = inside
    return found


def _between_pieces(p: Floats, q: Floats, a: Floats, b: Floats) -> Floats:
    """Distance (k,) of the straight piece p-q, (3,), from the pieces a-b, (k, 3) each.

    C. Ericson: Real-Time Collision Detection, 2005, section 5.1.9 (from memory): the nearest
    points of the two lines, each held to its piece.
    """
    way, edge, off = q - p, b - a, p - a
    ww, ee = way @ way, dot(edge, edge)
    we, eo, wo = dot(edge, way), dot(edge, off), dot(off, way)
    tiny = 1e-300
    across = ww * ee - we * we
    s = np.where(across > 1e-12 * ww * ee, (we * eo - wo * ee) / np.maximum(across, tiny), 0.0)
    t = (we * np.clip(s, 0, 1) + eo) / np.maximum(ee, tiny)
    t = np.clip(t, 0, 1)
    s = np.clip((we * t - wo) / max(ww, tiny), 0, 1)
    apart = off + s[:, None] * way - t[:, None] * edge
    found: Floats = np.sqrt(dot(apart, apart))
    return found
