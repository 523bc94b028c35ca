"""Where the knife goes on each figure of the garden trail: `python -m blend_demo.cuts --out DIR`.

Writes the four drawings of the cut line of heron, snail and hare as SVG.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from pourwright.example.shapes import Part
from pourwright.example.snail import snail
from pourwright.files.plan_files import CUT_FILE_NAMES, cut_files
from pourwright.plan.job import Job
from pourwright.plan.pipeline import plan_pour
from pourwright.solid import TriMesh, intake

from .hare import hare
from .heron import heron

TRAIL: dict[str, Callable[[float], list[Part]]] = {"heron": heron, "snail": snail, "hare": hare}


def main(arguments: Sequence[str] | None = None) -> int:
    """Plan the three figures and write their drawings."""
    parser = argparse.ArgumentParser(prog="blend_demo.cuts", description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=Path("demo-out"), help="folder")
    parser.add_argument("--detail", type=float, default=1.0, help="of the figures, 0.1 to 2")
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    for name, build in TRAIL.items():
        parts = [
            TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in build(options.detail)
        ]
        plan = plan_pour(intake(parts), Job())
        if plan.mould is None:
            raise SystemExit(f"There is no mould for the {name}")
        made = cut_files(plan.mould, plan.master.mesh)
        for file, content in zip(CUT_FILE_NAMES, made, strict=True):
            (options.out / f"{name}-{file}").write_bytes(content)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
