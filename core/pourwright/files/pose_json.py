"""The ranking of a search for the way up, as plain JSON data.

Directions are unit vectors in the standing frame, points have no unit, and every other number is
in the unit of its name. Poses stand best first; the standing pose is judged as they are.
"""

from __future__ import annotations

from dataclasses import asdict

from pourwright.files.json_data import SCHEMA, Json, angle, direction, number, process_data
from pourwright.pose.model import Pose, PoseReport


def pose_to_dict(report: PoseReport) -> Json:
    """Return the whole report, but for what the sweep found in each direction."""
    settings = report.settings
    return {
        "schema": SCHEMA,
        "poses": [pose_data(p) for p in report.poses],
        "standing": pose_data(report.standing),
        "sweep": {
            "directions": len(report.directions),
            "left_out": int(report.left_out),
            "cone_deg": angle(settings.cone_deg),
            "axis": direction(report.standing.up),
        },
        "weights": {name: number(w) for name, w in asdict(settings.weights).items()},
        "pot": {
            "height_mm": settings.pot_height_mm,
            "diameter_mm": settings.pot_diameter_mm,
        },
        "embed_mm": number(report.embed_mm),
        "process": process_data(report.process),
    }


def pose_data(pose: Pose) -> Json:
    """Return one pose."""
    terms = pose.terms
    return {
        "up": direction(pose.up),
        "score": number(pose.score),
        "pockets": int(terms.pockets),
        "residual_mm3": number(terms.residual_mm3),
        "rods": int(terms.rods),
        "rod_mm": number(terms.rod_mm),
        "height_mm": number(terms.height_mm),
        "footprint_cm2": number(terms.footprint_cm2),
        "protected": number(terms.protected),
        "misfit_mm": number(terms.misfit_mm),
        "tilt_deg": angle(pose.tilt_deg),
        "reasons": list(pose.reasons),
    }
