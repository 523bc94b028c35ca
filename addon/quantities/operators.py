"""The folder of the shop's own materials."""

from __future__ import annotations

from typing import ClassVar

import bpy

from . import materials

README = """Files named resin-....toml hold presets of your own, one table each, for example

[our-white]
title = "Our white"
part_a = "isocyanate part"
part_b = "polyol part"
cured_density_g_ml = 1.06
ratio_basis = "weight"
ratio_a = 100
ratio_b = 95
pot_life_min = 3
viscosity_mpa_s = 90
source = "data sheet of the product"

All keys and their units are in the guide, under the bench.
"""


class POURWRIGHT_OT_open_materials(bpy.types.Operator):
    """Open the folder of your own presets; it is made if need be"""

    bl_idname = "pourwright.open_materials"
    bl_label = "Open Materials Folder"
    bl_options: ClassVar[set[str]] = {"INTERNAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Make the folder, with a note how to fill it, and show it."""
        place = materials.folder(create=True)
        if place is None:
            self.report({"ERROR"}, "Install the extension first; its folder holds the presets")
            return {"CANCELLED"}
        note = place / "README.txt"
        if not note.exists():
            note.write_text(README, encoding="utf-8")
        if not bpy.app.background:
            bpy.ops.wm.path_open(filepath=str(place))
        return {"FINISHED"}


classes = (POURWRIGHT_OT_open_materials,)
