"""Job files: the choices of one pour as a TOML text that a shop keeps beside its figure.

[pour]
up = [0, 0, -1]            # points up while resin is poured, in the standing frame
process = "pressure"       # a named process, see shop.process
material = "polyurethane"  # a resin preset
margin = 0.10              # share mixed beyond the poured volume

[process]                  # optional: pressures of your own, absolute, in kPa
trap_kpa = 101.325         # when the resin closes round the air
cure_kpa = 377.1           # while it sets
visible_defect_mm = 0.3

[base]                     # fields of sprue.settings.BaseSettings, and the kind's own parameters
[own_base]                 # fields of sprue.settings.OwnBaseSettings, for a body of your own
[socket]                   # fields of sprue.settings.SocketSettings, for a figure that exists
[funnel]                   # fields of sprue.settings.FunnelSettings
[gates]                    # fields of gates.settings.GateSettings
[vents]                    # fields of vents.settings.VentSettings
[pose]                     # fields of pose.settings.PoseSettings, for the search of a way up
[pose.weights]             # fields of pose.settings.PoseWeights

[shrinkage]                # fields of shop.shrinkage.ShrinkageSettings

[printer]
name = "resin_medium"      # a kind of printer, see shop.printer
build_x_mm = 190           # numbers of your own, also build_y_mm, build_z_mm,
smallest_wall_mm = 0.4     # layer_mm

[mould]                    # fields of mould.settings.MouldSettings: enabled, silicone
[mould.box]                # and those of its parts, see there
[mould.cut]
[mould.registration]
[mould.guide]

[bench]                    # fields of shop.bench.BenchSettings: vessels, cups, times, prices
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from pourwright.checks import check_direction, check_number, check_table, check_text, parse_toml
from pourwright.errors import InputError
from pourwright.gates.settings import GateSettings
from pourwright.mould.settings import MouldSettings
from pourwright.plan.job import Job
from pourwright.pose.settings import PoseSettings, PoseWeights
from pourwright.shop.bench import BenchSettings
from pourwright.shop.printer import DEFAULT_PRINTER, Printer, printer_named
from pourwright.shop.process import DEFAULT_PROCESS, Process, process_named
from pourwright.shop.resin import MARGIN_RANGE, Resin
from pourwright.shop.shrinkage import ShrinkageSettings
from pourwright.sprue.settings import (
    BaseSettings,
    FunnelSettings,
    OwnBaseSettings,
    SocketSettings,
    kind_named,
)
from pourwright.vents.settings import VentSettings

MAX_JOB_FILE_BYTES = 1_000_000
# From the best rotary pumps to beyond any casting pot; a gauge reading under vacuum is negative.
PRESSURE_RANGE_KPA = (0.001, 5_000.0)
VISIBLE_DEFECT_RANGE_MM = (0.001, 50.0)
_PA_PER_KPA = 1000.0
# Tables whose keys are the fields of one class.
_PLAIN: dict[str, Any] = {
    "own_base": OwnBaseSettings,
    "socket": SocketSettings,
    "funnel": FunnelSettings,
    "gates": GateSettings,
    "vents": VentSettings,
    "shrinkage": ShrinkageSettings,
}


def read_job(path: Path, materials: Mapping[str, Resin] | None = None) -> Job:
    """Return the job in a TOML file; what the file leaves out keeps its default.

    materials : presets to choose from by name, None for the generic ones.
    Raises InputError that names the file, the line where one can be told, the table and key, and
    what is allowed there.
    """
    text = ""
    try:
        if path.is_dir():
            raise InputError("is a folder", hint="give a TOML file")
        with path.open("rb") as stream:
            data = stream.read(MAX_JOB_FILE_BYTES + 1)
        if len(data) > MAX_JOB_FILE_BYTES:
            raise InputError("is too big for a job file", hint="give a TOML file")
        text = data.decode("utf-8-sig")  # some editors put a mark before the text
        return parse_job(text, materials)
    except InputError as error:
        line = line_of(text, error.what)
        where = f"{path}, line {line}" if line else str(path)
        raise InputError(f"Job file {where}: {error.what}", hint=error.hint) from None
    except UnicodeDecodeError as error:
        raise InputError(f"Job file {path} is not UTF-8 text", hint="give a TOML file") from error
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(f"Job file {path} cannot be read: {reason}") from error


def parse_job(text: str, materials: Mapping[str, Resin] | None = None) -> Job:
    """Return the job in a TOML text; raises InputError as `read_job`, without a file name."""
    try:
        data = parse_toml(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"not valid TOML: {error}", hint="correct that line") from error
    check_table("", data, ("pour", "process", "printer", "pose", "base", "bench", "mould", *_PLAIN))
    pour = check_table("pour", data.get("pour", {}), ("up", "process", "material", "margin"))
    values: dict[str, Any] = {"materials": materials}
    if "up" in pour:
        values["up"] = check_direction("pour.up", pour["up"])
    if "material" in pour:
        values["material"] = check_text("pour.material", pour["material"])
    if "margin" in pour:
        values["margin"] = check_number("pour.margin", pour["margin"], *MARGIN_RANGE)
    process = DEFAULT_PROCESS
    if "process" in pour:
        process = process_named(check_text("pour.process", pour["process"]))
    values["process"] = _process(data.get("process", {}), process)
    values["base"] = BaseSettings.from_table(data.get("base", {}))
    for name, settings in _PLAIN.items():
        values[name] = settings(**check_table(name, data.get(name, {}), _names(settings)))
    values["bench"] = BenchSettings.from_table(data.get("bench", {}))
    values["mould"] = MouldSettings.from_table(data.get("mould", {}))
    values["pose"] = _pose(data.get("pose", {}))
    if "printer" in data:
        values["printer"] = _printer(data["printer"])
    return Job(**values)


def line_of(text: str, what: str) -> int | None:
    """Return the line of a job file, from 1, that a complaint about it means; None for no one line.

    That is the first of the keys it names, as in "vents.web_mm is -2", that the file has, or the
    only line with the text it quotes, as in "There is no process 'steam'". A word without a dot
    is a table's name only where it is the first one.
    """
    lines, table = text.splitlines(), ""
    places: dict[str, int] = {}
    for number, line in enumerate(lines, 1):
        header = re.match(r"\s*\[+\s*([\w.-]+)\s*\]", line)
        key = re.match(r"\s*([\w.-]+)\s*=", line)
        if header:
            table = header[1]
            places.setdefault(table, number)
        elif key:
            places.setdefault(f"{table}.{key[1]}" if table else key[1], number)
    words = re.findall(r"[\w.-]+", what)
    named = [places[w] for w in words if w in places and ("." in w or w == words[0])]
    if named:
        return named[0]
    quoted = re.search(r"'([^']+)'", what)
    if quoted is None:
        return None
    holding = [n for n, line in enumerate(lines, 1) if quoted[1] in line.partition("#")[0]]
    return holding[0] if len(holding) == 1 else None


def _names(settings: Any) -> list[str]:
    return [f.name for f in fields(settings)]


def _pose(table: object) -> PoseSettings:
    values = dict(check_table("pose", table, _names(PoseSettings)))
    if "axis" in values:
        values["axis"] = check_direction("pose.axis", values["axis"])
    if "weights" in values:
        weights = check_table("pose.weights", values["weights"], _names(PoseWeights))
        values["weights"] = PoseWeights(**weights)  # type: ignore[arg-type]
    return PoseSettings(**values)  # type: ignore[arg-type]


def _printer(table: object) -> Printer:
    """Return the named printer, or the usual one, with the numbers of the table."""
    own = [name for name in _names(Printer) if name not in ("name", "title")]
    values = dict(check_table("printer", table, ["name", *own]))
    named = DEFAULT_PRINTER
    if "name" in values:
        named = printer_named(check_text("printer.name", values.pop("name")))
    return replace(named, **values)  # type: ignore[arg-type]


def _process(table: object, named: Process) -> Process:
    """Return the named process with the pressures and defect size of the table, if any."""
    values = check_table("process", table, ("trap_kpa", "cure_kpa", "visible_defect_mm"))
    defect_mm = check_number(
        "process.visible_defect_mm",
        values.get("visible_defect_mm", named.visible_defect_mm),
        *VISIBLE_DEFECT_RANGE_MM,
    )
    if "trap_kpa" not in values and "cure_kpa" not in values:
        return replace(named, visible_defect_mm=defect_mm)
    trap_kpa, cure_kpa = (
        _pressure_kpa(key, values.get(key, default_pa / _PA_PER_KPA))
        for key, default_pa in (("trap_kpa", named.trap_pa), ("cure_kpa", named.cure_pa))
    )
    return Process(
        "custom",
        f"Air trapped at {trap_kpa:g} kPa, cured at {cure_kpa:g} kPa (absolute)",
        trap_kpa * _PA_PER_KPA,
        cure_kpa * _PA_PER_KPA,
        defect_mm,
    )


def _pressure_kpa(key: str, value: object) -> float:
    try:
        return check_number(f"process.{key}", value, *PRESSURE_RANGE_KPA)
    except InputError as error:
        raise InputError(error.what, hint=f"{error.hint}, absolute, not gauge") from None


def with_options(
    job: Job,
    *,
    up: tuple[float, float, float] | None = None,
    base: str | None = None,
    process: str | None = None,
    material: str | None = None,
    printer: str | None = None,
    socket: bool = False,
    scale_master: bool = False,
    mould: bool = True,
) -> Job:
    """Return the job with options that stand above its file; defaults leave it as it is.

    A process by name also sets aside the file's own pressures, but not its visible defect size; a
    printer by name sets aside the file's own numbers.
    Raises InputError for names that do not exist and for a direction without length.
    """
    if up is not None:
        job = replace(job, up=up)
    if base is not None:
        job = replace(job, base=replace(job.base, kind=kind_named(base)))
    if process is not None:
        defect_mm = job.process.visible_defect_mm
        job = replace(job, process=replace(process_named(process), visible_defect_mm=defect_mm))
    if material is not None:
        job = replace(job, material=material)
    if printer is not None:
        job = replace(job, printer=printer_named(printer))
    if socket:
        job = replace(job, socket=replace(job.socket, enabled=True))
    if not mould:
        job = replace(job, mould=replace(job.mould, enabled=False))
    if scale_master:
        job = replace(job, shrinkage=replace(job.shrinkage, scale_master=True))
    return job
