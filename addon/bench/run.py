"""The run of casts that the panel tells of, from the stored plan and the settings of the bench."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import bpy

from ..quantities import materials
from ..stored import Json, stored_plan
from .settings import full_table

if TYPE_CHECKING:
    from pourwright.shop.bench import BenchPlan
    from pourwright.shop.process import Process

PA_PER_KPA = 1000.0


@dataclass(frozen=True)
class Run:
    """The run, or why there is none."""

    plan: BenchPlan | None
    error: str = ""


def bench_run(scene: bpy.types.Scene) -> Run | None:
    """Return the run of the stored plan, None without a plan; milliseconds, and remembered."""
    plan = stored_plan(scene)
    if plan is None:
        return None
    bench = scene.pourwright.bench
    price = bench.resin_price if bench.use_resin_price else None
    table = full_table(bench)
    known = _known.get("run")
    # A plan that is parsed anew is another object; the one here is held, so it is not mistaken.
    if known is None or known[0] is not plan or known[1] != (table, price):
        known = _known["run"] = (plan, (table, price), _planned(plan, table, price))
    return known[2]


def _planned(plan: Json, table: Json, price: float | None) -> Run:
    from pourwright.errors import InputError
    from pourwright.shop.bench import BenchSettings, plan_bench
    from pourwright.shop.mixing import Order
    from pourwright.shop.resin import resin_named, resins

    planned = plan["resin"]
    try:
        own = materials.known()
        every = resins() | (own if isinstance(own, dict) else {})
        resin = resin_named(planned["material"], every)
        if price is not None:
            resin = replace(resin, price_per_kg=price)
        settings = BenchSettings.from_table(table)
        # The margin is that of Quantities, as planned.
        settings = replace(settings, mix=replace(settings.mix, margin=planned["margin"]))
        name = plan["figure"].get("name") or "figure"
        order = Order(name, planned["poured_ml"], settings.casts, settings.moulds)
        silicone, mould = plan.get("silicone") or {}, plan.get("mould") or {}
        is_round = mould.get("box", {}).get("shape") == "round"
        made = plan_bench(
            resin, _process(plan), settings, [order], silicone.get("box_mm"), is_round
        )
    except InputError as error:
        return Run(None, error.one_line())
    return Run(made)


def _process(plan: Json) -> Process:
    from pourwright.shop.process import Process

    process = plan["process"]
    trap_pa, cure_pa = (process[f"{k}_kpa_absolute"] * PA_PER_KPA for k in ("trap", "cure"))
    return Process(
        process["name"], process["title"], trap_pa, cure_pa, process["visible_defect_mm"]
    )


_known: dict[str, tuple[Json, object, Run]] = {}
