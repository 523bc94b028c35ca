"""plan.json: the pour plan, or what an air check knows of it, as plain JSON data.

All lengths are mm in the standing frame, rounded to 1e-6, angles degrees, rounded to 1e-4; heights
are x . up there. Pockets and vents are numbered from 0. Numbers are finite, keys stand in a fixed
order.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from pourwright.errors import GeometryError, Point
from pourwright.plan.job import Job
from pourwright.plan.model import AirCheck, JudgedPocket, Master, PlanWarning, PourPlan
from pourwright.shop.process import PROCESSES, Process
from pourwright.shop.resin import ResinMix
from pourwright.solid.mesh import TriMesh
from pourwright.solid.solid import Finding, Solid
from pourwright.vents.rings import Ring
from pourwright.vents.settings import Vent

SCHEMA = 1
PART_KINDS = ("figure", "base", "vents", "gates", "funnel")
_LENGTH_DECIMALS = 6
_DIRECTION_DECIMALS = 12
_ANGLE_DECIMALS = 4
_DIGITS = 12
_PA_PER_KPA = 1000.0

Json = dict[str, Any]


def plan_to_dict(plan: PourPlan) -> Json:
    """Return the whole plan as JSON data."""
    return {
        "schema": SCHEMA,
        "up": _direction(plan.up),
        "process": _process(plan.job.process),
        "figure": _figure(plan.figure),
        "pockets": _pockets(plan.pockets),
        "vents": [_vent(v, plan.job) for v in plan.vents],
        "rings": [_ring(r) for r in plan.rings],
        "pockets_after": _pockets(plan.pockets_after),
        "master": _master(plan.master),
        "board_height_mm": _length(plan.board_height_mm),
        "resin": _resin(plan.resin, plan.job),
        "warnings": [_warning(w) for w in plan.warnings],
        "undecided": plan.undecided,
        "job": _job(plan.job),
    }


def air_to_dict(check: AirCheck) -> Json:
    """Return an air check as JSON data, with the keys of the plan that it knows."""
    process: Json = {
        "residual_factor": _number(check.residual_factor),
        "visible_defect_mm": _length(check.visible_defect_mm),
        "name": _text(check.process_name),
    }
    named = PROCESSES.get(check.process_name)
    if named is not None and named.residual_factor == check.residual_factor:
        process = _process(named) | process
    return {
        "schema": SCHEMA,
        "up": _direction(check.up),
        "process": process,
        "figure": _figure(check.figure),
        "openings_mm": [_point(p) for p in check.openings_mm],
        "pockets": _pockets(check.pockets),
    }


def to_json(data: object) -> bytes:
    """Return strict JSON, UTF-8, indented; GeometryError for a number that is not finite."""
    try:
        text = json.dumps(data, indent=2, allow_nan=False)
    except ValueError as error:
        raise GeometryError(
            "A result is not a finite number", hint="check the model for extreme coordinates"
        ) from error
    return (text + "\n").encode("ascii")


def _process(process: Process) -> Json:
    return {
        "residual_factor": _number(process.residual_factor),
        "visible_defect_mm": _length(process.visible_defect_mm),
        "name": _text(process.name),
        "title": _text(process.title),
        "trap_kpa_absolute": _number(process.trap_pa / _PA_PER_KPA),
        "cure_kpa_absolute": _number(process.cure_pa / _PA_PER_KPA),
    }


def _figure(solid: Solid) -> Json:
    return {
        "name": _text(solid.mesh.name),
        "volume_mm3": _number(solid.volume_mm3),
        "shells": int(solid.shells),
        "triangles": int(solid.triangles),
        "parts": int(solid.parts),
        **_extent(solid.mesh),
        "findings": [_finding(f) for f in solid.findings],
    }


def _extent(mesh: TriMesh) -> Json:
    low, high = mesh.bounds_mm
    return {"size_mm": _point(high - low), "bounds_mm": [_point(low), _point(high)]}


def _finding(finding: Finding) -> Json:
    return {
        "kind": _text(finding.kind),
        "message": _text(finding.message),
        "at_mm": None if finding.at_mm is None else _point(finding.at_mm),
    }


def _pockets(pockets: Iterable[JudgedPocket]) -> list[Json]:
    return [
        {
            "peak_mm": _point(p.peak_mm),
            "peak_height_mm": _length(p.peak_height_mm),
            "saddle_height_mm": (
                None if p.saddle_height_mm is None else _length(p.saddle_height_mm)
            ),
            "volume_mm3": _number(p.volume_mm3),
            "residual_diameter_mm": _length(p.residual_diameter_mm),
            "matters": bool(p.matters),
            "component": int(p.component),
        }
        for p in pockets
    ]


def _vent(vent: Vent, job: Job) -> Json:
    return {
        "kind": vent.kind,
        "path_mm": [_point(p) for p in vent.path_mm],
        "diameter_mm": _length(vent.diameter_mm),
        "length_mm": _length(vent.length_mm),
        "neck_mm": _length(min(job.vents.neck_mm, vent.diameter_mm)),
        "ends_mm": [_number(e) for e in vent.ends_mm],
        "web_mm": _length(vent.web_mm),
        "segments_mm": [_length(s) for s in vent.segments_mm],
        "joints_deg": [_angle(a) for a in vent.joints_deg],
        "foot_angle_deg": _angle(vent.foot_angle_deg),
        "end_angle_deg": _angle(vent.end_angle_deg),
        "serves": [int(i) for i in vent.serves],
    }


def _ring(ring: Ring) -> Json:
    return {
        "vent": int(ring.vent),
        "cut_at_mm": _point(ring.cut_at_mm),
        "message": _text(ring.message),
    }


def _master(master: Master) -> Json:
    parts = dict.fromkeys(PART_KINDS, 0.0) | master.parts_mm3
    return {
        "volume_mm3": _number(master.volume_mm3),
        "watertight": bool(master.watertight),
        "parts_mm3": {kind: _number(volume) for kind, volume in parts.items()},
        "overlap_mm3": _number(master.overlap_mm3),
        "filled_mm3": _number(master.filled_mm3),
        "triangles": len(master.mesh.faces),
        **_extent(master.mesh),
    }


def _resin(mix: ResinMix, job: Job) -> Json:
    return {
        "material": _text(mix.resin.name),
        "title": _text(mix.resin.title),
        "poured_ml": _number(mix.poured_ml),
        "to_mix_ml": _number(mix.to_mix_ml),
        "margin": _number(job.margin),
        "part_a": _text(mix.resin.part_a),
        "part_a_g": _number(mix.part_a_g),
        "part_b": _text(mix.resin.part_b),
        "part_b_g": _number(mix.part_b_g),
        "source": _text(mix.resin.source),
    }


def _warning(warning: PlanWarning) -> Json:
    return {
        "code": _text(warning.code),
        "message": _text(warning.message),
        "at_mm": None if warning.at_mm is None else _point(warning.at_mm),
        "open": bool(warning.open),
    }


def _job(job: Job) -> Json:
    """Return the settings under the keys of a job file."""
    return {
        "pour": {
            "up": [_number(c) for c in job.up],
            "process": _text(job.process.name),
            "material": _text(job.material),
            "margin": _number(job.margin),
        },
        "process": {
            "trap_kpa": _number(job.process.trap_pa / _PA_PER_KPA),
            "cure_kpa": _number(job.process.cure_pa / _PA_PER_KPA),
            "visible_defect_mm": _length(job.process.visible_defect_mm),
        },
        "base": asdict(job.base),
        "funnel": asdict(job.funnel),
        "vents": asdict(job.vents),
    }


def _length(value: float) -> float:
    return round(float(value), _LENGTH_DECIMALS) + 0.0  # + 0.0 turns -0.0 into 0.0


def _angle(value: float) -> float:
    return round(float(value), _ANGLE_DECIMALS) + 0.0


def _point(point: Iterable[float]) -> list[float]:
    return [_length(c) for c in point]


def _direction(up: Point) -> list[float]:
    return [round(float(c), _DIRECTION_DECIMALS) + 0.0 for c in up]


def _number(value: float) -> float:
    """Round to 12 digits: tiny pockets keep theirs, and sums still come out."""
    return float(f"{float(value):.{_DIGITS}g}")


def _text(text: str) -> str:
    """Replace what came out of a file name that is no Unicode, for JSON cannot carry it."""
    return text.encode("utf-8", "replace").decode("utf-8")
