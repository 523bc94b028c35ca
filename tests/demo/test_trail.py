"""Snail and hare of the garden trail: sound figures, vented masters, moulds that open."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from blend_demo.cuts import TRAIL
from blend_demo.cuts import main as cuts
from blend_demo.hare import hare
from pourwright.example.snail import snail
from pourwright.files.plan_json import plan_to_dict
from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.solid import TriMesh, intake

SIZES_MM = {"snail": (73, 21, 33), "hare": (48, 31, 68)}


@pytest.fixture(scope="module", params=["snail", "hare"])
def made(request):
    parts = TRAIL[request.param](0.5)
    solid = intake([TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in parts])
    return request.param, parts, solid, plan_pour(solid, Job())


def test_parts_are_closed_and_make_one_body(made):
    name, parts, solid, _ = made
    for part in parts:
        assert trimesh.Trimesh(part.vertices, part.faces).is_volume, part.name
    assert solid.parts == 1
    low, high = solid.mesh.bounds_mm
    assert low[2] == pytest.approx(0, abs=1e-6)
    assert np.allclose(high - low, SIZES_MM[name], atol=2.0)
    assert "self_crossing" not in {f.kind for f in solid.findings}


def test_it_is_vented(made):
    plan = made[-1]
    assert not any(p.matters for p in plan.pockets_after)
    assert plan.master.watertight and any(p.matters for p in plan.pockets)


def test_its_mould_opens(made):
    data = plan_to_dict(made[-1])
    assert data["mould"]["cut_line"]["parts_the_rubber"]
    assert len(data["mould"]["rods"]) == len(data["vents"])
    assert all(rod["reached"] or rod["gap_mm"] > 0 for rod in data["mould"]["rods"])


def test_the_hare_opens_towards_its_front_and_back(made):
    """As a caster would cut it: up one flank, over an ear, down the other flank."""
    name, _, _, plan = made
    if name == "hare":
        opening = plan.mould.standing(plan.mould.cut.parting.opening[None])[0]
        assert abs(opening[0]) > 0.95


@pytest.mark.parametrize("build", [snail, hare])
@pytest.mark.parametrize("detail", [0.0, 3.0])
def test_detail_is_bounded(build, detail):
    with pytest.raises(ValueError, match="detail"):
        build(detail)


def test_drawings(tmp_path, monkeypatch):
    monkeypatch.setattr("blend_demo.cuts.TRAIL", {"snail": snail})
    assert cuts(["--out", str(tmp_path), "--detail", "0.3"]) == 0
    assert {p.name for p in tmp_path.iterdir()} == {
        f"snail-cut{end}"
        for end in (".obj", "-front.svg", "-right.svg", "-back.svg", "-left.svg")
    }
