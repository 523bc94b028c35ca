"""Jobs as the text of a job file: the way back from `job_file`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields, replace
from typing import Any

from pourwright.errors import InputError
from pourwright.plan.job import Job
from pourwright.plan.job_file import parse_job
from pourwright.plan.toml_text import tables_text
from pourwright.shop.process import PROCESSES

HEAD = "# A job of Pourwright. Names say the units: mm, deg, kpa (absolute), min, ml, g, c, h.\n"
_PA_PER_KPA = 1000.0


def job_text(job: Job) -> str:
    """Return the text of a job file that reads as this job, with every setting in it.

    Defaults are written too, so that the file means the same when they change one day; what is
    None is left out.
    Raises InputError that names the settings which no job file can say, as a printer that is made
    in code, for then another job would be read.
    """
    text = HEAD + "\n" + tables_text(job_tables(job))
    again = parse_job(text, job.materials)
    other = [f.name for f in fields(Job) if getattr(again, f.name) != getattr(job, f.name)]
    if other:
        raise InputError(
            f"A job file cannot say this {', '.join(other)}",
            hint="take a named one, and change its numbers where a job file has keys for them",
        )
    return text


def job_tables(job: Job) -> dict[str, dict[str, Any]]:
    """Return every setting that is not None under the keys of a job file."""
    process, named = job.process, PROCESSES.get(job.process.name)
    defect: dict[str, Any] = {"visible_defect_mm": process.visible_defect_mm}
    pressures = {  # dividing takes the reader's product back exactly
        "trap_kpa": process.trap_pa / _PA_PER_KPA, "cure_kpa": process.cure_pa / _PA_PER_KPA,
    }  # fmt: skip
    is_named = named is not None and process == replace(named, **defect)
    tables: dict[str, dict[str, Any]] = {
        "pour": {
            "up": list(job.up),
            **({"process": process.name} if is_named else {}),
            "material": job.material,
            "margin": job.margin,
        },
        "process": defect if is_named else pressures | defect,
    }
    tables["base"] = job.base.table()
    for name in ("own_base", "socket", "funnel", "gates", "vents", "pose", "shrinkage"):
        tables[name] = _without_none(asdict(getattr(job, name)))
    if job.printer is not None:
        tables["printer"] = asdict(job.printer)
        del tables["printer"]["title"]
    mould = job.mould.table()
    if not mould["way_points"]:
        del mould["way_points"]  # an empty list would bar a [[mould.way_points]] added by hand
    return tables | {"mould": mould, "bench": job.bench.table()}


def _without_none(table: Mapping[str, Any]) -> dict[str, Any]:
    return {
        key: _without_none(value) if isinstance(value, Mapping) else value
        for key, value in table.items()
        if value is not None
    }
