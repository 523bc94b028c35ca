"""Results put into the scene: objects, lists and numbers, all at once."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

import bpy

from . import results, switches
from .bench.settings import bench_table
from .figure.settings import chosen, set_chosen
from .jobs import JobError, Outcome
from .mould import scene as mould_scene
from .mould.settings import mould_key
from .pose import preview
from .pose.picture import pack
from .pose.settings import names_of
from .running import Request, target_scene
from .stored import stored_plan
from .translations import say, say_count
from .view import join_local_views, selection_kept

Json = dict[str, Any]
# Warnings that a mould brings along.
MOULD_CODES = ("mould_too_big", "rubber_air", "slits", "cut_incomplete", "rods_tie", "no_mould")


def air(request: Request, outcome: Outcome) -> str:
    """Put an air check of the figure into the scene."""
    scene, data = target_scene(request), outcome.result
    pieces = _pieces(outcome, results.AIR_ROLES)
    preview.end(scene)
    results.replace(scene, results.AIR_ROLES, pieces)
    switches.show_shapes(scene)
    _figure(scene, request, data["figure"])
    _pockets(scene, data, "Figure Alone")
    _show_in_local_views(scene)
    return _air_text(data["pockets"])


def plan(request: Request, outcome: Outcome) -> str:
    """Put a whole plan into the scene, with vents of its own."""
    scene, data = target_scene(request), outcome.result
    _bodies(scene, request, outcome, data)
    _no_failure(scene)
    rods = [(vent["path_mm"], vent["diameter_mm"]) for vent in data["vents"]]
    scene.pourwright.vents.rods.clear()
    made, aside = results.replace_rods(scene, "vent", rods)
    _vents(scene, data, made)
    scene.pourwright.vents_made_with = results.rod_digests(made)
    aside += _new_gates(scene, data)
    values = {"vents": _vents_text(len(made)), "gates": _gates_text(len(data["gates"]))}
    if data["gates"]:
        done = say("Master made with {vents} and {gates}", **values)
    else:
        done = say("Master made with {vents}", **values)
    said = _plan_text(done, data)
    if aside:
        said += ". " + say("Set aside, as you had changed them: {names}", names=", ".join(aside))
    _show_in_local_views(scene)
    yours = len(results.vents(scene)) - len(made)
    if yours:
        said += ". " + say("Left out: {vents} of your own; Check Again uses them",
                           vents=_vents_text(yours))  # fmt: skip
    return said


def checked(request: Request, outcome: Outcome) -> str:
    """Put a plan with the user's vents into the scene; the vents themselves stay as they are."""
    scene, data = target_scene(request), outcome.result
    given, before = request.task["given"], stored_plan(scene)
    if len(data["vents"]) != len(given):
        raise JobError("The worker process lost a vent; nothing was changed")
    own_gates = request.notes.get("gates")
    if own_gates is not None:
        data = _gates_apart(data, len(own_gates))
    _bodies(scene, request, outcome, data)
    there = {obj.name: obj for obj in results.vents(scene)}
    vents = given[: len(data["vents"])]
    _vents(scene, data, [there.get(vent["name"]) for vent in vents])
    scene.pourwright.vents_made_with = request.notes["vents"]
    done = say("Checked with {vents}", vents=_vents_text(len(vents)))
    if own_gates is not None:
        there = {obj.name: obj for obj in results.gates(scene)}
        _gates(scene, data, [there.get(name) for name in own_gates])
        scene.pourwright.gates.by_hand = True
        scene.pourwright.gates_made_with = results.rod_digests(results.gates(scene))
        done = say("Checked with {vents} and {gates} as they are",
                   vents=_vents_text(len(vents)), gates=_gates_text(len(own_gates)))  # fmt: skip
    elif before is not None and _shapes(before["gates"]) == _shapes(data["gates"]):
        _gates(scene, data, results.gates(scene))
    else:
        _new_gates(scene, data)
    _show_in_local_views(scene)
    return _plan_text(done, data)


def _show_in_local_views(scene: bpy.types.Scene) -> None:
    join_local_views(scene, chosen(scene), results.home(scene).all_objects)


def _no_failure(scene: bpy.types.Scene) -> None:
    """Forget, for the current one of several figures, that an earlier run failed."""
    batch = scene.pourwright.batch
    if batch.figures:
        batch.figures[batch.loaded].failed = ""


def _gates_apart(data: Json, number: int) -> Json:
    """Return a plan whose last `number` vents are told as what they are: gates made by hand."""
    vents = len(data["vents"]) - number
    flow = {"feeds": None, "fill_time_s": None, "reynolds": None, "laminar": None, "notes": []}
    return data | {
        "vents": data["vents"][:vents],
        "gates": [rod | flow for rod in data["vents"][vents:]],
        "rings": [ring for ring in data["rings"] if ring["vent"] < vents],
    }


def _shapes(rods: Sequence[Json]) -> list[Any]:
    return [(rod["path_mm"], rod["diameter_mm"]) for rod in rods]


def _new_gates(scene: bpy.types.Scene, data: Json) -> list[str]:
    """Put the plan's gates in the place of those before; return the names of those set aside."""
    scene.pourwright.gates.rods.clear()
    made, aside = results.replace_rods(scene, "gate", _shapes(data["gates"]))
    _gates(scene, data, made)
    scene.pourwright.gates.by_hand = False
    scene.pourwright.gates_made_with = results.rod_digests(results.gates(scene))
    return aside


def mould(request: Request, outcome: Outcome) -> str:
    """Put a mould into the scene and into the stored plan."""
    scene, data = target_scene(request), outcome.result
    plan = stored_plan(scene)
    if plan is None:
        raise JobError("The plan is gone; press Make Master again")
    mould_scene.put(scene, data, outcome)
    _show_in_local_views(scene)
    known = [w for w in plan["warnings"] if w["code"] not in MOULD_CODES]
    fresh = {"silicone": data["silicone"], "mould": data["mould"]}
    scene.pourwright.plan = json.dumps(plan | fresh | {"warnings": [*known, *data["warnings"]]})
    scene.pourwright.mould.made_with = request.notes["mould"]
    _warnings(scene, [*known, *data["warnings"]], plan.get("rings", ()))
    to_mix = data["silicone"]["to_mix_ml"]
    warts = sum(p["matters"] for p in data["mould"]["trapped_air"])
    places = say_count(warts, "{n} place", "{n} places")
    return say("Mould planned: {ml} ml of rubber, {places} to brush first",
               ml=f"{to_mix:.0f}", places=places)  # fmt: skip


def pose(request: Request, outcome: Outcome) -> str:
    """Put ranked poses into the list: the standing one for comparison, then the best first."""
    scene, data = target_scene(request), outcome.result
    if not data["poses"]:
        raise JobError("The worker process ranked no pose; nothing was changed")
    tried, sweep = _sweep(data["sweep"])
    preview.end(scene)
    if not chosen(scene):
        set_chosen(scene, [scene.objects[name] for name in request.objects])
    settings = scene.pourwright.pose
    settings.poses.clear()
    for rank, entry in enumerate([data["standing"], *data["poses"]]):
        _fill_pose(settings.poses.add(), rank, entry)
    settings.sweep = sweep
    settings.swept_axis = data["standing"]["up"]
    settings.swept_cone = math.radians(request.notes["pose"]["cone_deg"])
    settings.found_in = names_of(chosen(scene))
    settings.made_with = request.notes["made_with"]
    settings.active_pose = 1
    best, standing = data["poses"][0], data["standing"]
    if best["score"] >= standing["score"]:
        return say("None of {tried} is better than the standing pose", tried=tried)
    return say(
        "{tried} tried: the best has {best} points, the standing pose {standing}",
        tried=tried, best=f"{best['score']:.1f}", standing=f"{standing['score']:.1f}",
    )  # fmt: skip


def _sweep(data: Json) -> tuple[str, str]:
    """Return how many directions were tried, in words, and packed for the map.

    Where the worker only counts them there is no map.
    """
    directions, scores = data["directions"], data.get("scores")
    if scores is None:
        number = directions if isinstance(directions, int) else len(directions)
        return _directions_text(number), ""
    return _directions_text(len(scores)), pack(directions, scores)


def _fill_pose(row: Any, rank: int, entry: Json) -> None:
    row.rank, row.up, row.tilt = rank, entry["up"], math.radians(entry["tilt_deg"])
    for name in ("score", "pockets", "residual_mm3", "rods", "rod_mm", "height_mm",
                 "footprint_cm2", "protected", "misfit_mm"):
        setattr(row, name, entry[name])
    row.reasons = "\n".join(entry["reasons"]).replace("mm3", "mm³").replace("cm2", "cm²")


def _bodies(
    scene: bpy.types.Scene, request: Request, outcome: Outcome, data: Json
) -> None:
    """Replace master, base, funnel, socket, air and numbers: everything but vents and gates."""
    roles = results.BODY_ROLES + results.AIR_ROLES
    pieces = _pieces(outcome, roles)
    if not any(piece.role == "master" for piece in pieces):
        raise JobError("The worker process made no master; nothing was changed")
    preview.end(scene)
    results.replace(scene, roles, pieces)
    switches.show_shapes(scene)
    _figure(scene, request, data["figure"])
    _pockets(scene, data, "Figure on Its Base")
    # What was planned for another master is none for this one.
    mould_scene.clear(scene)
    if data.get("mould") is not None:
        mould_scene.put(scene, data, outcome)
        scene.pourwright.mould.made_with = mould_key(
            scene.pourwright.mould, bench_table(scene.pourwright.bench), data
        )
    stored = {key: value for key, value in data.items() if key != "objects"}
    scene.pourwright.plan = json.dumps(stored)
    scene.pourwright.made_with = request.notes["made_with"]


def _plan_text(done: str, data: Json) -> str:
    left = sum(p["matters"] for p in data["pockets_after"])
    if left:
        pockets = say_count(left, "{n} air pocket", "{n} air pockets")
        return say("{done}; {pockets} left, see Vents", done=done, pockets=pockets)
    if any(w["open"] for w in data["warnings"]):
        return say("{done}; see the warnings in Vents", done=done)
    return say("{done}; no air is left that matters", done=done)


def _vents_text(number: int) -> str:
    return say_count(number, "{n} vent", "{n} vents")


def _gates_text(number: int) -> str:
    return say_count(number, "{n} gate", "{n} gates")


def _directions_text(number: int) -> str:
    return say_count(number, "{n} direction", "{n} directions")


def _pieces(outcome: Outcome, roles: tuple[str, ...]) -> list[results.Piece]:
    """Return the worker's objects; complete before the scene is touched."""
    data, pieces = outcome.result, []
    drawn = _need_no_drawing(data)
    for i, entry in enumerate(data["objects"]):
        role, index = entry["role"], entry["index"]
        if role not in roles or (role == "pocket_after" and index in drawn):
            continue
        pieces.append(
            results.Piece(
                role,
                index,
                entry["name"],
                outcome.arrays[f"vertices_{i}"],
                outcome.arrays[f"faces_{i}"],
                _color(entry, data),
                outcome.arrays.get(f"values_{i}"),
            )
        )
    return pieces


def _color(entry: Json, data: Json) -> str:
    role = entry["role"]
    if role == "pocket":
        drained = any(entry["index"] in vent["serves"] for vent in data.get("vents", ()))
        matters = data["pockets"][entry["index"]]["matters"]
        return "drained" if drained else ("matters" if matters else "small")
    return {"master": "", "rising": "", "pocket_after": "matters"}.get(role, role)


def _need_no_drawing(data: Json) -> set[int]:
    """Pockets after venting that do not matter, or look the same as before it."""
    drawn = {tuple(p["peak_mm"]): p["volume_mm3"] for p in data["pockets"]}
    return {
        i
        for i, p in enumerate(data.get("pockets_after", ()))
        if not p["matters"]
        or abs(drawn.get(tuple(p["peak_mm"]), 0.0) - p["volume_mm3"]) <= 0.01 * p["volume_mm3"]
    }


def _figure(scene: bpy.types.Scene, request: Request, data: Json) -> None:
    figure = scene.pourwright.figure
    if not chosen(scene):
        set_chosen(scene, [scene.objects[name] for name in request.objects])
    figure.checked = True
    figure.volume_mm3 = data["volume_mm3"]
    figure.shells = data["shells"]
    figure.findings.clear()
    for found in data["findings"]:
        _fill_place(figure.findings.add(), found)


def _fill_place(row: Any, source: Json) -> None:
    row.text = source["message"]
    row.has_place = source.get("at_mm") is not None
    if row.has_place:
        row.place_mm = source["at_mm"]


def _pockets(scene: bpy.types.Scene, data: Json, source: str) -> None:
    settings = scene.pourwright.air
    served = {i for vent in data.get("vents", ()) for i in vent["serves"]}
    settings.source = source
    scene.pourwright.rising.up = data["up"]
    settings.pockets.clear()
    for i, pocket in enumerate(data["pockets"]):
        row = settings.pockets.add()
        row.volume_mm3 = pocket["volume_mm3"]
        row.bubble_mm = pocket["residual_diameter_mm"]
        row.matters = pocket["matters"]
        row.vented = i in served
        row.sealed = pocket["saddle_height_mm"] is None
        row.place_mm = pocket["peak_mm"]
    with selection_kept():
        settings.active_pocket = 0


def _vents(
    scene: bpy.types.Scene, data: Json, objects: Sequence[bpy.types.Object | None]
) -> None:
    settings = scene.pourwright.vents
    rows = [row.object for row in settings.rods]
    active = rows[settings.active_vent] if settings.active_vent < len(rows) else None
    settings.rods.clear()
    for vent, obj in zip(data["vents"], objects, strict=True):
        row = settings.rods.add()
        row.object = obj
        row.checked = True
        row.kind = "Bridge" if vent["kind"] == "bridge" else "Rod"
        row.pieces = len(vent["path_mm"]) - 1
        row.length_mm = vent["length_mm"]
        row.diameter_mm = vent["diameter_mm"]
        row.web_mm = vent["web_mm"]
        row.serves = ", ".join(str(i + 1) for i in vent["serves"])
    with selection_kept():
        settings.active_vent = objects.index(active) if active in objects else 0
    settings.left = sum(p["matters"] for p in data["pockets_after"])
    _warnings(scene, data["warnings"], data.get("rings", ()))


def _warnings(scene: bpy.types.Scene, warnings: Sequence[Json], rings: Sequence[Json]) -> None:
    settings = scene.pourwright.vents
    settings.warnings.clear()
    settings.active_warning = 0
    for warning in sorted(warnings, key=lambda w: not w["open"]):
        row = settings.warnings.add()
        _fill_place(row, warning)
        row.code = warning["code"]
        row.open = warning["open"]
    for ring in rings:
        row = settings.warnings.add()
        row.code, row.text = f"ring_at_vent_{ring['vent'] + 1}", ring["message"]
        row.has_place, row.place_mm = True, ring["cut_at_mm"]


def _gates(
    scene: bpy.types.Scene, data: Json, objects: Sequence[bpy.types.Object | None]
) -> None:
    settings = scene.pourwright.gates
    rows = [row.object for row in settings.rods]
    active = rows[settings.active_gate] if settings.active_gate < len(rows) else None
    settings.rods.clear()
    for gate, obj in zip(data["gates"], objects, strict=True):
        row = settings.rods.add()
        row.object = obj
        row.length_mm, row.diameter_mm = gate["length_mm"], gate["diameter_mm"]
        row.web_mm = gate["web_mm"]
        row.volume_mm3 = gate["feeds"]["volume_mm3"] if gate["feeds"] else 0.0
        row.fill_time_s = -1.0 if gate["fill_time_s"] is None else gate["fill_time_s"]
        row.reynolds = gate["reynolds"] or 0.0
        row.notes = "\n".join(gate["notes"])
    with selection_kept():
        settings.active_gate = objects.index(active) if active in objects else 0


def _air_text(pockets: list[Json]) -> str:
    matter = sum(p["matters"] for p in pockets)
    if not pockets:
        return say("No air is trapped")
    found = say_count(len(pockets), "{n} air pocket", "{n} air pockets")
    return say("{pockets} found, {matter} that matter", pockets=found, matter=matter)
