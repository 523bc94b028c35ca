"""The demo as a .blend file, made with the extension itself in a Blender without a window."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pourwright.example.shapes import Part

MM_PER_UNIT = 1000.0  # one Blender unit is one metre; lengths are shown in millimetres


def save_scene(parts: Sequence[Part], job: dict[str, Any], path: Path) -> dict[str, Any]:
    """Model the figure, press Make Master and save the file; returns the plan that was made.

    job : tables of a job file. The figure's parts become one object each, at true size.
    """
    import bpy

    import addon

    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.unit_settings.system = "METRIC"
    scene.unit_settings.length_unit = "MILLIMETERS"
    addon.register()
    figure = bpy.data.collections.new("Heron")
    scene.collection.children.link(figure)
    for part in parts:
        mesh = bpy.data.meshes.new(part.name)
        mesh.from_pydata(part.vertices / MM_PER_UNIT, [], part.faces.tolist())
        obj = bpy.data.objects.new(part.name, mesh)
        figure.objects.link(obj)
        obj.select_set(True)
        bpy.context.view_layer.objects.active = obj
    settings = scene.pourwright
    settings.base.kind = job["base"]["kind"]
    settings.base.margin_mm = job["base"]["margin_mm"]
    if bpy.ops.pourwright.make_master() != {"FINISHED"}:
        raise SystemExit("Blender could not make the master")
    path.unlink(missing_ok=True)
    bpy.ops.wm.save_as_mainfile(filepath=str(path.resolve()), check_existing=False)
    plan: dict[str, Any] = json.loads(settings.plan)
    addon.unregister()
    return plan


def same_numbers(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether two plans weigh out the same resin; Blender keeps coordinates as float32."""
    return bool(
        np.isclose(one["resin"]["poured_ml"], other["resin"]["poured_ml"], rtol=1e-4)
        and len(one["vents"]) == len(other["vents"])
    )
