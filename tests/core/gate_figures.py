"""Figures on a plain base for tests of gates, and what is looked at from outside."""

from __future__ import annotations

import numpy as np
import trimesh
from shapes import as_mesh, box

from pourwright.air import find_pockets, prepare, top_plane_vertices
from pourwright.gates import Gates, GateSettings, place_gates
from pourwright.shop.flow import Liquid
from pourwright.solid import TriMesh, boolean

UP = np.array([0.0, 0.0, -1.0])
# The base: its figure side lies at z = 0, the mould top plane at z = -5.
BASE = as_mesh(box((-12, -12, -5), (12, 12, 0)))
TOP_MM = 5.0
THIN = Liquid(0.08, 1100.0)


def rod(radius: float, low: float, high: float, x: float = 0.0, y: float = 0.0) -> trimesh.Trimesh:
    body = trimesh.creation.cylinder(radius, high - low, sections=64)
    body.apply_translation((x, y, (low + high) / 2))
    return body


def ball(radius: float, z: float, x: float = 0.0, y: float = 0.0) -> trimesh.Trimesh:
    body = trimesh.creation.icosphere(subdivisions=3, radius=radius)
    body.apply_translation((x, y, z))
    return body


def on_base(*bodies: trimesh.Trimesh, turn: np.ndarray | None = None) -> TriMesh:
    """United with the base; turned about the origin first, if asked."""
    parts = [b.copy() for b in bodies]
    if turn is not None:
        for part in parts:
            part.apply_transform(turn)
    return boolean.union([BASE, *(as_mesh(p) for p in parts)], "figure on its base")


def gates_of(
    mesh: TriMesh,
    liquid: Liquid = THIN,
    settings: GateSettings | None = None,
    pot_life_s: float = 180.0,
    base_height_mm: float = 0.0,
    up: np.ndarray = UP,
    **more: object,
) -> Gates:
    surface = prepare(boolean.refined(mesh, 1.5))
    report = find_pockets(surface, up, top_plane_vertices(surface, up))
    return place_gates(
        mesh, report, liquid, pot_life_s, settings or GateSettings(),
        base_height_mm=base_height_mm, **more,  # type: ignore[arg-type]
    )  # fmt: skip
