"""Results put into the scene: objects, lists and numbers, all at once."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

import bpy

from . import results
from .figure.settings import chosen, set_chosen
from .jobs import JobError, Outcome
from .pose import preview
from .pose.picture import pack
from .pose.settings import names_of
from .running import Request, target_scene
from .view import selection_kept

Json = dict[str, Any]


def air(request: Request, outcome: Outcome) -> str:
    """Put an air check of the figure into the scene."""
    scene, data = target_scene(request), outcome.result
    pieces = _pieces(outcome, results.AIR_ROLES)
    preview.end(scene)
    results.replace(scene, results.AIR_ROLES, pieces)
    _figure(scene, request, data["figure"])
    _pockets(scene, data, "Figure Alone")
    return _air_text(data["pockets"])


def plan(request: Request, outcome: Outcome) -> str:
    """Put a whole plan into the scene, with vents of its own."""
    scene, data = target_scene(request), outcome.result
    _bodies(scene, request, outcome)
    rods = [(vent["path_mm"], vent["diameter_mm"]) for vent in data["vents"]]
    scene.pourwright.vents.rods.clear()
    made, aside = results.replace_vents(scene, rods)
    _vents(scene, data, made)
    scene.pourwright.vents_made_with = results.vent_digests(made)
    said = _plan_text(f"Master made with {_count(len(made), 'vent')}", data)
    if aside:
        said += f". Set aside, as you had changed them: {', '.join(aside)}"
    yours = len(results.vents(scene)) - len(made)
    if yours:
        said += f". Left out: {_count(yours, 'vent')} of your own; Check Again uses them"
    return said


def checked(request: Request, outcome: Outcome) -> str:
    """Put a plan with the user's vents into the scene; the vents themselves stay as they are."""
    scene, data = target_scene(request), outcome.result
    given = request.task["given"]
    if len(data["vents"]) != len(given):
        raise JobError("The worker process lost a vent; nothing was changed")
    _bodies(scene, request, outcome)
    there = {obj.name: obj for obj in results.vents(scene)}
    _vents(scene, data, [there.get(vent["name"]) for vent in given])
    scene.pourwright.vents_made_with = request.notes["vents"]
    return _plan_text(f"Checked with {_count(len(given), 'vent')}", data)


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
        return f"None of {tried} is better than the standing pose"
    return (
        f"{tried} tried: the best has {best['score']:.1f} points, "
        f"the standing pose {standing['score']:.1f}"
    )


def _sweep(data: Json) -> tuple[str, str]:
    """Return how many directions were tried, in words, and packed for the map.

    Where the worker only counts them there is no map.
    """
    directions, scores = data["directions"], data.get("scores")
    if scores is None:
        number = directions if isinstance(directions, int) else len(directions)
        return _count(number, "direction"), ""
    return _count(len(scores), "direction"), pack(directions, scores)


def _fill_pose(row: Any, rank: int, entry: Json) -> None:
    row.rank, row.up, row.tilt = rank, entry["up"], math.radians(entry["tilt_deg"])
    for name in ("score", "pockets", "residual_mm3", "rods", "rod_mm", "height_mm",
                 "footprint_cm2", "protected", "misfit_mm"):
        setattr(row, name, entry[name])
    row.reasons = "\n".join(entry["reasons"]).replace("mm3", "mm³").replace("cm2", "cm²")


def _bodies(scene: bpy.types.Scene, request: Request, outcome: Outcome) -> None:
    """Replace master, base, funnel, air and numbers: everything but the vents."""
    roles = results.BODY_ROLES + results.AIR_ROLES
    data, pieces = outcome.result, _pieces(outcome, roles)
    if not any(piece.role == "master" for piece in pieces):
        raise JobError("The worker process made no master; nothing was changed")
    preview.end(scene)
    results.replace(scene, roles, pieces)
    _figure(scene, request, data["figure"])
    _pockets(scene, data, "Figure With Base and Funnel")
    stored = {key: value for key, value in data.items() if key != "objects"}
    scene.pourwright.plan = json.dumps(stored)
    scene.pourwright.made_with = request.notes["made_with"]


def _plan_text(done: str, data: Json) -> str:
    left = sum(p["matters"] for p in data["pockets_after"])
    if left:
        return f"{done}; {_count(left, 'air pocket')} left, see Vents"
    if any(w["open"] for w in data["warnings"]):
        return f"{done}; see the warnings in Vents"
    return f"{done}; no air is left that matters"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def stored_plan(scene: bpy.types.Scene) -> Json | None:
    """Return the data of the last plan, or None."""
    text = scene.pourwright.plan
    if not text:
        return None
    known = _parsed.get("plan")
    if known is None or known[0] != text:
        known = _parsed["plan"] = (text, json.loads(text))
    return known[1]


_parsed: dict[str, tuple[str, Json]] = {}


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
            )
        )
    return pieces


def _color(entry: Json, data: Json) -> str:
    role = entry["role"]
    if role == "pocket":
        drained = any(entry["index"] in vent["serves"] for vent in data.get("vents", ()))
        matters = data["pockets"][entry["index"]]["matters"]
        return "drained" if drained else ("matters" if matters else "small")
    return {"master": "", "pocket_after": "matters"}.get(role, role)


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
    settings.warnings.clear()
    settings.active_warning = 0
    for warning in sorted(data["warnings"], key=lambda w: not w["open"]):
        row = settings.warnings.add()
        _fill_place(row, warning)
        row.code = warning["code"]
        row.open = warning["open"]
    for ring in data.get("rings", ()):
        row = settings.warnings.add()
        row.code, row.text = f"ring_at_vent_{ring['vent'] + 1}", ring["message"]
        row.has_place, row.place_mm = True, ring["cut_at_mm"]


def _air_text(pockets: list[Json]) -> str:
    matter = sum(p["matters"] for p in pockets)
    if not pockets:
        return "No air is trapped"
    return f"{len(pockets)} air pockets found, {matter} that matter"
