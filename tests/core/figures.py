"""Figures and folders for tests of the command line."""

from __future__ import annotations

from pathlib import Path

import trimesh


def export_figure() -> list[str]:
    """Write a figure of two overlapping files, a ball on a leg and a drooping arm."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=8)
    leg = trimesh.creation.cylinder(3, 20)
    leg.apply_translation((0, 0, -12))
    trimesh.util.concatenate([ball, leg]).export("body.stl")
    arm = trimesh.creation.box(extents=(14, 4, 4))
    arm.apply_translation((10, 0, 0))
    hand = trimesh.creation.box(extents=(4, 4, 10))
    hand.apply_translation((16, 0, -4))
    trimesh.util.concatenate([arm, hand]).export("arm.stl")
    return ["body.stl", "arm.stl"]


def tree(folder: Path = Path()) -> dict[str, bytes | None]:
    return {
        str(p): p.read_bytes() if p.is_file() else None for p in sorted(folder.rglob("*"))
    }  # fmt: skip
