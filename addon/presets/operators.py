"""Keeping and applying presets: Blender's own files of presets, in folders of our own.

Blender writes a preset as a Python file of assignments and runs it to apply it. Here it is read
instead: a preset of an older version is moved to the names of this one, one that cannot be applied
whole changes nothing, and applying is one step to undo.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import bpy
from bl_operators.presets import AddPresetBase

from .. import messages
from ..saved.migrate import STEPS, move
from .paths import paths, read, write

FOLDER = "pourwright"
SETTINGS = "bpy.context.scene.pourwright."
KINDS = {
    "shop": "Shop",
    "printer": "Printer",
    "process": "Process",
    "materials": "Materials",
    "job": "Job",
}


class _AddPreset(AddPresetBase):
    """Mix-in of the operators that keep or remove a preset of one kind."""

    bl_options: ClassVar[set[str]] = {"REGISTER", "INTERNAL"}
    kind: ClassVar[str] = ""

    @property
    def preset_values(self) -> list[str]:
        """What Blender writes: whole names, as it loses shorter ones under Python 3.13."""
        return [SETTINGS + path for path in paths(self.kind)]


class POURWRIGHT_OT_shop_preset_add(_AddPreset, bpy.types.Operator):
    """Keep room, scale, cup, minutes, vessels and the mould's price and life, or remove a preset"""

    bl_idname = "pourwright.shop_preset_add"
    bl_label = "Add Shop Preset"
    kind: ClassVar[str] = "shop"
    preset_menu = "POURWRIGHT_PT_shop_presets"
    preset_subdir = f"{FOLDER}/shop"


class POURWRIGHT_OT_printer_preset_add(_AddPreset, bpy.types.Operator):
    """Keep the printer and its sizes, or remove a preset"""

    bl_idname = "pourwright.printer_preset_add"
    bl_label = "Add Printer Preset"
    kind: ClassVar[str] = "printer"
    preset_menu = "POURWRIGHT_PT_printer_presets"
    preset_subdir = f"{FOLDER}/printer"


class POURWRIGHT_OT_process_preset_add(_AddPreset, bpy.types.Operator):
    """Keep how resin is poured and cured, and the visible defect, or remove a preset"""

    bl_idname = "pourwright.process_preset_add"
    bl_label = "Add Process Preset"
    kind: ClassVar[str] = "process"
    preset_menu = "POURWRIGHT_PT_process_presets"
    preset_subdir = f"{FOLDER}/process"


class POURWRIGHT_OT_materials_preset_add(_AddPreset, bpy.types.Operator):
    """Keep resin and silicone with margins, shrinkage and the resin's price, or remove a preset"""

    bl_idname = "pourwright.materials_preset_add"
    bl_label = "Add Materials Preset"
    kind: ClassVar[str] = "materials"
    preset_menu = "POURWRIGHT_PT_materials_presets"
    preset_subdir = f"{FOLDER}/materials"


class POURWRIGHT_OT_job_preset_add(_AddPreset, bpy.types.Operator):
    """Keep every setting of all panels but figure, own base and export, or remove a preset"""

    bl_idname = "pourwright.job_preset_add"
    bl_label = "Add Job Preset"
    kind: ClassVar[str] = "job"
    preset_menu = "POURWRIGHT_PT_job_presets"
    preset_subdir = f"{FOLDER}/job"


class POURWRIGHT_OT_apply_preset(bpy.types.Operator):
    """Set what this preset keeps; results stay, and are marked where they no longer match"""

    bl_idname = "pourwright.apply_preset"
    bl_label = "Apply Preset"
    bl_options: ClassVar[set[str]] = {"UNDO", "INTERNAL"}

    filepath: bpy.props.StringProperty(
        name="File", description="The file of the preset", subtype="FILE_PATH",
        options={"SKIP_SAVE"},
    )
    kind: bpy.props.EnumProperty(
        name="Kind", description="What the preset is for", options={"SKIP_SAVE"},
        items=[(kind, label, f"What {label} presets keep") for kind, label in KINDS.items()],
    )

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Read the file, then set all of it or nothing."""
        name = bpy.path.display_name(self.filepath, title_case=False)
        settings = context.scene.pourwright
        try:
            values = preset_values(Path(self.filepath).read_text(encoding="utf-8"))
            known = {path: values.pop(path) for path in paths(self.kind) if path in values}
            if not known:
                raise ValueError(f"there is nothing in it for {KINDS[self.kind]}")
            write(settings, known)
        except (OSError, ValueError) as error:
            said = f"The preset '{name}' cannot be applied: {getattr(error, 'strerror', error)}"
            messages.tell(context, "ERROR", said)
            self.report({"ERROR"}, said)
            return {"CANCELLED"}
        # As with Blender's own presets, the menu is called by what was chosen last.
        getattr(bpy.types, f"POURWRIGHT_PT_{self.kind}_presets").bl_label = name
        set_to = read(settings, known)
        amiss = [*values, *(path for path in known if not same(set_to[path], known[path]))]
        said = f"Applied the preset '{name}'"
        said += ", but this version cannot set " + ", ".join(amiss) if amiss else ""
        messages.tell(context, "INFO", said)
        self.report({"WARNING"} if amiss else {"INFO"}, said)
        return {"FINISHED"}


def preset_values(text: str) -> dict[str, Any]:
    """Return the values in a preset's text by path, under the names of this version.

    Raises ValueError for a text that is no preset.
    """
    values: dict[str, Any] = {}
    try:
        for line in ast.parse(text).body:
            if isinstance(line, ast.Assign) and isinstance(line.targets[0], ast.Attribute):
                path = ast.unparse(line.targets[0])
                if not path.startswith(SETTINGS):
                    continue
                *folders, name = path.removeprefix(SETTINGS).split(".")
                holder = values
                for folder in folders:
                    holder = holder.setdefault(folder, {})
                holder[name] = ast.literal_eval(line.value)
    except (AttributeError, MemoryError, RecursionError, SyntaxError, TypeError, ValueError):
        raise ValueError("the file is damaged") from None
    move(values, STEPS, version=0)
    return dict(_flat(values, ""))


def _flat(values: dict[str, Any], prefix: str) -> Iterator[tuple[str, Any]]:
    for name, value in values.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}{name}.")
        else:
            yield prefix + name, value


def same(value: Any, wanted: Any) -> bool:
    """Whether a setting has taken the value that it was given, but for single precision."""
    if isinstance(value, float) and isinstance(wanted, float | int):
        return math.isclose(value, wanted, rel_tol=1e-6, abs_tol=1e-6)
    if isinstance(value, tuple) and isinstance(wanted, tuple):
        return len(value) == len(wanted) and all(map(same, value, wanted))
    return bool(value == wanted)


classes = (
    POURWRIGHT_OT_shop_preset_add,
    POURWRIGHT_OT_printer_preset_add,
    POURWRIGHT_OT_process_preset_add,
    POURWRIGHT_OT_materials_preset_add,
    POURWRIGHT_OT_job_preset_add,
    POURWRIGHT_OT_apply_preset,
)
