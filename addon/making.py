"""Large meshes of a result, made before it is applied: a step at each tick of the timer.

A million triangles take Blender longer than a view may stand still. Until all are made nothing of
them is in the scene, and no event reaches Blender that could push an undo step between two ticks;
then they are applied together with all else, as one undo step.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy

from .bridge import fill_steps
from .jobs import JobError, Outcome, WorkerJob

LARGE_FACES = 50_000
# Only the overlay of the view reads these, so they need no smooth look.
NEVER_SEEN = frozenset({"rising"})


class _State:
    """The job whose meshes are being made."""

    job: WorkerJob | None = None
    steps: Iterator[None] | None = None
    made: dict[int, bpy.types.Mesh]


_state = _State()
_state.made = {}


def step(job: WorkerJob, scene: bpy.types.Scene) -> bool:
    """Make a little more of the meshes of a job that has ended; False when there is no more."""
    if _state.job is not job:
        drop()
        try:
            _state.job, _state.steps = job, _steps(job.outcome(), scene)
        except JobError:  # which whoever applies it will hear of
            _state.job, _state.steps = job, iter(())
    try:
        return next(_state.steps, _END) is not _END
    except (MemoryError, RuntimeError, ReferenceError):
        # Whoever applies the result makes them at once, and tells the user if that fails too.
        drop()
        _state.job, _state.steps = job, iter(())
        return False


def take(vertices: Any) -> bpy.types.Mesh | None:
    """Return the mesh made of these very arrays, which is whoever asks's from then on, or None."""
    mesh = _state.made.pop(id(vertices), None)
    try:
        # A script may have undone something meanwhile: then it is made anew.
        return mesh if mesh is not None and mesh.users == 0 else None
    except ReferenceError:
        return None


def drop() -> None:
    """Remove what was made and not taken."""
    for mesh in _state.made.values():
        try:
            bpy.data.meshes.remove(mesh)
        except ReferenceError:
            continue
    _state.job = _state.steps = None
    _state.made = {}


_END = object()


def _steps(outcome: Outcome, scene: bpy.types.Scene) -> Iterator[None]:
    for i, entry in enumerate(outcome.result.get("objects", ())):
        vertices, faces = (outcome.arrays[f"{what}_{i}"] for what in ("vertices", "faces"))
        if len(faces) < LARGE_FACES:
            continue
        mesh = _state.made[id(vertices)] = bpy.data.meshes.new(entry["name"])
        edges = (outcome.arrays[f"edges_{i}"], outcome.arrays[f"corner_edges_{i}"])
        smooth = entry["role"] not in NEVER_SEEN
        yield from fill_steps(mesh, vertices, faces, scene, edges, smooth)
