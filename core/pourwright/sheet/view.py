"""A master seen from one side: its outlines as lines, its shape as a light grey picture.

What is in front is found on a grid of lines of sight, so the drawing does not depend on how the
surface is cut into triangles: a line is drawn where the depth jumps from one cell to the next.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass

import numpy as np

from pourwright.solid.columns import hits
from pourwright.solid.lines import simplified
from pourwright.solid.mesh import Floats, TriMesh

# Cells along the longer side of a view; on paper about 0.2 mm each.
_CELLS = 440
# The depth jumps where it changes by more than this many cells from one to the next.
_JUMP = 5.0
_ABRUPT = 1.8  # times as much as the steps beside it
_FAR = 4.0  # times the jump
_SHORTEST = 6  # cells; shorter lines are specks
_SMOOTH = 2  # cells on either side that a line's corners are averaged over
_LIGHT = np.array([-0.45, 0.55, 0.70])
_DARKEST, _LIGHTEST = 196, 250
_SLACK = 0.22  # cells that a line may be off where corners are left out


@dataclass(frozen=True, eq=False)
class View:
    """One side of a master.

    axes : (3, 3) rows are right, up and towards the viewer; x @ axes.T are view coordinates.
    low, high : (2,) extent in view coordinates, mm. lines : (k, 2) mm each. shade : (h, w) uint8
    grey, first row on top, over the extent from `corner` to `far`. depth : (h, w) in the same
    order, -inf where nothing is.
    """

    axes: Floats
    low: Floats
    high: Floats
    corner: Floats
    far: Floats
    pitch_mm: float
    lines: tuple[Floats, ...]
    depth: Floats

    @property
    def size_mm(self) -> Floats:
        """Width and height, (2,)."""
        return self.high - self.low

    def at(self, points: Floats) -> Floats:
        """Return (n, 3) points in view coordinates, (n, 3)."""
        placed: Floats = np.atleast_2d(np.asarray(points, dtype=np.float64)) @ self.axes.T
        return placed

    def hidden(self, points: Floats, slack_mm: float = 1.0) -> np.ndarray:
        """Return which of (n, 3) points lie further than the slack behind the surface."""
        x, y, z = self.at(points).T
        rows, columns = self.depth.shape
        i = np.clip(((self.far[1] - y) / self.pitch_mm).astype(int), 0, rows - 1)
        j = np.clip(((x - self.corner[0]) / self.pitch_mm).astype(int), 0, columns - 1)
        behind: np.ndarray = self.depth[i, j] > z + slack_mm
        return behind

    def shade_png(self) -> bytes:
        """Return the grey picture of the shape as a PNG."""
        return grey_png(_shade(self.depth, self.pitch_mm))


def side_axes(up: Floats, towards: Floats) -> Floats:
    """Return the axes of a view with `up` upwards, from about the side `towards` points to."""
    up = np.asarray(up, dtype=np.float64) / np.linalg.norm(up)
    towards = towards - (towards @ up) * up
    if np.linalg.norm(towards) < 1e-6:  # looks along the up direction: take any side
        helper = np.eye(3)[int(np.argmin(np.abs(up)))]
        towards = helper - (helper @ up) * up
    towards = towards / np.linalg.norm(towards)
    return np.stack([np.cross(up, towards), up, towards])


def look(mesh: TriMesh, axes: Floats) -> View:
    """Return the view of a mesh along the third of its axes."""
    turned = mesh.vertices @ axes.T
    used = turned[mesh.faces.ravel()]
    low, high = used.min(axis=0), used.max(axis=0)
    pitch = float(max((high - low)[:2].max(), 1e-6)) / _CELLS
    columns, rows = (int(np.ceil((high - low)[i] / pitch)) + 3 for i in range(2))
    corner = low[:2] - 1.5 * pitch
    x = corner[0] + (np.arange(columns) + 0.5) * pitch
    y = corner[1] + (np.arange(rows) + 0.5) * pitch
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    met = hits(turned, mesh.faces, points, only_up=True)
    depth = np.full(len(points), -np.inf)
    np.maximum.at(depth, met.line, met.z)
    grid = depth.reshape(rows, columns)
    lines = tuple(corner + line * pitch for line in _jumps(grid, _JUMP * pitch))
    return View(
        axes=axes, low=low[:2], high=high[:2], corner=corner,
        far=corner + np.array([columns, rows]) * pitch, pitch_mm=pitch,
        lines=lines, depth=grid[::-1],
    )  # fmt: skip


def _jumps(depth: Floats, jump: float) -> list[Floats]:
    """Return lines along cell borders where the depth jumps, in cells, smoothed and thinned.

    The border to where nothing is, and then the borders between near and far, which would fork it.
    """
    solid = np.isfinite(depth)
    inner = solid.copy()
    for axis in (0, 1):
        for way in (-1, 1):
            inner &= np.roll(solid, way, axis=axis)  # a second line along the border says nothing
    filled = np.where(inner, depth, np.nan)
    lines = []
    for border in (False, True):
        marks = []
        for axis in (1, 0):
            edge = np.diff(solid, axis=axis)
            if border:
                edge = _steep(np.abs(np.diff(filled, axis=axis)), axis, jump)
            marks.append(np.nonzero(edge))
        lines += _lines(marks[0], marks[1], depth.shape[1] + 1)
    return lines


def _steep(step: Floats, axis: int, jump: float) -> np.ndarray:
    """Mark steps that are jumps and no slope that only grows steep, as at a round side's edge.

    A thin thing in front has a jump on either side, next to each other, so far ones always count.
    """
    step = np.nan_to_num(step, nan=0.0)
    grown = np.pad(step, [(1, 1) if i == axis else (0, 0) for i in range(2)])
    before, after = (np.take(grown, range(s, s + step.shape[axis]), axis=axis) for s in (0, 2))
    abrupt = step > np.minimum(_ABRUPT * np.maximum(before, after), _FAR * jump)
    marked: np.ndarray = (step > jump) & abrupt
    return marked


def _lines(
    across: tuple[np.ndarray, ...], along: tuple[np.ndarray, ...], wide: int
) -> list[Floats]:
    """Join the borders right of some cells and above others into lines of corners (k, 2)."""
    i, j = across
    upright = np.stack([j + 1, i, j + 1, i + 1], axis=1)
    i, j = along
    level = np.stack([j, i + 1, j + 1, i + 1], axis=1)
    pairs = np.concatenate([upright, level])
    return [
        simplified(
            _smoothed(np.stack([run % wide, run // wide], axis=1).astype(np.float64)), _SLACK
        )
        for run in _chains(pairs[:, [1, 3]] * wide + pairs[:, [0, 2]])
        if len(run) > _SHORTEST
    ]


def _chains(edges: np.ndarray) -> list[np.ndarray]:
    """Join edges (n, 2) between numbered corners into runs that end at forks and loose ends."""
    at: dict[int, list[int]] = {}
    ends = edges.tolist()
    for number, (a, b) in enumerate(ends):
        at.setdefault(a, []).append(number)
        at.setdefault(b, []).append(number)
    used = bytearray(len(ends))
    runs: list[np.ndarray] = []

    def walk(corner: int, edge: int) -> None:
        run = [corner]
        while True:
            used[edge] = 1
            a, b = ends[edge]
            corner = b if corner == a else a
            run.append(corner)
            here = at[corner]
            if len(here) != 2:
                break
            edge = here[0] if here[1] == edge else here[1]
            if used[edge]:
                break
        runs.append(np.array(run))

    for corner, here in at.items():  # runs with ends first, then closed ones
        if len(here) != 2:
            for edge in here:
                if not used[edge]:
                    walk(corner, edge)
    for number, (a, _) in enumerate(ends):
        if not used[number]:
            walk(a, number)
    return runs


def _smoothed(line: Floats) -> Floats:
    """Average a line's corners along it, so that the steps of the cells go; its ends stay."""
    closed = bool((line[0] == line[-1]).all()) and len(line) > 3
    n = _SMOOTH
    if closed:
        ring = line[:-1]
        padded = np.concatenate([ring[-n:], ring, ring[:n]])
    else:
        padded = np.concatenate([np.repeat(line[:1], n, axis=0), line,
                                 np.repeat(line[-1:], n, axis=0)])  # fmt: skip
    weight = np.ones(2 * n + 1) / (2 * n + 1)
    smooth = np.stack([np.convolve(padded[:, i], weight, mode="valid") for i in range(2)], axis=1)
    if closed:
        return np.concatenate([smooth, smooth[:1]])
    smooth[0], smooth[-1] = line[0], line[-1]
    return smooth


def _shade(depth: Floats, pitch: float) -> np.ndarray:
    """Return grey by the slope of the surface, white where nothing is."""
    solid = np.isfinite(depth)
    filled = np.where(solid, depth, depth[solid].min() if solid.any() else 0.0)
    down, right = np.gradient(filled, pitch)
    normal = np.stack([-right, down, np.ones_like(filled)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    light = np.clip(normal @ (_LIGHT / np.linalg.norm(_LIGHT)), 0.0, 1.0)
    grey = _DARKEST + (_LIGHTEST - _DARKEST) * light
    # Few greys keep the file small and print alike everywhere.
    steps = np.round(grey / 6.0) * 6.0
    return np.where(solid, np.clip(steps, 0, 255), 255.0).astype(np.uint8)


def grey_png(pixels: np.ndarray) -> bytes:
    """Return (h, w) uint8 as a greyscale PNG (ISO/IEC 15948)."""
    height, width = pixels.shape
    rows = np.zeros((height, width + 1), dtype=np.uint8)  # a filter byte of 0 before each row
    rows[:, 1:] = pixels

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = zlib.compress(rows.tobytes(), 9)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )
