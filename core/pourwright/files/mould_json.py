"""What plan.json says of the rubber, its box and where it is cut, in the standing frame."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from pourwright.files.json_data import Json, angle, direction, length, number, point, text
from pourwright.mould.cut import WayPoint
from pourwright.mould.demould import LeafReport
from pourwright.mould.fit import VesselFit
from pourwright.mould.make import CutPlan, Mould
from pourwright.mould.rubber import Rubber
from pourwright.mould.trapped import RubberPocket
from pourwright.solid.mesh import Floats


def silicone_data(mould: Mould) -> Json:
    """Return what to weigh out for one mould."""
    rubber = mould.rubber
    return {
        "material": text(rubber.silicone.name),
        "title": text(rubber.silicone.title),
        "box_mm": point(mould.box.size_mm),
        "volume_ml": number(rubber.volume_mm3 / 1000.0),
        "to_mix_ml": number(rubber.to_mix_ml),
        "part_a_g": number(rubber.part_a_g),
        "part_b_g": number(rubber.part_b_g),
        **_mixing(rubber),
    }


def _mixing(rubber: Rubber) -> Json:
    return {
        "mixes": int(rubber.mixes),
        "mix_ml": number(rubber.mix_ml),
        "cup_ml": number(rubber.cup_ml),
        "notes": [text(note) for note in rubber.notes],
    }


def mould_data(mould: Mould) -> Json:
    """Return box, trapped air, cut and demoulding."""
    return {
        "box": _box(mould),
        "fits": [_fit(fit) for fit in mould.fits],
        "trapped_air": [_pocket(p, mould) for p in mould.trapped.pockets],
        "cut_line": _cut(mould.cut, mould),
        "rods": [
            {
                "rod": int(rod.rod),
                "reached": bool(rod.reached),
                "gap_mm": length(rod.gap_mm),
                "at_mm": _at(rod.at_mm, mould),
                "ties_leaves": bool(rod.ties),
                "message": text(rod.message),
            }
            for rod in mould.cut.rods
        ],
        "leaves": [_leaf(leaf, mould) for leaf in mould.cut.reports],
        "keys": [
            {
                "at_mm": _at(key.at_mm, mould),
                "inwards": _way((*key.inwards, 0.0), mould),
                "diameter_mm": length(key.diameter_mm),
            }
            for key in mould.cut.keys
        ],
    }


def _box(mould: Mould) -> Json:
    box = mould.box
    return {
        "shape": box.shape,
        "inner_mm": point(box.size_mm),
        "outer_mm": point(box.outer_mm),
        "turn_deg": angle(box.turn_deg),
        "board_middle_mm": _at((*box.centre_mm, box.board_mm), mould),
        "wall_mm": length(box.wall_mm),
        "wall_height_mm": length(box.wall_height_mm),
        "fill_line_mm": length(box.size_mm[2]),
        "panel_material": box.panel_material,
        "thickness_mm": length(box.thickness_mm),
        "panels": [
            {
                "name": panel.name,
                "count": int(panel.count),
                "width_mm": length(panel.width_mm),
                "height_mm": length(panel.height_mm),
            }
            for panel in box.panels
        ],
    }


def _fit(fit: VesselFit) -> Json:
    return {
        "vessel": text(fit.vessel.name),
        "fits": bool(fit.fits),
        "needs_mm": [length(c) for c in fit.needs_mm],
        "over_mm": [length(c) for c in fit.over_mm],
        "message": text(fit.message),
    }


def _pocket(pocket: RubberPocket, mould: Mould) -> Json:
    tilt = pocket.tilt
    return {
        "peak_mm": _at(pocket.peak_mm, mould),
        "volume_mm3": number(pocket.volume_mm3),
        "wart_mm": length(pocket.wart_mm),
        "wart_after_vacuum_mm": length(pocket.vacuum_wart_mm),
        "matters": bool(pocket.matters),
        "tilt_deg": None if tilt is None else angle(tilt.angle_deg),
        "raised_side": None if tilt is None else _way((*tilt.raised_side, 0.0), mould),
        "advice": text(pocket.advice),
    }


def _cut(cut: CutPlan, mould: Mould) -> Json:
    line = cut.line
    return {
        "path_mm": _line(line.cut_mm, mould),
        "hinge_mm": _line(line.hinge_mm, mould),
        "length_mm": length(line.length_mm),
        "opening": _way(cut.parting.opening, mould),
        "locked_mm3": number(cut.parting.locked_mm3),
        "way_points": [_way_point(way, cut, mould) for way in line.way_points],
        "outside_mm": _line(cut.outside_mm, mould),
        "parts_the_rubber": bool(cut.leaves.parted),
        "openings": int(cut.tunnels.count),
        "slits_mm": [_line(slit, mould) for slit in cut.slits_mm],
    }


def _way_point(way: WayPoint, cut: CutPlan, mould: Mould) -> Json:
    return {
        "name": text(way.name),
        "at_mm": _at(cut.graph.points[way.corner], mould),
        "side": int(way.side),
    }


def _leaf(leaf: LeafReport, mould: Mould) -> Json:
    return {
        "opening": _way(leaf.opening, mould),
        "area_mm2": number(leaf.area_mm2),
        "undercut_mm2": number(leaf.undercut_mm2),
        "deepest_mm": length(leaf.deepest_mm),
        "precision_mm": length(leaf.step_mm),
        "spots": [
            {
                "at_mm": _at(spot.at_mm, mould),
                "undercut_mm": length(spot.undercut_mm),
                "area_mm2": number(spot.area_mm2),
            }
            for spot in leaf.spots
        ],
    }


def _line(points: Floats, mould: Mould) -> list[list[float]]:
    return [point(p) for p in mould.standing(np.asarray(points, dtype=np.float64))]


def _at(place: Iterable[float], mould: Mould) -> list[float]:
    return _line(np.array([[*place]], dtype=np.float64), mould)[0]


def _way(vector: Iterable[float], mould: Mould) -> list[float]:
    x, y, z = (float(c) for c in mould.standing(np.array([[*vector]], dtype=np.float64))[0])
    return direction((x, y, z))
