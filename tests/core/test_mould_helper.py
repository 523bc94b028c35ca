"""A mould planned with the help of a second process is the mould that one process plans."""

from __future__ import annotations

from shapes import as_mesh, box

from pourwright.air import parallel
from pourwright.files.plan_json import plan_to_dict
from pourwright.mould import MouldSettings
from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.solid import intake

POST, ARM = box((-6, -6, 0), (6, 6, 50)), box((-6, -6, 38), (30, 6, 46))


def test_the_same_mould(monkeypatch):
    figure = intake([as_mesh(POST), as_mesh(ARM)])
    job = Job(mould=MouldSettings(enabled=True))
    alone = plan_to_dict(plan_pour(figure, job))
    asked = []
    real = parallel.Crew.aside
    monkeypatch.setattr(parallel, "_WORTH_A_PROCESS", 0)
    monkeypatch.setattr(parallel, "processors", lambda: 2)
    monkeypatch.setattr(
        parallel.Crew, "aside", lambda crew, *more: asked.append(crew.alone) or real(crew, *more)
    )
    helped = plan_to_dict(plan_pour(figure, job))
    assert asked == [False]
    assert alone["mould"]["trapped_air"] is not None and helped == alone
