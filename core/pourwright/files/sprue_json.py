"""What plan.json says of base, gates, funnel and print."""

from __future__ import annotations

import math

from pourwright.files.json_data import Json, angle, direction, length, number, point, text
from pourwright.gates.settings import FedPart, FillTime, Gate, Neck
from pourwright.plan.model import PourPlan, SocketPrint
from pourwright.plan.readiness import Readiness
from pourwright.plan.scale import MasterScale
from pourwright.shop.feed import FunnelCheck
from pourwright.solid.mesh import TriMesh

OWN_BASE = "own"


def scale_data(scale: MasterScale) -> Json:
    """Return how much larger the master has to be, and whether it is."""
    return {
        "factor": number(scale.factor),
        "applied": bool(scale.applied),
        "about_mm": point(scale.about_mm),
        "resin_shrinkage": None if scale.resin is None else number(scale.resin),
        "rubber_shrinkage": number(scale.rubber),
    }


def base_data(plan: PourPlan) -> Json:
    """Return what the finished piece stands on, and how steadily."""
    facts, cut = plan.base_facts, plan.base_cut
    return {
        "kind": OWN_BASE if plan.own_base else text(plan.job.base.kind),
        "stands_on": facts.stands_on,
        "figure_side_height_mm": length(plan.figure_side_height_mm),
        "centre_of_mass_mm": point(facts.centre_of_mass_mm),
        "margin_mm": length(facts.margin_mm),
        "smallest_wall_mm": _length_or_none(facts.smallest_wall_mm),
        "volume_mm3": number(facts.volume_mm3),
        "cut": None if cut is None else {
            "above_lowest_mm": length(cut.above_lowest_mm),
            "removed_mm3": number(cut.removed_mm3),
        },
    }


def gate_data(gate: Gate) -> Json:
    """Return a gate: the rod, what it feeds, and the flow in it."""
    return {
        "path_mm": [point(p) for p in gate.path_mm],
        "diameter_mm": length(gate.diameter_mm),
        "length_mm": length(gate.length_mm),
        "neck_mm": length(gate.neck_mm),
        "neck_length_mm": length(gate.neck_length_mm),
        "web_mm": length(gate.web_mm),
        "segments_mm": [length(s) for s in gate.segments_mm],
        "joints_deg": [angle(a) for a in gate.joints_deg],
        "foot_angle_deg": angle(gate.foot_angle_deg),
        "end_angle_deg": angle(gate.end_angle_deg),
        "feeds": _fed(gate.feeds),
        "fill_time_s": number(gate.fill_time_s) if math.isfinite(gate.fill_time_s) else None,
        "reynolds": number(gate.reynolds),
        "laminar": bool(gate.laminar),
        "notes": [text(note) for note in gate.notes],
    }


def _fed(part: FedPart) -> Json:
    return {
        "volume_mm3": number(part.volume_mm3),
        "middle_mm": point(part.middle_mm),
        "head_mm": length(part.head_mm),
        "time_without_s": None if part.time_s is None else number(part.time_s),
        "neck": _neck(part.neck),
    }


def _neck(neck: Neck | None) -> Json | None:
    if neck is None:
        return None
    return {
        "at_mm": point(neck.at_mm),
        "diameter_mm": length(neck.diameter_mm),
        "length_mm": length(neck.length_mm),
        "beyond_mm3": number(neck.beyond_mm3),
    }


def fill_data(fill: FillTime) -> Json:
    """Return how long the cavity takes to fill; slowest_s is None where a part never does."""
    return {
        "slowest_s": None if fill.slowest_s is None else number(fill.slowest_s),
        "limit_s": number(fill.limit_s),
        "in_time": bool(fill.in_time),
        "neck": _neck(fill.neck),
        "reynolds": None if fill.reynolds is None else number(fill.reynolds),
        "laminar": None if fill.laminar is None else bool(fill.laminar),
        "notes": [text(note) for note in fill.notes],
    }


def funnel_data(check: FunnelCheck | None) -> Json | None:
    """Return what the funnel has to hold and holds; None where the underside is open."""
    if check is None:
        return None
    return {
        "holds_mm3": number(check.holds_mm3),
        "needed_mm3": number(check.needed_mm3),
        "shrinkage_mm3": number(check.need.shrinkage_mm3),
        "squeezed_air_mm3": number(check.need.air_mm3),
        "head_mm": length(check.need.head_mm),
        "kept_mm3": number(check.kept_mm3),
        "enough": bool(check.enough),
        "mouth_that_does_mm": _length_or_none(check.mouth_mm),
        "height_that_does_mm": _length_or_none(check.height_mm),
    }


def print_data(ready: Readiness, assumed: bool) -> Json:
    """Return how what is printed goes into the printer; assumed : nobody has named one."""
    fit, walls = ready.fit, ready.walls
    return {
        "printer": text(ready.printer.name),
        "title": text(ready.printer.title),
        "assumed": assumed,
        "build_mm": point(ready.printer.build_mm),
        "fits": bool(fit.fits),
        "upright": fit.upright,
        "turn_deg": angle(fit.turn_deg),
        "size_mm": point(fit.size_mm),
        "over_mm": point(fit.over_mm),
        "cuts": [
            {
                "at_mm": point(cut.at_mm),
                "normal": direction(cut.normal),
                "area_mm2": number(cut.area_mm2),
            }
            for cut in ready.cuts
        ],
        "printer_smallest_wall_mm": length(ready.printer.smallest_wall_mm),
        "thin_wall_mm": None if walls.at_mm is None else length(walls.smallest_mm),
        "thin_wall_mm2": number(walls.thin_mm2),
        "first_layer_mm2": number(ready.first_layer_mm2),
        "bodies": ready.bodies,
    }


def socket_data(socket: SocketPrint | None) -> Json | None:
    """Return the part that a figure is put into, base.stl; None where there is none."""
    if socket is None:
        return None
    return {
        "volume_mm3": number(socket.mesh.volume_mm3),
        "triangles": len(socket.mesh.faces),
        **extent_data(socket.mesh),
        "left_out": [
            {
                "part": left.part,
                "number": left.number,
                "at_mm": point(left.at_mm),
                "reason": text(left.reason),
            }
            for left in socket.left_out
        ],
    }


def extent_data(mesh: TriMesh) -> Json:
    """Return a mesh's size and bounds."""
    low, high = mesh.bounds_mm
    return {"size_mm": point(high - low), "bounds_mm": [point(low), point(high)]}


def _length_or_none(value: float | None) -> float | None:
    return None if value is None else length(value)
