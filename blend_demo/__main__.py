"""The main job on the demo figure: `python -m blend_demo --out demo-out`.

Builds the heron, plans its pour through the command line's own door, makes the same in Blender
through the extension, and draws pictures of the master.
"""

from __future__ import annotations

import argparse
import json
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from pourwright.cli import main as pourwright
from pourwright.example.shapes import Part
from pourwright.files.stl import write_stl
from pourwright.mould import MouldSettings
from pourwright.plan.job_file import read_job
from pourwright.plan.model import PourPlan
from pourwright.plan.pipeline import plan_pour
from pourwright.solid import TriMesh, intake
from pourwright.solid.mesh import concatenate

from .heron import heron
from .render import BASE_RGBA, FIGURE_RGBA, VENT_RGBA, render
from .scene import same_numbers, save_scene

JOB = Path(__file__).with_name("heron.toml")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the demo; returns 0 when everything was made, also where the plan left a decision."""
    parser = argparse.ArgumentParser(prog="blend_demo", description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=Path("demo-out"), help="folder for the results")
    parser.add_argument("--pictures", type=Path, help="folder for the guide's pictures as well")
    options = parser.parse_args(arguments)
    out: Path = options.out
    out.mkdir(parents=True, exist_ok=True)

    parts = heron()
    model = out / "heron.stl"
    with model.open("wb") as file:
        write_stl(file, mesh=concatenate([_mesh(p) for p in parts], "heron"))
    status = pourwright(
        ["plan", str(model), "--unit", "mm", "--job", str(JOB), "--out", str(out), "--force"]
    )
    if status == 2:
        return status
    made = save_scene(parts, tomllib.loads(JOB.read_text()), out / "heron.blend")
    if not same_numbers(made, json.loads((out / "plan.json").read_text())):
        raise SystemExit("Blender and the command line disagree about the heron")
    # For the pictures only, which show no mould.
    job = replace(read_job(JOB), mould=MouldSettings(enabled=False))
    plan = plan_pour(intake([_mesh(p) for p in parts]), job)
    draw(plan, out / "heron.png", "three_quarter")
    print(f"\nAlso written\n  {out / 'heron.blend'}\n  {out / 'heron.png'}")
    if options.pictures:
        options.pictures.mkdir(parents=True, exist_ok=True)
        draw(plan, options.pictures / "heron.png", "three_quarter")
        draw(plan, options.pictures / "heron_back.png", "three_quarter_back")
    if status == 1:
        print("\nThe plan leaves something to decide, see the warnings above (exit status 1).")
    return 0


def draw(plan: PourPlan, path: Path, view: str) -> None:
    """Render the master with its parts in colours."""
    items = [
        ("figure", plan.figure.mesh, FIGURE_RGBA),
        ("base", plan.base, BASE_RGBA),
        *((v.name, v, VENT_RGBA) for v in plan.vent_meshes),
    ]
    if plan.funnel is not None:
        items.append(("funnel", plan.funnel, BASE_RGBA))
    render(
        [(name, m.vertices, m.faces.astype(np.int32), rgba) for name, m, rgba in items],
        path,
        view=view,
        samples=16,
    )


def _mesh(part: Part) -> TriMesh:
    return TriMesh(part.vertices, part.faces.astype(np.int64), part.name)


if __name__ == "__main__":
    raise SystemExit(main())
