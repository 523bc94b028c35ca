"""The main job on the demo figure, read back by programs that are not ours."""

from __future__ import annotations

import json

import lib3mf
import numpy as np
import pytest
import trimesh

from blend_demo.__main__ import JOB
from blend_demo.heron import heron
from pourwright.cli import main
from pourwright.files.stl import write_stl
from pourwright.solid import TriMesh, boolean
from pourwright.solid.mesh import concatenate


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """Exit status, output folder and plan.json of the heron at a quarter of its detail."""
    folder = tmp_path_factory.mktemp("heron")
    parts = [TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in heron(0.25)]
    model = folder / "heron.stl"
    with model.open("wb") as file:
        write_stl(file, mesh=concatenate(parts))
    out = folder / "out"
    status = main(["plan", str(model), "--unit", "mm", "--job", str(JOB), "--out", str(out)])
    return status, out, json.loads((out / "plan.json").read_text()), parts


def test_it_is_done_or_says_why_not(planned):
    status, _, plan, _ = planned
    left = [p for p in plan["pockets_after"] if p["matters"]]
    told = [w for w in plan["warnings"] if w["code"] == "pocket_left"]
    assert status == (1 if left else 0)
    assert len(told) == len(left)
    assert len(left) <= 4
    assert sum(p["matters"] for p in plan["pockets"]) >= 6


def test_3mf_is_one_watertight_body_to_a_strict_reader(planned):
    _, out, plan, _ = planned
    model = lib3mf.Wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(out / "master.3mf"))
    assert reader.GetWarningCount() == 0
    objects = model.GetMeshObjects()
    assert objects.MoveNext()
    body = objects.GetCurrentMeshObject()
    assert body.IsManifoldAndOriented()
    assert not objects.MoveNext()
    vertices = np.array([v.Coordinates for v in body.GetVertices()], dtype=np.float64)
    faces = np.array([t.Indices for t in body.GetTriangleIndices()])
    read = trimesh.Trimesh(vertices, faces, process=False)
    assert read.volume == pytest.approx(plan["master"]["volume_mm3"], rel=1e-5)
    assert read.body_count == 1


def test_stl_holds_the_volume_of_the_plan(planned):
    _, out, plan, _ = planned
    read = trimesh.load(out / "master.stl")
    assert read.volume == pytest.approx(plan["master"]["volume_mm3"], rel=1e-5)


def test_volume_is_the_sum_of_parts_less_what_they_share(planned):
    _, _, plan, parts = planned
    master = plan["master"]
    total = sum(master["parts_mm3"].values()) - master["overlap_mm3"] + master["filled_mm3"]
    assert total == pytest.approx(master["volume_mm3"], rel=1e-9)
    figure = boolean.to_manifold(boolean.union(parts)).volume()
    assert plan["figure"]["volume_mm3"] == pytest.approx(figure, rel=1e-5)
    assert plan["resin"]["poured_ml"] == pytest.approx(master["volume_mm3"] / 1000, rel=1e-6)


def test_every_pocket_that_mattered_is_vented_or_told(planned):
    _, _, plan, _ = planned
    served = {i for v in plan["vents"] for i in v["serves"]}
    told = [w["at_mm"] for w in plan["warnings"] if w["code"] == "pocket_left"]
    for i, pocket in enumerate(plan["pockets"]):
        if pocket["matters"] and i not in served:
            assert min(np.linalg.norm(np.subtract(at, pocket["peak_mm"])) for at in told) < 0.5


def test_the_mould_opens_and_every_rod_is_reached_or_listed(planned):
    _, _, plan, _ = planned
    mould = plan["mould"]
    rods = len(plan["vents"]) + len(plan["gates"])
    assert [rod["rod"] for rod in mould["rods"]] == list(range(rods))
    assert all(rod["reached"] or (rod["gap_mm"] > 0 and rod["message"]) for rod in mould["rods"])
    assert mould["cut_line"]["parts_the_rubber"]
    assert plan["silicone"]["volume_ml"] > 300
