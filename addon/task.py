"""What the worker is asked for, made from the scene's settings."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import bpy

from . import results
from .air.settings import UPSIDE_DOWN, process_table, up_vector
from .base.settings import base_table, own_base_table, socket_table
from .bench.settings import bench_table
from .bridge import in_scene, mm_per_unit, read_objects
from .curves import read_rod
from .figure.settings import chosen, state
from .gates.settings import gates_table
from .jobs import JobError
from .mould.settings import mould_key, mould_tables
from .pose.settings import PourwrightPoseWeights, cone_deg
from .printer.settings import print_tables
from .quantities.materials import task_folder
from .quantities.settings import material
from .running import Request, current_key
from .stored import stored_plan
from .translations import say

Tables = dict[str, dict[str, Any]]


def job_tables(scene: bpy.types.Scene) -> Tables:
    """Return the scene's settings as the tables of a job file."""
    settings = scene.pourwright
    air, base, vents, mix = settings.air, settings.base, settings.vents, settings.quantities
    tables: Tables = {
        "pour": {
            "up": list(up_vector(scene)),
            "process": air.process,
            "material": material(mix),
            "margin": mix.margin_percent / 100.0,
        },
        "process": process_table(air),
        "base": base_table(base),
        "socket": socket_table(base),
        "funnel": {
            "enabled": base.funnel,
            "mouth_mm": base.mouth_mm,
            "neck_mm": base.neck_mm,
            "height_mm": base.funnel_height_mm,
            "head_mm": base.head_mm,
        },
        "gates": gates_table(settings.gates),
        "vents": {
            "diameter_mm": vents.diameter_mm,
            "least_diameter_mm": vents.least_diameter_mm,
            "web_mm": vents.web_mm,
            "overlap_mm": vents.overlap_mm,
            "slope_deg": math.degrees(vents.slope),
            "neck_mm": vents.neck_mm,
            "neck_length_mm": vents.neck_length_mm,
            "grid_mm": vents.grid_mm,
        },
    }
    tables |= print_tables(settings.print)
    tables |= mould_tables(settings.mould)
    tables["bench"] = bench_table(settings.bench)
    if base.source == "OBJECT":
        # Nothing of a kind counts but how deep the figure sinks in, which must be within a height.
        tables["base"] = {"embed_mm": base.embed_mm, "height_mm": 2.0 * base.embed_mm}
        tables["own_base"] = own_base_table(base)
    return {
        name: {key: clean(value) for key, value in table.items()} for name, table in tables.items()
    }


def clean(value: Any) -> Any:
    """Drop the tail that single precision leaves: 0.3 is kept as 0.30000001."""
    if isinstance(value, float):
        return float(f"{value:.7g}")
    if isinstance(value, list):
        return [clean(v) for v in value]
    return value


def pose_tables(scene: bpy.types.Scene) -> Tables:
    """Return the settings of the search for a pose as tables of a job file."""
    pose = scene.pourwright.pose
    current = pose.standing == "CURRENT"
    table: dict[str, Any] = {
        "directions": pose.directions,
        "cone_deg": cone_deg(pose),
        "axis": list(up_vector(scene) if current else UPSIDE_DOWN),
        "keep": pose.keep,
    }
    for name in ("pot_height_mm", "pot_diameter_mm"):
        if getattr(pose, f"use_{name.removesuffix('_mm')}"):
            table[name] = getattr(pose, name)
    names = PourwrightPoseWeights.__annotations__
    weights = {name: getattr(pose.weights, name) for name in names}
    return {
        name: {key: clean(value) for key, value in values.items()}
        for name, values in (("pose", table), ("pose.weights", weights))
    }


def job_text(scene: bpy.types.Scene, more: Tables | None = None) -> str:
    """Return the settings, and more tables if given, as the text of a job file."""
    from pourwright.plan.toml_text import tables_text

    return tables_text(job_tables(scene) | (more or {}))


def fingerprint(
    scene: bpy.types.Scene,
    objects: list[bpy.types.Object] | None = None,
    tables: Tables | None = None,
) -> str:
    """Return a text that changes when settings change or an object of figure or base does.

    objects : the figure, None for the one that was chosen. tables : the settings, if known.
    """
    figure = state(chosen(scene) if objects is None else objects)
    base = scene.pourwright.base
    body = state([base.body]) if base.source == "OBJECT" and base.body is not None else []
    protect = scene.pourwright.figure.protect
    tables = _of_master(tables or job_tables(scene))
    made_of = [tables, mm_per_unit(scene), protect, figure, body]
    return json.dumps(made_of, sort_keys=True)


def _of_master(tables: Tables) -> Tables:
    """The tables that the master depends on: those of the mould only with a guide line on it."""
    guided = tables["mould"]["enabled"]
    return {name: table for name, table in tables.items()
            if name != "bench" and (guided or not name.startswith("mould"))}  # fmt: skip


def pose_fingerprint(
    scene: bpy.types.Scene, objects: list[bpy.types.Object] | None = None
) -> str:
    """Return a text that changes when a search for a pose would find something else.

    objects : the figure, None for the one that was chosen.
    """
    tables = job_tables(scene)
    embed_mm = tables["base"]["embed_mm"]  # what sinks into the base is drained through it
    judged = [tables["pour"]["process"], tables["process"], embed_mm, pose_tables(scene)]
    figure = state(chosen(scene) if objects is None else objects)
    protect = scene.pourwright.figure.protect
    return json.dumps([judged, mm_per_unit(scene), protect, figure], sort_keys=True)


def pose_stale(scene: bpy.types.Scene) -> str:
    """Return what the ranked poses no longer match, as a text for panels; empty when all is well.

    The pour direction is no part of it: it is what poses are for.
    """
    pose = scene.pourwright.pose
    if pose.poses and pose.made_with != pose_fingerprint(scene):
        return "Figure, process or settings changed: Find Pose"
    return ""


def stale(scene: bpy.types.Scene) -> str:
    """Return what the last plan no longer matches, as a text for panels; empty when all is well."""
    settings = scene.pourwright
    if not settings.plan:
        return ""
    if settings.made_with != fingerprint(scene):
        return say("Figure or settings changed: Make Master, or Check Again to keep the vents")
    if results.find(scene, "master") is None:
        return say("The master was deleted or renamed: Check Again makes it anew")
    if settings.vents_made_with != results.rod_digests(results.vents(scene)):
        return say("Vents changed: Check Again")
    if gates_changed(scene):
        return say("Gates changed: Check Again")
    return ""


def gates_changed(scene: bpy.types.Scene) -> bool:
    """Whether the gates are no longer those of the last plan."""
    return scene.pourwright.gates_made_with != results.rod_digests(results.gates(scene))


def figure_request(
    context: bpy.types.Context,
    task: str,
    selected: list[bpy.types.Object],
    figure: list[bpy.types.Object] | None = None,
) -> Request:
    """Return a job on the chosen figure, or on the selected objects if none was chosen.

    figure : the objects of another figure that is to be worked on instead.
    """
    scene = context.scene
    objects = chosen(scene) or selected if figure is None else figure
    if not objects:
        raise JobError("There is no figure; select its objects and press Use Selected")
    return Request(
        task={"task": task, "job": job_text(scene), "materials": task_folder()},
        meshes=read_objects(context, objects, scene.pourwright.figure.protect),
        scene=scene.name,
        objects=tuple(obj.name for obj in objects),
        notes={"made_with": fingerprint(scene, objects)},
        figure=current_key(scene),
    )


def plan_request(
    context: bpy.types.Context,
    selected: list[bpy.types.Object],
    figure: list[bpy.types.Object] | None = None,
) -> Request:
    """Return a job that makes the master, with the user's object as its base where that is set."""
    scene = context.scene
    request = figure_request(context, "plan", selected, figure)
    base = scene.pourwright.base
    if base.source != "OBJECT":
        return request
    if not in_scene(base.body, scene):
        raise JobError("Choose the object that becomes the base in Sprue Base, or set it to Kind")
    if base.body.name in request.objects:
        raise JobError(f"'{base.body.name}' is part of the figure; choose another object as base")
    request.task["own_base"] = len(request.meshes)
    return replace(request, meshes=[*request.meshes, *read_objects(context, [base.body])])


def mould_request(
    context: bpy.types.Context, selected: list[bpy.types.Object], way_points: list[Any]
) -> Request:
    """Return a job that plans the mould of the master as it is in the scene.

    way_points : where the cut has to pass; empty for where the shape suggests.
    """
    scene = context.scene
    request = figure_request(context, "mould", selected)
    request.task["plan"] = stored_plan(scene)
    request.task["way_points"] = way_points
    request.notes["mould"] = mould_key(
        scene.pourwright.mould, bench_table(scene.pourwright.bench), stored_plan(scene)
    )
    (master,) = read_objects(context, [results.find(scene, "master")])
    return replace(request, meshes=[master, *request.meshes])


def mould_stale(scene: bpy.types.Scene) -> str:
    """Return what the last mould no longer matches; empty when all is well."""
    plan = stored_plan(scene)
    mould = scene.pourwright.mould
    if plan is None or plan.get("mould") is None or not mould.made_with:
        return ""
    if mould.made_with != mould_key(mould, bench_table(scene.pourwright.bench), plan):
        return "Master or settings changed: Plan Mould"
    return ""


def pose_request(context: bpy.types.Context, selected: list[bpy.types.Object]) -> Request:
    """Return a search for the way up of the chosen figure, or of the selected objects."""
    scene = context.scene
    request = figure_request(context, "pose", selected)
    tables = pose_tables(scene)
    request.task["job"] = job_text(scene, tables)
    request.notes["pose"] = tables["pose"]
    objects = [scene.objects[name] for name in request.objects]
    request.notes["made_with"] = pose_fingerprint(scene, objects)
    return request


def check_request(context: bpy.types.Context, selected: list[bpy.types.Object]) -> Request:
    """Return a job that takes the vents as they are now; raises JobError for one that is none.

    Gates that were not touched are worked out anew; where one was, all are taken as they are, as
    further rods.
    """
    scene = context.scene
    context.view_layer.update()  # a script may have moved a vent just now
    vents = results.vents(scene)
    up = up_vector(scene)
    by_hand = gates_by_hand(scene)
    gates = results.gates(scene) if by_hand else []
    rods = [read_rod(obj, up, scene) for obj in vents + gates]
    request = plan_request(context, selected)
    if by_hand:
        tables = job_tables(scene)
        request.task["job"] = job_text(scene, {"gates": tables["gates"] | {"enabled": False}})
        request.notes["gates"] = [obj.name for obj in gates]
    request.task["given"] = [rod.entry() for rod in rods]
    request.notes["vents"] = results.rod_digests(vents)
    return request


def gates_by_hand(scene: bpy.types.Scene) -> bool:
    """Whether the gates are, or were at the last check, what the user made of them."""
    return gates_changed(scene) or scene.pourwright.gates.by_hand
