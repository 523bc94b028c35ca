"""The air analysis by its definition, vertex by vertex: slow, short, nothing shared with the fast.

Only which vertices are the roof of a hollow (the sign of the surface's pseudonormal) is taken
over; rays are cast at all triangles.
"""

from __future__ import annotations

import heapq
from collections import defaultdict

import numpy as np

from pourwright.air import Surface
from pourwright.solid.columns import frame, hits


def neighbours_of(surface: Surface) -> dict[int, set[int]]:
    beside: dict[int, set[int]] = defaultdict(set)
    for a, b, c in surface.faces.tolist():
        beside[a] |= {b, c}
        beside[b] |= {a, c}
        beside[c] |= {a, b}
    return beside


def maxima(surface: Surface, up: np.ndarray) -> list[int]:
    height = surface.vertices @ up
    beside = neighbours_of(surface)
    return [v for v in range(len(height))
            if all((height[v], v) > (height[w], w) for w in beside[v])]


def exits(
    surface: Surface, starts: np.ndarray, up: np.ndarray
) -> dict[int, tuple[float, set[int]]]:
    """For each start the height above it at which a ray leaves, and the faces it leaves by."""
    axes = frame(up)
    seen = surface.vertices @ axes.T
    facing = np.flatnonzero(surface.area_vectors @ up > 0)
    found = hits(seen, surface.faces[facing], seen[starts, :2], only_up=True)
    first: dict[int, tuple[float, set[int]]] = {}
    for line, face, z in zip(found.line, facing[found.triangle], found.z, strict=True):
        start = int(starts[line])
        rise = float(z - seen[start, 2])
        if start in surface.faces[face] or rise < -1e-9:
            continue
        best, faces = first.get(start, (np.inf, set()))
        if rise < best - 1e-9:
            first[start] = (rise, {int(face)})
        elif rise <= best + 1e-9:
            first[start] = (min(best, rise), faces | {int(face)})
    return first


def plain_pockets(
    surface: Surface, up: np.ndarray, openings: np.ndarray
) -> list[tuple[float, float, frozenset[int]]]:
    """Peak height, height where it closes off and vertices of each pocket, standing frame.

    Air goes from vertex to vertex along edges, and straight up from the roofs of hollows. It
    leaves a vertex by the way to an opening whose lowest vertex is highest.
    """
    height = surface.vertices @ up
    beside = {v: set(ws) for v, ws in neighbours_of(surface).items()}
    roofs = np.array([v for v in maxima(surface, up) if surface.normals[v] @ up < 0], dtype=int)
    for start, (_, faces) in exits(surface, roofs, up).items():
        corner = surface.faces[min(faces)]
        above = int(corner[np.argmax(height[corner])])
        beside[start].add(above)
        beside[above].add(start)
    drained = np.full(len(height), -np.inf)
    queue = [(-float(height[v]), int(v)) for v in set(openings.tolist())]
    heapq.heapify(queue)
    reached = np.zeros(len(height), dtype=bool)
    while queue:
        level, v = heapq.heappop(queue)
        if reached[v]:
            continue
        reached[v] = True
        drained[v] = -level
        for w in beside[v]:
            heapq.heappush(queue, (-min(-level, float(height[w])), w))
    trapped = height > drained + surface.tolerance_mm
    found, seen = [], set()
    for v in np.flatnonzero(trapped).tolist():
        if v in seen:
            continue
        part, todo = set(), [v]
        while todo:
            w = todo.pop()
            if w not in part:
                part.add(w)
                todo += [x for x in beside[w] if trapped[x] and x not in part]
        seen |= part
        found.append((max(height[list(part)]), drained[v], frozenset(part)))
    shift = float(surface.centre_mm @ up)
    return sorted((peak + shift, low + shift, part) for peak, low, part in found)
