"""A plan made with the help of a second process is the plan that one process makes."""

from __future__ import annotations

import pytest
from shapes import as_mesh, box

from pourwright.air import parallel
from pourwright.files.plan_json import plan_to_dict
from pourwright.gates.settings import GateSettings
from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.shop.process import PROCESSES
from pourwright.solid import intake

POST, ARM = box((-6, -6, 0), (6, 6, 50)), box((-6, -6, 38), (30, 6, 46))
THREAD, BLOCK = box((5, -0.25, 40), (16, 0.25, 40.5)), box((15, -10, 30), (35, 10, 48))


@pytest.mark.parametrize(
    ("parts", "gates"),
    [((POST, ARM), 0), ((POST, THREAD, BLOCK), 1)],
    ids=["no gate needed", "one gate needed"],
)
def test_the_same_plan(parts, gates, monkeypatch):
    figure = intake([as_mesh(part) for part in parts])
    job = Job(process=PROCESSES["open"], gates=GateSettings(pot_life_share=0.05))
    alone = plan_to_dict(plan_pour(figure, job))
    asked = []
    real = parallel.Crew.aside
    monkeypatch.setattr(parallel, "_WORTH_A_PROCESS", 0)
    monkeypatch.setattr(parallel, "processors", lambda: 2)
    monkeypatch.setattr(
        parallel.Crew, "aside", lambda crew, *more: asked.append(crew.alone) or real(crew, *more)
    )
    helped = plan_to_dict(plan_pour(figure, job))
    assert asked and not any(asked)
    assert len(alone["gates"]) == gates
    assert helped == alone
