"""What is written of a figure, and where to."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import bpy

from ..bench.settings import plan_with_bench
from ..bridge import read_objects
from ..jobs import JobError
from ..quantities.materials import task_folder
from ..results import find_in
from ..running import Request

# Files by the setting that asks for them; those of a base with a socket where there is one.
FILES = {
    "write_3mf": "master.3mf",
    "write_stl": "master.stl",
    "write_rods": "rods.csv",
    "write_plan": "plan.json",
    "write_sheet": "sheet.html",
}
SOCKET_FILES = {"write_3mf": "base.3mf", "write_stl": "base.stl"}
LONGEST_NAME = 80


def asked(operator: type[bpy.types.Operator], scene: bpy.types.Scene) -> bool:
    """Whether there is a folder and a kind of file; sets the operator's poll message if not."""
    export = scene.pourwright.export
    if not any(getattr(export, name) for name in FILES):
        operator.poll_message_set("Choose at least one kind of file")
        return False
    if not export.folder.strip() or (export.folder.startswith("//") and not bpy.data.filepath):
        operator.poll_message_set("Choose a folder, or save the .blend file first")
        return False
    return True


def folder(scene: bpy.types.Scene) -> Path:
    """Return the folder that is set."""
    return Path(bpy.path.abspath(scene.pourwright.export.folder)).resolve()


def folder_names(names: Mapping[str, str]) -> dict[str, str]:
    """Return a folder for each named figure that every file system takes, no two the same.

    What is the same but for capitals is the same on some file systems.
    """
    found: dict[str, str] = {}
    for key, name in names.items():
        plain = re.sub(r'[\x00-\x1f<>:"/\\|?*]+', "_", name)[:LONGEST_NAME].strip(" .") or "figure"
        taken, number, free = {other.casefold() for other in found.values()}, 2, plain
        while free.casefold() in taken:
            free, number = f"{plain} {number}", number + 1
        found[key] = free
    return found


def request(
    context: bpy.types.Context,
    plan: dict[str, Any],
    top: bpy.types.Collection | None,
    folder: Path,
) -> Request:
    """Return a job that writes one figure: its plan, and the master in its results `top`."""
    scene = context.scene
    export = scene.pourwright.export
    names = [name for key, name in FILES.items() if getattr(export, key)]
    printed = [find_in(top, "master")]
    if plan["socket"] is not None:
        socket = find_in(top, "socket")
        if socket is None:
            raise JobError("The base with its socket is gone; press Make Master again")
        names += [name for key, name in SOCKET_FILES.items() if getattr(export, key)]
        printed.append(socket)
    there = [n for n in names if (folder / n).exists() and (folder / n).stat().st_size]
    if there and not export.overwrite:
        raise JobError(
            f"Already in {folder}: {', '.join(there)}; "
            "choose another folder, or tick Replace Files"
        )
    task = {
        "task": "export",
        "materials": task_folder(),
        "plan": plan_with_bench(scene, plan),
        "folder": str(folder),
        "files": names,
        "overwrite": export.overwrite,
    }
    return Request(task, read_objects(context, printed), scene.name)
