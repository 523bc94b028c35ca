"""Volumes and pockets from lines through raw triangles, sharing no code with the core.

Every triangle is asked by itself where lines meet it; nothing is welded, joined or united. Along
a line the winding number is counted, and what it says is inside is inside.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

Array = NDArray[np.float64]
_PAIRS = 4_000_000
_MOST = 6e6


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of lines inside the model: line number, from and to."""

    line: NDArray[np.int64]
    low: Array
    high: Array
    unbalanced: int


@dataclass(frozen=True)
class Volume:
    """An estimate with its standard error, mm3, and the share of lines that had to be dropped."""

    mm3: float
    sigma_mm3: float
    dropped: float


def steps_of(triangles: Array, mixed: bool) -> NDArray[np.int64]:
    """What each triangle adds to the winding number where a line leaves by it: +1, -1 or 0.

    Repeated triangles count once. A shell that is inside out as a whole, and is no void, counts
    turned: one that lies in nothing, with all that it holds, or that lies in a void.
    mixed : the triangles' sides cannot be trusted; the caller counts crossings instead.
    """
    points, number = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    faces = number.reshape(-1, 3)
    step = np.ones(len(faces), dtype=np.int64)
    flat = (faces == np.roll(faces, 1, axis=1)).any(axis=1)
    turn = np.argmin(faces, axis=1)[:, None]
    key = np.take_along_axis(faces, (np.arange(3) + turn) % 3, axis=1)
    if mixed:
        key = np.sort(faces, axis=1)
    first = np.zeros(len(faces), dtype=bool)
    first[np.unique(key, axis=0, return_index=True)[1]] = True
    step[flat | ~first] = 0
    if mixed:
        return step
    a, b, c = faces.T
    graph = coo_array(
        (np.ones(2 * len(a), np.int8), (np.r_[a, a], np.r_[b, c])), shape=(len(points),) * 2
    )
    count, of_point = connected_components(graph, directed=False)
    shell = of_point[a]
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    corner = triangles - middle
    six = np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])) * step
    volume = np.bincount(shell, weights=six, minlength=count) / 6
    if (volume >= 0).all() or count > 2000:
        return step
    return step * _turns(triangles, shell, volume)[shell]


def _turns(triangles: Array, shell: NDArray[np.int64], volume: Array) -> NDArray[np.int64]:
    """Which shells count turned, -1, by how they lie in each other."""
    count = len(volume)
    inside = np.zeros((count, count), dtype=bool)
    for j in range(count):
        mine = triangles[shell == j]
        low, high = mine.min(axis=(0, 1)), mine.max(axis=(0, 1))
        for i in np.flatnonzero(np.abs(volume) < abs(volume[j])):
            probe = triangles[shell == i][::max(1, int((shell == i).sum()) // 3)].mean(axis=1)[:3]
            if ((probe > low) & (probe < high)).all():
                inside[i, j] = np.median([abs(solid_angle(mine, p)) for p in probe]) > 0.5
    turn = np.ones(count, dtype=np.int64)
    outer = ~inside.any(axis=1)
    for i in np.flatnonzero(outer & (volume < 0)):
        turn[i] = -1
        sound = inside[:, outer & (volume > 0)].any(axis=1)
        turn[inside[:, i] & ~sound] *= -1
    for i in np.argsort(-np.abs(volume)):
        if turn[i] * volume[i] < 0:
            around = np.flatnonzero(inside[i])
            holder = around[np.argmin(np.abs(volume[around]))]
            if turn[holder] * volume[holder] < 0:
                turn[i] *= -1
    return turn


def solid_angle(triangles: Array, point: Array) -> float:
    """Winding number of a point (A. Van Oosterom, J. Strackee, IEEE TBME 30, 1983)."""
    a, b, c = (triangles[:, i] - point for i in range(3))
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    top = np.einsum("ij,ij->i", a, np.cross(b, c))
    bottom = (
        la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
    )  # fmt: skip
    return float(np.arctan2(top, bottom).sum() / (2 * np.pi))


def crossings(
    triangles: Array, low: Array, pitch: Array, side: tuple[int, int], lines: Array
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_], Array]:
    """Which vertical line meets which triangle, whether it faces up, and at what height.

    lines : (side[0] * side[1], 2), the line of each square of the grid at `low` with `pitch`.
    """
    found = []
    for tri, square in _squares(triangles[:, :, :2], low, pitch, side):
        line = square[:, 0] * side[1] + square[:, 1]
        offset = triangles[tri].copy()
        offset[:, :, :2] -= lines[line][:, None]
        (ax, ay, az), (bx, by, bz), (cx, cy, cz) = (offset[:, i].T for i in range(3))
        u, v, w = bx * cy - by * cx, cx * ay - cy * ax, ax * by - ay * bx
        hit = np.flatnonzero(
            ((u > 0) & (v > 0) & (w > 0)) | ((u < 0) & (v < 0) & (w < 0))
        )
        total = (u + v + w)[hit]
        z = (u[hit] * az[hit] + v[hit] * bz[hit] + w[hit] * cz[hit]) / total
        found.append((line[hit], tri[hit], total > 0, z))
    if not found:
        none = np.empty(0, dtype=np.int64)
        return none, none, none > 0, np.empty(0)
    line, tri, rising, z = (np.concatenate(x) for x in zip(*found, strict=True))
    return line, tri, rising, z


def _squares(
    flat: Array, low: Array, pitch: Array, side: tuple[int, int]
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Which triangle reaches into which squares of the grid: numbers (k,) and squares (k, 2).

    Row by row, for the box round a long slanting triangle holds many squares that it misses.
    """
    place = (flat - low) / pitch
    x = place[:, :, 0]
    first = np.clip(np.floor(x.min(axis=1)).astype(np.int64), 0, side[0] - 1)
    last = np.clip(np.floor(x.max(axis=1)).astype(np.int64), 0, side[0] - 1)
    tri, rank = _repeated(last - first + 1)
    row = first[tri] + rank
    bottom, top = np.full(len(tri), np.inf), np.full(len(tri), -np.inf)
    for i in range(3):
        (x0, y0), (x1, y1) = place[tri, i].T, place[tri, (i + 1) % 3].T
        run = np.where(x1 == x0, 1.0, x1 - x0)
        # The part of the edge within the row, a hair wider.
        t = np.sort(np.stack([(row - 1e-9 - x0) / run, (row + 1 + 1e-9 - x0) / run]), axis=0)
        level = x1 == x0
        t = np.clip(np.where(level, np.array([[0.0], [1.0]]), t), 0.0, 1.0)
        for share in t:
            y = y0 + share * (y1 - y0)
            bottom, top = np.minimum(bottom, y), np.maximum(top, y)
    start = np.clip(np.floor(bottom - 1e-9).astype(np.int64), 0, side[1] - 1)
    end = np.clip(np.floor(top + 1e-9).astype(np.int64), 0, side[1] - 1)
    many = end - start + 1
    cuts = np.flatnonzero(np.diff(np.cumsum(many) // _PAIRS)) + 1
    for chunk in np.split(np.arange(len(tri)), cuts):
        which, rank = _repeated(many[chunk])
        which = chunk[which]
        yield tri[which], np.stack([row[which], start[which] + rank], axis=1)


def _repeated(many: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Each number as often as told, and the how-manieth time it is."""
    number = np.repeat(np.arange(len(many)), many)
    return number, np.arange(len(number)) - np.repeat(np.cumsum(many) - many, many)


def pieces(
    triangles: Array, step: NDArray[np.int64], mixed: bool, low: Array, pitch: Array,
    side: tuple[int, int], lines: Array,
) -> Pieces:
    """Where the lines run inside: winding above 0, or after an odd count of crossings."""
    line, tri, rising, z = crossings(triangles, low, pitch, side, lines)
    # An upward line leaves by a triangle that faces up and enters by one that faces down.
    add = np.where(rising, -1, 1) * step[tri]
    if mixed:
        add = np.abs(step[tri])
    keep = add != 0
    line, z, add = line[keep], z[keep], add[keep]
    order = np.lexsort((z, line))
    line, z, add = line[order], z[order], add[order]
    total = np.cumsum(add)
    first = np.r_[True, line[1:] != line[:-1]] if len(line) else np.empty(0, bool)
    start = np.maximum.accumulate(np.where(first, np.arange(len(line)), 0))
    winding = total - (total - add)[start] if len(line) else total
    last = np.r_[first[1:], True] if len(line) else first
    wrong = (winding % 2 == 1) if mixed else (winding != 0)
    bad = np.unique(line[last & wrong])
    inside = (winding % 2 == 1) if mixed else (winding > 0)
    good = inside & ~last & ~np.isin(line, bad)
    at = np.flatnonzero(good)
    return _joined(line[at], z[at], z[at + 1], len(bad))


def _joined(line: NDArray[np.int64], low: Array, high: Array, bad: int) -> Pieces:
    """Run pieces together that follow without a gap (overlapping shells)."""
    if len(line) == 0:
        return Pieces(line, low, high, bad)
    new = np.r_[True, (line[1:] != line[:-1]) | (low[1:] != high[:-1])]
    start = np.flatnonzero(new)
    return Pieces(line[start], low[start], high[np.r_[start[1:], len(line)] - 1], bad)


def volume(
    triangles: Array, step: NDArray[np.int64], mixed: bool, side: int = 160, seed: int = 0,
    up: Array | None = None, level: float = -np.inf,
) -> Volume:
    """Volume of what raw triangles (m, 3, 3) wrap, by two random lines in each square of a grid.

    step, mixed : as `steps_of` gives and takes them. Unbiased; the standard error comes from how
    far the two lines of a square differ.
    up, level : lines along `up`, and only what is above x . up = level.
    """
    rng = np.random.default_rng(seed)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn[0] *= np.linalg.det(turn)
    if up is not None:
        turn = upright(up)
    turned = triangles @ turn.T
    low, high = turned.min(axis=(0, 1))[:2], turned.max(axis=(0, 1))[:2]
    # Thousands of long slanting slivers would ask for a coarser grid: its error is told as well.
    boxes = np.ptp(turned[:, :, :2], axis=1) / (high - low)
    while side > 30 and float((boxes * side + 1).prod(axis=1).sum()) > _MOST:
        side //= 2
    pitch = (high - low) / side
    lengths = np.zeros((2, side * side))
    dropped = 0
    corner = np.stack(np.meshgrid(np.arange(side), np.arange(side), indexing="ij"), -1)
    for i in range(2):
        lines = low + (corner.reshape(-1, 2) + rng.random((side * side, 2))) * pitch
        got = pieces(turned, step, mixed, low, pitch, (side, side), lines)
        reach = np.maximum(got.high - np.maximum(got.low, level), 0.0)
        lengths[i] = np.bincount(got.line, weights=reach, minlength=side * side)
        dropped += got.unbalanced
    area = float(pitch[0] * pitch[1])
    sigma = area * np.sqrt(((lengths[0] - lengths[1]) ** 2).sum()) / 2
    hit = max(1, int((lengths > 0).sum()))
    return Volume(area * float(lengths.sum()) / 2, float(sigma), dropped / hit)


def upright(up: Array) -> Array:
    """Rotation, rows for column vectors, that takes the unit vector `up` to +Z."""
    x = np.cross(up, np.eye(3)[int(np.argmin(np.abs(up)))])
    x /= np.linalg.norm(x)
    return np.array([x, np.cross(up, x), up])


@dataclass(frozen=True)
class Trapped:
    """A pocket of the flood: top, height at which it closes, volume."""

    top_mm: float
    saddle_mm: float
    mm3: float


def flooded(
    triangles: Array, step: NDArray[np.int64], mixed: bool, up: Array, columns: int = 80
) -> tuple[list[Trapped], float]:
    """Pockets by flooding columns of the model, and the columns' distance; largest first.

    Along `up` the columns are exact; across they are a grid. Two pieces of neighbouring columns
    are joined where they overlap, which resin or air passes up to the lower of their tops. The
    cavity is open at its top. Walls and gaps thinner than the grid are not seen for what they are.
    """
    turn = upright(up)
    turned = triangles @ turn.T
    low, high = turned.min(axis=(0, 1))[:2], turned.max(axis=(0, 1))[:2]
    width = float((high - low).max()) / columns
    side = tuple(int(n) for n in np.maximum(np.ceil((high - low) / width), 1))
    pitch = np.full(2, width)
    corner = np.stack(np.meshgrid(*(np.arange(n) for n in side), indexing="ij"), -1).reshape(-1, 2)
    lines = low + (corner + np.array([0.5 + 1e-4 * np.sqrt(2), 0.5 - 1e-4 * np.sqrt(3)])) * pitch
    got = pieces(turned, step, mixed, low, pitch, side, lines)
    if len(got.line) == 0:  # thinner than the columns are apart
        return [], width
    a, b = _neighbours(got, side)
    return _read(got, a, b, width**2), width


def _neighbours(
    got: Pieces, side: tuple[int, int]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    count = np.bincount(got.line, minlength=side[0] * side[1])
    start = np.cumsum(count) - count
    row, column = got.line // side[1], got.line % side[1]
    each = np.arange(len(got.line))
    pairs = []
    for there, exists in ((got.line + side[1], row + 1 < side[0]),
                          (got.line + 1, column + 1 < side[1])):
        here = each[exists]
        for k in range(int(count.max(initial=0))):
            here = here[k < count[there[here]]]
            other = start[there[here]] + k
            meet = np.minimum(got.high[here], got.high[other]) > np.maximum(
                got.low[here], got.low[other]
            )
            pairs.append((here[meet], other[meet]))
    return np.concatenate([p[0] for p in pairs]), np.concatenate([p[1] for p in pairs])


def _read(got: Pieces, a: NDArray[np.int64], b: NDArray[np.int64], area: float) -> list[Trapped]:
    """Let the level fall, join what joins, and note what is closed off from the open top."""
    n = len(got.line)
    owner = list(range(n))
    members = [[i] for i in range(n)]
    is_open = [False] * n
    is_open[int(np.argmax(got.high))] = True
    found = []

    def root(i: int) -> int:
        while owner[i] != i:
            owner[i] = owner[owner[i]]
            i = owner[i]
        return i

    def close(group: int, level: float) -> None:
        inside = np.array(members[group])
        air = np.maximum(got.high[inside] - np.maximum(got.low[inside], level), 0).sum() * area
        found.append(Trapped(float(got.high[inside].max()), level, float(air)))

    height = np.minimum(got.high[a], got.high[b])
    for e in np.argsort(-height, kind="stable"):
        p, q = root(int(a[e])), root(int(b[e]))
        if p == q:
            continue
        if is_open[p] != is_open[q]:
            close(q if is_open[p] else p, float(height[e]))
        if len(members[p]) < len(members[q]):
            p, q = q, p
        owner[q] = p
        is_open[p] = is_open[p] or is_open[q]
        members[p] += members[q]
        members[q] = []
    for i in range(n):
        if owner[i] == i and not is_open[i]:
            close(i, -np.inf)
    return sorted(found, key=lambda t: -t.mm3)


def mm3_above(vertices: np.ndarray, faces: np.ndarray, up: np.ndarray, level: float) -> float:
    """Volume of a closed mesh above a level: the mean height above it of each triangle, times its
    area as seen from above. A triangle that the level cuts has a smaller one above, in closed form.
    """
    height = np.sort((vertices @ up - level)[faces], axis=1)
    corner = vertices[faces]
    seen = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]) @ up / 2
    low, middle, high = height.T
    mean = height.mean(axis=1)
    with np.errstate(all="ignore"):
        tip = high**3 / (3 * (high - low) * (high - middle))
        stump = mean - low**3 / (3 * (high - low) * (middle - low))
    cut = np.where(middle <= 0, tip, stump)
    return float(seen @ np.where(low >= 0, mean, np.where(high <= 0, 0.0, cut)))
