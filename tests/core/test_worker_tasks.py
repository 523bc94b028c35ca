"""What the worker hands to a graphical program for gates, sockets, own bases and rising resin."""

from __future__ import annotations

import json

import numpy as np
import pytest
from gate_figures import ball, rod
from shapes import as_mesh, box

from pourwright.solid import boolean
from pourwright.solid.mesh import TriMesh
from pourwright.solid.topology import is_watertight
from pourwright.worker import run

LOLLIPOP = [rod(0.5, 0, 16), ball(8, 23)]
# An end hangs down by 12 mm: a dead end of 768 mm3 when it is turned over.
GALLOWS = [box((-6, -6, 0), (6, 6, 60)), box((-6, -6, 50), (40, 6, 62)),
           box((28, -4, 38), (36, 4, 55))]  # fmt: skip
NO_MOULD = "[mould]\nenabled = false\n"  # it takes time
PLANK = box((-30, -20, -8), (30, 20, 1))


def worked(folder, bodies, **task):
    """Return status, data and, for each object of the result, its entry, mesh and values."""
    meshes = [as_mesh(body) for body in bodies]
    arrays = {f"vertices_{i}": m.vertices for i, m in enumerate(meshes)}
    arrays |= {f"faces_{i}": m.faces for i, m in enumerate(meshes)}
    np.savez(folder / "meshes.npz", **arrays)
    names = [mesh.name or "part" for mesh in meshes]
    task = {"task": "plan", "job": NO_MOULD, "names": names} | task
    (folder / "job.json").write_text(json.dumps(task), encoding="utf-8")
    status = run(folder, lambda fraction, text: None)
    data = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    if "error" in data:
        return status, data, []
    with np.load(folder / "result.npz", allow_pickle=False) as stored:
        objects = [
            (entry, TriMesh(stored[f"vertices_{i}"], stored[f"faces_{i}"]),
             stored.get(f"values_{i}"))
            for i, entry in enumerate(data["objects"])
        ]  # fmt: skip
    return status, data, objects


def of_role(objects, role):
    return [(entry["index"], mesh, values) for entry, mesh, values in objects
            if entry["role"] == role]  # fmt: skip


def closed_in(mesh, values):
    """Levels at which walls close air in, least first."""
    assert values.shape == (len(mesh.faces),) and not np.isnan(values).any()
    return sorted(set(values[np.isfinite(values)]))


def test_the_air_of_a_figure_comes_with_one_cavity(tmp_path):
    status, data, objects = worked(tmp_path, GALLOWS, task="air")
    ((index, mesh, values),) = of_role(objects, "rising")
    assert index == 0 and status == 1
    (pocket,) = [p for p in data["pockets"] if p["matters"]]
    assert closed_in(mesh, values) == pytest.approx([pocket["saddle_height_mm"]])
    # The walls of that pocket are those of the end that hangs down: 8 x 8 mm, 12 mm long.
    corners = mesh.vertices[mesh.faces[np.isfinite(values)]].reshape(-1, 3)
    np.testing.assert_allclose(corners.min(axis=0), (28, -4, 38), atol=1e-6)


def test_a_plan_comes_with_the_cavity_before_and_after(tmp_path):
    status, data, objects = worked(tmp_path, GALLOWS)
    (before, after) = of_role(objects, "rising")
    assert (before[0], after[0]) == (0, 1) and status == 0
    assert closed_in(*before[1:]) == pytest.approx(
        sorted({p["saddle_height_mm"] for p in data["pockets"] if p["matters"]})
    )
    assert closed_in(*after[1:]) == []
    assert after[1].volume_mm3 == pytest.approx(data["master"]["volume_mm3"], rel=1e-6)
    for entry, _, values in objects:
        assert (values is not None) == (entry["role"] == "rising")


def test_gates_are_objects(tmp_path):
    status, data, objects = worked(tmp_path, LOLLIPOP)
    gates = of_role(objects, "gate")
    assert status == 0 and len(gates) == len(data["gates"]) == 1
    volume = sum(mesh.volume_mm3 for _, mesh, _ in gates)
    assert volume == pytest.approx(data["master"]["parts_mm3"]["gates"], rel=1e-6)
    # The air of the plan is that of a cavity that has its gates.
    before = of_role(objects, "rising")[0][1]
    both = boolean.union([before, *(mesh for _, mesh, _ in gates)])
    assert both.volume_mm3 == pytest.approx(before.volume_mm3, rel=1e-6)
    assert not any(p["saddle_height_mm"] is None for p in data["pockets"])


def test_an_own_base_with_a_socket(tmp_path):
    figure = box((-5, -4, 0), (5, 4, 40))
    status, data, objects = worked(
        tmp_path, [figure, PLANK], own_base=1,
        job=NO_MOULD + "[socket]\nenabled = true\n[own_base]\nplace = 'as_is'\n",
    )  # fmt: skip
    assert status == 0 and data["base"]["kind"] == "own"
    ((_, socket, _),) = of_role(objects, "socket")
    assert is_watertight(socket)
    assert socket.volume_mm3 == pytest.approx(data["socket"]["volume_mm3"], rel=1e-6)
    assert data["figure"]["volume_mm3"] == pytest.approx(8 * 10 * 40)
    ((_, base, _),) = of_role(objects, "base")
    np.testing.assert_allclose(base.bounds_mm[:, :2], ((-30, -20), (30, 20)), atol=1e-6)


@pytest.mark.parametrize("number", [2, -1, "1", 1.0])
def test_a_base_that_is_not_there_is_refused(tmp_path, number):
    status, data, _ = worked(tmp_path, [GALLOWS[0], PLANK], own_base=number)
    assert status == 2 and "no mesh" in data["error"]["message"]


def test_a_figure_alone_is_no_base(tmp_path):
    status, data, _ = worked(tmp_path, GALLOWS[:1], own_base=0)
    assert status == 2 and "no mesh 0" in data["error"]["message"]


def test_edges_come_with_every_mesh(tmp_path):
    _, data, objects = worked(tmp_path, GALLOWS, task="air")
    with np.load(tmp_path / "result.npz", allow_pickle=False) as stored:
        for i, (_, mesh, _) in enumerate(objects):
            edges, of_corner = stored[f"edges_{i}"], stored[f"corner_edges_{i}"]
            faces = stored[f"faces_{i}"]
            assert faces.dtype == edges.dtype == of_corner.dtype == np.int32
            # The edge of a corner joins it to the next one, and each edge is there once.
            ends = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2), axis=2)
            assert (np.sort(edges, axis=1)[of_corner].reshape(ends.shape) == ends).all()
            assert len(np.unique(np.sort(edges, axis=1), axis=0)) == len(edges)
            assert len(edges) == len(mesh.faces) * 3 // 2
    assert len(data["objects"]) == len(objects) >= 2
