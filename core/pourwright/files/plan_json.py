"""plan.json: the pour plan, or what an air check knows of it, as plain JSON data.

All lengths are mm in the standing frame, rounded to 1e-6, angles degrees, rounded to 1e-4; heights
are x . up there. Pockets, gates and vents are numbered from 0. Numbers are finite, keys stand in a
fixed order. "figure" is what was read; all that follows belongs to the master, which is "scale"
times as large.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict

from pourwright.files.json_data import (
    PA_PER_KPA,
    SCHEMA,
    Json,
    angle,
    direction,
    length,
    number,
    point,
    process_data,
    text,
    to_json,
)
from pourwright.files.mould_json import mould_data, silicone_data
from pourwright.files.pose_json import pose_data
from pourwright.files.sprue_json import (
    base_data,
    extent_data,
    fill_data,
    funnel_data,
    gate_data,
    print_data,
    scale_data,
    socket_data,
)
from pourwright.plan.job import Job
from pourwright.plan.model import AirCheck, JudgedPocket, Master, PlanWarning, PourPlan
from pourwright.pose.model import PoseReport
from pourwright.shop.printer import Printer
from pourwright.shop.process import PROCESSES
from pourwright.shop.resin import ResinMix
from pourwright.solid.solid import Finding, Solid
from pourwright.vents.rings import Ring
from pourwright.vents.settings import Vent

__all__ = ["PART_KINDS", "air_to_dict", "plan_to_dict", "to_json"]

PART_KINDS = ("figure", "base", "vents", "gates", "funnel")


def plan_to_dict(plan: PourPlan, poses: PoseReport | None = None) -> Json:
    """Return the whole plan as JSON data.

    poses : the search whose best pose the plan uses, if there was one.
    """
    found = {} if poses is None else {
        "poses": [pose_data(p) for p in poses.poses],
        "standing": pose_data(poses.standing),
    }
    return {
        "schema": SCHEMA,
        "up": direction(plan.up),
        "process": process_data(plan.job.process),
        **found,
        "figure": _figure(plan.figure),
        "scale": scale_data(plan.scale),
        "base": base_data(plan),
        "pockets": _pockets(plan.pockets),
        "gates": [gate_data(g) for g in plan.gates],
        "fill": fill_data(plan.fill),
        "vents": [_vent(v, plan.job) for v in plan.vents],
        "rings": [_ring(r) for r in plan.rings],
        "pockets_after": _pockets(plan.pockets_after),
        "master": _master(plan.master),
        "board_height_mm": length(plan.board_height_mm),
        "funnel": funnel_data(plan.funnel_check),
        "resin": _resin(plan.resin, plan.job),
        "silicone": None if plan.mould is None else silicone_data(plan.mould),
        "mould": None if plan.mould is None else mould_data(plan.mould),
        "print": print_data(plan.ready, plan.job.printer is None),
        "socket": socket_data(plan.socket),
        "warnings": [warning_data(w) for w in plan.warnings],
        "undecided": plan.undecided,
        "job": _job(plan.job),
    }


def air_to_dict(check: AirCheck) -> Json:
    """Return an air check as JSON data, with the keys of the plan that it knows."""
    process: Json = {
        "residual_factor": number(check.residual_factor),
        "visible_defect_mm": length(check.visible_defect_mm),
        "name": text(check.process_name),
    }
    named = PROCESSES.get(check.process_name)
    if named is not None and named.residual_factor == check.residual_factor:
        process = process_data(named) | process
    return {
        "schema": SCHEMA,
        "up": direction(check.up),
        "process": process,
        "figure": _figure(check.figure),
        "openings_mm": [point(p) for p in check.openings_mm],
        "pockets": _pockets(check.pockets),
    }


def _figure(solid: Solid) -> Json:
    return {
        "name": text(solid.mesh.name),
        "volume_mm3": number(solid.volume_mm3),
        "shells": int(solid.shells),
        "triangles": int(solid.triangles),
        "parts": int(solid.parts),
        **extent_data(solid.mesh),
        "findings": [_finding(f) for f in solid.findings],
    }


def _finding(finding: Finding) -> Json:
    return {
        "kind": text(finding.kind),
        "message": text(finding.message),
        "at_mm": None if finding.at_mm is None else point(finding.at_mm),
    }


def _pockets(pockets: Iterable[JudgedPocket]) -> list[Json]:
    return [
        {
            "peak_mm": point(p.peak_mm),
            "peak_height_mm": length(p.peak_height_mm),
            "saddle_height_mm": (
                None if p.saddle_height_mm is None else length(p.saddle_height_mm)
            ),
            "volume_mm3": number(p.volume_mm3),
            "residual_diameter_mm": length(p.residual_diameter_mm),
            "matters": bool(p.matters),
            "component": int(p.component),
        }
        for p in pockets
    ]


def _vent(vent: Vent, job: Job) -> Json:
    return {
        "kind": vent.kind,
        "path_mm": [point(p) for p in vent.path_mm],
        "diameter_mm": length(vent.diameter_mm),
        "length_mm": length(vent.length_mm),
        "neck_mm": length(min(job.vents.neck_mm, vent.diameter_mm)),
        "ends_mm": [number(e) for e in vent.ends_mm],
        "web_mm": length(vent.web_mm),
        "segments_mm": [length(s) for s in vent.segments_mm],
        "joints_deg": [angle(a) for a in vent.joints_deg],
        "foot_angle_deg": angle(vent.foot_angle_deg),
        "end_angle_deg": angle(vent.end_angle_deg),
        "serves": [int(i) for i in vent.serves],
    }


def _ring(ring: Ring) -> Json:
    return {
        "vent": int(ring.vent),
        "cut_at_mm": point(ring.cut_at_mm),
        "message": text(ring.message),
    }


def _master(master: Master) -> Json:
    parts = dict.fromkeys(PART_KINDS, 0.0) | master.parts_mm3
    return {
        "volume_mm3": number(master.volume_mm3),
        "watertight": bool(master.watertight),
        "parts_mm3": {kind: number(volume) for kind, volume in parts.items()},
        "overlap_mm3": number(master.overlap_mm3),
        "filled_mm3": number(master.filled_mm3),
        "triangles": len(master.mesh.faces),
        **extent_data(master.mesh),
    }


def _resin(mix: ResinMix, job: Job) -> Json:
    return {
        "material": text(mix.resin.name),
        "title": text(mix.resin.title),
        "poured_ml": number(mix.poured_ml),
        "to_mix_ml": number(mix.to_mix_ml),
        "margin": number(job.margin),
        "part_a": text(mix.resin.part_a),
        "part_a_g": number(mix.part_a_g),
        "part_b": text(mix.resin.part_b),
        "part_b_g": number(mix.part_b_g),
        "source": text(mix.resin.source),
    }


def warning_data(warning: PlanWarning) -> Json:
    """Return something to decide or to know."""
    return {
        "code": text(warning.code),
        "message": text(warning.message),
        "at_mm": None if warning.at_mm is None else point(warning.at_mm),
        "open": bool(warning.open),
    }


def _job(job: Job) -> Json:
    """Return the settings under the keys of a job file."""
    return {
        "pour": {
            "up": [number(c) for c in job.up],
            "process": text(job.process.name),
            "material": text(job.material),
            "margin": number(job.margin),
        },
        "process": {
            "trap_kpa": number(job.process.trap_pa / PA_PER_KPA),
            "cure_kpa": number(job.process.cure_pa / PA_PER_KPA),
            "visible_defect_mm": length(job.process.visible_defect_mm),
        },
        "base": job.base.table(),
        "own_base": asdict(job.own_base),
        "socket": asdict(job.socket),
        "funnel": asdict(job.funnel),
        "gates": asdict(job.gates),
        "vents": asdict(job.vents),
        "pose": asdict(job.pose),
        "shrinkage": asdict(job.shrinkage),
        "bench": job.bench.table(),
        "mould": job.mould.table(),
        **({} if job.printer is None else {"printer": _printer(job.printer)}),
    }


def _printer(printer: Printer) -> Json:
    values = asdict(printer)
    del values["title"]
    return values
