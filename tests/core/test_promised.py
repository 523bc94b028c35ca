"""Promises about any figure, tried on random bodies: rods, files, and the same answer again."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import numpy as np
import pytest
import vent_measures as vm
from hypothesis import given, settings
from hypothesis import strategies as st
from random_bodies import CSG_KINDS, random_body
from reference import mesh_of

from pourwright.air import find_pockets, prepare
from pourwright.files.stl import write_stl
from pourwright.files.threemf import write_threemf
from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.shop.process import PROCESSES
from pourwright.solid import TriMesh, intake, read_models

seeds = st.integers(0, 2**32 - 1)


def body_mesh(seed: int, size_mm: float) -> TriMesh:
    """A random body, `size_mm` at its longest."""
    rng = np.random.default_rng(seed)
    mesh = mesh_of(random_body(CSG_KINDS[seed % 3], rng))
    scale = size_mm / np.ptp(mesh.bounds_mm, axis=0).max()
    return TriMesh(mesh.vertices * scale, mesh.faces, "body")


@settings(max_examples=4, deadline=None, derandomize=True)
@given(st.integers(0, 9999))
def test_rods_of_any_body_keep_what_is_promised(seed):
    """A body without hollows that nothing leads to, whatever its limbs, poured openly."""
    rng = np.random.default_rng(seed)
    mesh = mesh_of(random_body("csg", rng))
    scale = 36.0 / np.ptp(mesh.bounds_mm, axis=0).max()
    solid = intake([TriMesh(mesh.vertices * scale, mesh.faces, "body")])
    with vm.watched() as watch:
        plan = plan_pour(solid, Job(process=PROCESSES["open"]))
    assert plan.master.watertight
    left = [p for p in plan.pockets_after if p.matters]
    assert len([w for w in plan.warnings if w.code == "pocket_left"]) == len(left)
    if not plan.vents:
        return
    rules = plan.job.vents
    assert vm.worst_slope_deg(plan.vents, plan.up) >= rules.slope_deg - 1e-6
    least = rules.web_mm - watch.site.grid.pitch_mm / 2
    for gap in vm.clearances(plan, watch.walls):
        assert gap.gap_mm >= least - 1e-6, gap
    # Air above a rod's end would stay there: what is left over lies in no served pocket.
    for number, vent in enumerate(plan.vents):
        if vent.kind == "rod":
            end = float(np.array(vent.path_mm[-1]) @ np.array(plan.up))
            assert end == pytest.approx(plan.board_height_mm, abs=1e-6), number


@settings(max_examples=12, deadline=None)
@given(seeds, st.floats(5.0, 300.0))
def test_files_keep_the_volume(seed, size_mm):
    mesh = body_mesh(seed, size_mm)
    solid = intake([mesh])
    with tempfile.TemporaryDirectory() as folder:
        stl, threemf = Path(folder) / "a.stl", Path(folder) / "a.3mf"
        with stl.open("wb") as stream:
            write_stl(stream, solid.mesh)
        with threemf.open("wb") as stream:
            write_threemf(stream, solid.mesh, (0.0, 0.0, -1.0), title="a", description="")
        for path, rel in ((stl, 1e-5), (threemf, 1e-6)):
            again = intake(read_models([path])[0])
            assert again.volume_mm3 == pytest.approx(solid.volume_mm3, rel=rel), path.name


@settings(max_examples=12, deadline=None)
@given(seeds)
def test_same_input_same_plan(seed):
    """To the last bit: united mesh, pockets, files."""
    up = np.random.default_rng(seed).normal(size=3)
    up /= np.linalg.norm(up)
    both = []
    for _ in range(2):
        mesh = body_mesh(seed, 50.0)
        shifted = TriMesh(mesh.vertices + 3.3, mesh.faces, "other")
        solid = intake([mesh, shifted])
        stream = io.BytesIO()
        write_stl(stream, solid.mesh)
        write_threemf(stream, solid.mesh, tuple(up), title="a", description="")
        both.append((find_pockets(prepare(solid.mesh), up).pockets, stream.getvalue()))
    assert both[0] == both[1]
