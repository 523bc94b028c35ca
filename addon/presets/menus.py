"""The menus of presets, in the headers of the panels whose settings they keep."""

from __future__ import annotations

from typing import ClassVar

import bpy
from bl_ui.utils import PresetPanel

from .operators import FOLDER


class _Presets(PresetPanel):
    """Mix-in of a menu of presets; the operator that applies one is ours, see there."""

    preset_operator = "pourwright.apply_preset"
    preset_extensions: ClassVar[set[str]] = {".py"}


class POURWRIGHT_PT_shop_presets(_Presets, bpy.types.Panel):
    """What the shop has, and how long things take there."""

    bl_label = "Shop Presets"
    preset_subdir = f"{FOLDER}/shop"
    preset_add_operator = "pourwright.shop_preset_add"
    preset_operator_defaults: ClassVar[dict[str, str]] = {"kind": "shop"}


class POURWRIGHT_PT_printer_presets(_Presets, bpy.types.Panel):
    """Printers of the shop."""

    bl_label = "Printer Presets"
    preset_subdir = f"{FOLDER}/printer"
    preset_add_operator = "pourwright.printer_preset_add"
    preset_operator_defaults: ClassVar[dict[str, str]] = {"kind": "printer"}


class POURWRIGHT_PT_process_presets(_Presets, bpy.types.Panel):
    """Ways to pour and cure."""

    bl_label = "Process Presets"
    preset_subdir = f"{FOLDER}/process"
    preset_add_operator = "pourwright.process_preset_add"
    preset_operator_defaults: ClassVar[dict[str, str]] = {"kind": "process"}


class POURWRIGHT_PT_materials_presets(_Presets, bpy.types.Panel):
    """Resin and silicone as they are bought and mixed."""

    bl_label = "Materials Presets"
    preset_subdir = f"{FOLDER}/materials"
    preset_add_operator = "pourwright.materials_preset_add"
    preset_operator_defaults: ClassVar[dict[str, str]] = {"kind": "materials"}


class POURWRIGHT_PT_job_presets(_Presets, bpy.types.Panel):
    """All settings of a job."""

    bl_label = "Job Presets"
    preset_subdir = f"{FOLDER}/job"
    preset_add_operator = "pourwright.job_preset_add"
    preset_operator_defaults: ClassVar[dict[str, str]] = {"kind": "job"}


classes = (
    POURWRIGHT_PT_shop_presets,
    POURWRIGHT_PT_printer_presets,
    POURWRIGHT_PT_process_presets,
    POURWRIGHT_PT_materials_presets,
    POURWRIGHT_PT_job_presets,
)
