"""A run of casts at the bench as plain JSON data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from pourwright.files.json_data import PA_PER_KPA, SCHEMA, Json
from pourwright.shop.bench import BenchPlan
from pourwright.shop.mixing import Mix


def bench_to_dict(plan: BenchPlan) -> Json:
    """Return the run as JSON data: masses g, volumes ml, times min, pressures kPa absolute."""
    return {
        "schema": SCHEMA,
        "material": plan.resin.name,
        "title": plan.resin.title,
        "process": {
            "name": plan.process.name,
            "title": plan.process.title,
            "trap_kpa_absolute": plan.process.trap_pa / PA_PER_KPA,
            "cure_kpa_absolute": plan.process.cure_pa / PA_PER_KPA,
            "residual_factor": plan.process.residual_factor,
        },
        "air_kpa_absolute": plan.ambient_pa / PA_PER_KPA,
        "pot_life": asdict(plan.pot_life),
        "demould_min": plan.demould_min,
        "capacity": asdict(plan.capacity),
        "casts": plan.mixes.casts,
        "mix_count": plan.mixes.count,
        "part_a_g": plan.mixes.part_a_g,
        "part_b_g": plan.mixes.part_b_g,
        "to_mix_ml": plan.mixes.to_mix_ml,
        "mixes": [_mix_data(m) for m in plan.mixes.mixes],
        "steps": [asdict(s) for s in plan.steps],
        "day": asdict(plan.day),
        "moulds": [asdict(m) for m in plan.moulds],
        "cost": {**asdict(plan.cost), "total": plan.cost.total},
        "pot_fit": None if plan.pot_fit is None else asdict(plan.pot_fit),
        "chamber_fit": None if plan.chamber_fit is None else asdict(plan.chamber_fit),
        "stored_energy_j": plan.stored_energy_j,
        "notes": [asdict(n) for n in plan.notes],
        "undecided": plan.undecided,
        "bench": plan.settings.table(),
    }


def _mix_data(mix: Mix) -> Json:
    data: dict[str, Any] = asdict(mix)
    data["casts"] = [{"name": name, "casts": number} for name, number in mix.casts]
    return data
