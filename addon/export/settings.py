"""Settings of the export."""

from __future__ import annotations

import bpy


class PourwrightExport(bpy.types.PropertyGroup):
    """Where the files go, and which."""

    folder: bpy.props.StringProperty(
        name="Folder",
        description="Folder for the files; // is the folder of the .blend file",
        default="//",
        subtype="DIR_PATH",
    )
    write_3mf: bpy.props.BoolProperty(
        name="3MF",
        description="Write master.3mf for the slicer, in millimetres; base.3mf with a socket",
        default=True,
    )
    write_stl: bpy.props.BoolProperty(
        name="STL",
        description="Write master.stl, in millimetres; base.stl with a socket",
        default=True,
    )
    write_rods: bpy.props.BoolProperty(
        name="Rod List",
        description="Write rods.csv with the pieces of each vent, for cutting real rod",
        default=True,
    )
    write_plan: bpy.props.BoolProperty(
        name="Plan",
        description="Write plan.json with pockets, vents, quantities and warnings",
        default=True,
    )
    write_sheet: bpy.props.BoolProperty(
        name="Pour Sheet",
        description="Write sheet.html, two pages to print and take to the bench",
        default=True,
    )
    overwrite: bpy.props.BoolProperty(
        name="Replace Files",
        description="Replace files of the same name that are in the folder already",
        default=False,
    )


classes = (PourwrightExport,)
