"""The protected surface: weights read in short slices by a timer, kept until the paint changes.

Blender has no call that gives the weights of all vertices at once, so reading a million takes
longer than a frame may. What is drawn follows the objects when they are moved.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import bpy

from ..bridge import weighted_triangles
from ..figure.settings import chosen

SLICE_S, SETTLED_S = 0.008, 0.3
VERTICES_AT_ONCE = 1000


@dataclass(frozen=True, eq=False)
class Painted:
    """Painted triangles of one object: corners (3 m, 3) in its own frame, weights (3 m,)."""

    uid: int
    name: str
    corners: Any
    weights: Any


class _State:
    """What is known, for which paint, and the reading that goes on."""

    key: Any = None
    surfaces: tuple[Painted, ...] = ()
    wanted: Any = None
    reading: Iterator[None] | None = None
    changed: int = 0
    changed_at: float = 0.0
    until: float = 0.0


_state = _State()


def surfaces_of(scene: bpy.types.Scene) -> tuple[Painted, ...]:
    """Return what was read last; where the paint changed since, start to read it again."""
    name = scene.pourwright.figure.protect
    parts = [part.object for part in scene.pourwright.figure.parts]
    painted = [obj for obj in parts if obj is not None and name in obj.vertex_groups]
    key = (scene.session_uid, name, tuple(obj.session_uid for obj in painted), _state.changed)
    if not painted:
        _state.key, _state.surfaces = key, ()
    elif key != _state.key:
        if key != _state.wanted:
            _state.wanted, _state.reading = key, None
        if not bpy.app.timers.is_registered(_step):  # Blender drops timers when a file is opened
            bpy.app.timers.register(_step)
    return _state.surfaces


def on_change(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    """Take note when the geometry of an object of the figure changes; a move is none."""
    if not _state.surfaces and _state.wanted is None:
        return
    for update in depsgraph.updates:
        if update.is_updated_geometry and isinstance(update.id, bpy.types.Object):
            _state.changed += 1
            _state.changed_at = time.monotonic()
            return


def forget() -> None:
    """Drop what is kept and stop reading."""
    if bpy.app.timers.is_registered(_step):
        bpy.app.timers.unregister(_step)
    _state.key = _state.wanted = _state.reading = None
    _state.surfaces = ()


def _step() -> float | None:
    """Read one slice; the timer's next delay, or None when all is read."""
    wait = _state.changed_at + SETTLED_S - time.monotonic()
    if wait > 0.0:
        return wait
    try:
        scene = _scene()
        if scene is None:
            return None
        if _state.reading is None:
            _state.reading = _read(scene, _state.wanted)
        _state.until = time.perf_counter() + SLICE_S
        while time.perf_counter() < _state.until:
            next(_state.reading)
    except StopIteration:
        _state.reading = None
        _redraw()
        return None
    except (ReferenceError, RuntimeError):  # an object went away between two slices
        _state.reading = _state.wanted = None
        _redraw()  # which asks for it again
        return None
    return 0.0


def _scene() -> bpy.types.Scene | None:
    uid = _state.wanted[0] if _state.wanted else None
    return next((s for s in bpy.data.scenes if s.session_uid == uid), None)


def _read(scene: bpy.types.Scene, key: Any) -> Iterator[None]:
    """Read all painted objects of the figure; yields when a slice of time may be over."""
    found = []
    name = scene.pourwright.figure.protect
    uids = [obj.session_uid for obj in chosen(scene) if name in obj.vertex_groups]
    for uid in uids:
        weights: list[float] = []
        while True:
            # Blender may have computed the object anew since the last slice.
            obj = next((o for o in chosen(scene) if o.session_uid == uid), None)
            if obj is None or obj.mode == "EDIT":
                break
            evaluated = obj.evaluated_get(bpy.context.evaluated_depsgraph_get())
            group = evaluated.vertex_groups.get(name)
            vertices = evaluated.data.vertices if evaluated.type == "MESH" else ()
            if group is None or len(weights) > len(vertices):
                break
            _more(weights, vertices, group.index)
            if len(weights) == len(vertices):
                yield
                corners, values = weighted_triangles(evaluated.data, weights)
                if len(values):
                    found.append(Painted(uid, obj.name, corners, values))
                break
            yield
        yield
    _state.surfaces, _state.key, _state.wanted = tuple(found), key, None


def _more(weights: list[float], vertices: Any, group: int) -> None:
    while len(weights) < len(vertices) and time.perf_counter() < _state.until:
        begin = len(weights)
        for vertex in vertices[begin : begin + VERTICES_AT_ONCE]:
            weight = 0.0
            for entry in vertex.groups:
                if entry.group == group:
                    weight = entry.weight
            weights.append(weight)


def _redraw() -> None:
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()
