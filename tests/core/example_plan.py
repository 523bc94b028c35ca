"""A pour plan made by hand, for tests of files and reports that need no pipeline."""

from __future__ import annotations

import numpy as np
import trimesh

from pourwright.gates.settings import FedPart, FillTime, Gate, Neck
from pourwright.plan.job import Job
from pourwright.plan.model import AirCheck, JudgedPocket, Master, PlanWarning, PourPlan
from pourwright.plan.readiness import Fit, Readiness
from pourwright.plan.scale import scale_of
from pourwright.shop.feed import FunnelNeed, check_funnel
from pourwright.shop.printer import DEFAULT_PRINTER
from pourwright.shop.process import PROCESSES
from pourwright.shop.resin import mix, resin_named
from pourwright.solid.mesh import TriMesh, tri_mesh
from pourwright.solid.solid import Finding, Solid
from pourwright.solid.walls import Walls
from pourwright.sprue.facts import facts_of
from pourwright.vents.rings import Ring
from pourwright.vents.settings import Vent

FIGURE_MM3 = 1000.0


def box(size=(10.0, 10.0, 10.0), centre=(0.0, 0.0, 0.0), name="box") -> TriMesh:
    made = trimesh.creation.box(extents=size)
    made.apply_translation(centre)
    return tri_mesh(made.vertices, made.faces, name)


def lumpy(subdivisions=3, name="lumpy") -> TriMesh:
    """A closed body without symmetry, off the origin, so that no wrong turn goes unnoticed."""
    made = trimesh.creation.icosphere(subdivisions=subdivisions, radius=12.3456789)
    v = made.vertices * (1.0, 1.7, 2.3)
    v = v + np.stack([0.1 * v[:, 2], 3.0 * np.sin(v[:, 0] / 5.0), 0.02 * v[:, 0] ** 2], axis=1)
    return tri_mesh(v + (31.0, -47.0, 5.0), made.faces, name)


def solid(mesh: TriMesh | None = None) -> Solid:
    mesh = mesh or box(name="figure.stl")
    finding = Finding("inverted_shell", "A shell was inside out and was turned", (1.0, 2.0, 3.0))
    return Solid(mesh, mesh.volume_mm3, 2, 24, 1, (finding, Finding("unit", "No unit is stated")))


def pocket(**values) -> JudgedPocket:
    given: dict[str, object] = {
        "peak_mm": (1.0, 2.0, -5.0),
        "peak_height_mm": 5.0,
        "saddle_height_mm": 3.5,
        "volume_mm3": 12.5,
        "component": 0,
        "residual_diameter_mm": 1.85,
        "matters": True,
    }
    return JudgedPocket(**(given | values))


SQUARE = np.array([(-5.0, -5.0), (5.0, -5.0), (5.0, 5.0), (-5.0, 5.0)])


def gate() -> Gate:
    return Gate(
        path_mm=((-3.0, 0.0, 5.0), (-3.0, 4.0, 1.0), (-3.0, 4.0, -10.0)), diameter_mm=3.2,
        length_mm=16.65685, neck_mm=2.56, neck_length_mm=1.0, web_mm=2.0,
        feeds=FedPart(700.0, (0.0, 0.0, 4.0), 26.0, None, None), fill_time_s=9.5, reynolds=41.5,
        laminar=True, notes=("The flow takes a while to form",), foot_angle_deg=21.4,
        end_angle_deg=0.0,
    )  # fmt: skip


def example_plan(master_mesh: TriMesh | None = None, up=(0.0, 0.0, -1.0), job=None) -> PourPlan:
    figure, job = solid(), job or Job(process=PROCESSES["pressure"])
    mesh = master_mesh or lumpy(name="master")
    parts = {"figure": FIGURE_MM3, "base": 500.0, "vents": 20.25, "gates": 0.0, "funnel": 100.0}
    filled = 7.5
    overlap = sum(parts.values()) + filled - mesh.volume_mm3
    master = Master(mesh, mesh.volume_mm3, True, parts, overlap, filled)
    path = ((1.0, 2.0, -5.0), (1.0, 8.0, -9.0), (1.0, 8.0, -30.0))
    vent = Vent(
        kind="rod", path_mm=path, diameter_mm=1.5, length_mm=28.2111, web_mm=2.0, serves=(0, 1),
        foot_angle_deg=33.6901, end_angle_deg=0.0,
    )  # fmt: skip
    upright = Vent(
        kind="bridge", path_mm=((4.0, 0.04, -5.0), (4.0, -0.04, -9.0)), diameter_mm=0.8,
        length_mm=4.0008, web_mm=1.25, serves=(2,), foot_angle_deg=12.4, end_angle_deg=61.5,
    )  # fmt: skip
    return PourPlan(
        job=job,
        up=up,
        figure=figure,
        moulded_figure=figure.mesh,
        scale=scale_of(figure.mesh, job),
        pockets=(
            pocket(),
            pocket(matters=False, volume_mm3=1.25e-7, residual_diameter_mm=0.004),
            pocket(saddle_height_mm=None, component=1),
        ),
        gates=(gate(),),
        fill=FillTime(
            12.5, 45.0, Neck((0.0, 0.0, 2.0), 1.8, 6.0, 700.0), 3.25, True, ("Its neck is short",)
        ),
        vents=(vent, upright),
        pockets_after=(pocket(matters=False, volume_mm3=1e-5, residual_diameter_mm=0.0171),),
        master=master,
        base=box(centre=(0, 0, -10)),
        base_facts=facts_of(figure.mesh, box(centre=(0, 0, -10)), "table", SQUARE, 10.0),
        funnel=None,
        gate_meshes=(),
        vent_meshes=(),
        board_height_mm=30.0,
        figure_side_height_mm=12.0,
        funnel_check=check_funnel(FunnelNeed(300.0, 20.5, 3.0), 12.0, 25.0, 15.0),
        ready=Readiness(
            DEFAULT_PRINTER, Fit("z", 0.0, (20.0, 30.0, 40.0), (0.0, 0.0, 0.0)),
            Walls(0.4, None, 0.0, ()), 1, 100.0, (), (),
        ),
        resin=mix(resin_named(job.material), 45.0, job.margin),
        warnings=(
            PlanWarning("no_opening", "A part of the cavity has no opening", (0.0, 0.0, 1.0), True),
            PlanWarning("pot_life", "The pot life is short"),
        ),
        rings=(Ring(1, (6.0, 0.0, -7.0), "It joins the figure at both ends; slit the rubber"),),
    )


def example_check(pockets=None) -> AirCheck:
    process = PROCESSES["pressure"]
    return AirCheck(
        up=(0.0, 0.0, -1.0),
        process_name=process.name,
        residual_factor=process.residual_factor,
        visible_defect_mm=process.visible_defect_mm,
        figure=solid(),
        openings_mm=((0.0, 0.0, -5.0),),
        pockets=(pocket(),) if pockets is None else pockets,
    )
