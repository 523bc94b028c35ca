"""The scene's settings as a job of the core, and a job's as the scene's."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import bpy

from .. import task
from ..air.settings import PROCESSES, UPSIDE_DOWN, set_up
from ..base.kinds import FACES, NUMBERS
from ..base.settings import base_table, own_base_table
from ..bench.settings import full_table
from ..presets.paths import paths, read, write
from ..printer.settings import NOT_CHOSEN, PRINTERS, SIZES
from ..quantities import materials

if TYPE_CHECKING:
    from pourwright.plan.job import Job
    from pourwright.shop.resin import Resin

# Two numbers of the same value, one of which has been in single precision.
SAME_SHARE = 2e-6


def presets() -> dict[str, Resin]:
    """Return the generic resins and the shop's own; raises InputError where a file is wrong."""
    from pourwright.errors import InputError
    from pourwright.shop.resin import resins

    own = materials.known()
    if isinstance(own, str):
        raise InputError(f"The materials folder: {own}")
    return resins() | own


def job_of(scene: bpy.types.Scene) -> Job:
    """Return the job that the settings are, whatever the source of the base.

    The mould is on: that Make Master leaves it to Plan Mould is a matter of the extension.
    Raises InputError for settings that do not go together.
    """
    from pourwright.plan.job_file import parse_job
    from pourwright.plan.toml_text import tables_text

    settings = scene.pourwright
    tables = task.job_tables(scene) | task.pose_tables(scene)
    whole = {
        "base": base_table(settings.base),
        "own_base": own_base_table(settings.base),
        "mould": tables["mould"] | {"enabled": True},
        "bench": full_table(settings.bench),
    }
    for name, table in whole.items():
        tables[name] = {key: task.clean(value) for key, value in table.items()}
    return parse_job(tables_text(tables), presets())


def take(scene: bpy.types.Scene, job: Job) -> list[str]:
    """Set the scene's settings to a job's, all or none; return what they cannot say, as texts.

    Results, the figure and an own object for the base stay. Raises InputError where the settings
    do not go together then, as a number out of a property's range may do.
    """
    from pourwright.errors import PourwrightError

    before = read(scene.pourwright, paths("job"))
    try:
        for path, value in values_of(scene, job).items():
            _put(scene.pourwright, path, value)
        set_up(scene, job.up)
        return _differences(job, job_of(scene))
    except PourwrightError:
        write(scene.pourwright, before)
        raise


def _put(settings: bpy.types.PropertyGroup, path: str, value: Any) -> None:
    """Set a value if the property can take it; what it does not take is told by comparison."""
    try:
        write(settings, {path: value})
    except ValueError:
        return


def values_of(scene: bpy.types.Scene, job: Job) -> dict[str, Any]:
    """Return the settings of a job by their paths below the scene's settings."""
    values: dict[str, Any] = {}
    process = job.process
    if process.name in PROCESSES:
        values |= {"air.process": process.name, "air.own_pressures": False}
    else:
        values |= {
            "air.own_pressures": True,
            "air.trap_kpa": process.trap_pa / 1000.0,
            "air.cure_kpa": process.cure_pa / 1000.0,
        }
    values["air.visible_defect_mm"] = process.visible_defect_mm
    values["quantities.own"] = job.material in materials.names()
    name = "own_name" if values["quantities.own"] else "material"
    values |= {f"quantities.{name}": job.material, "quantities.margin_percent": 100 * job.margin}
    return (
        values | _pose(scene, job) | _base(job) | _rods(job) | _print(job) | _mould(job)
        | _bench(job)
    )  # fmt: skip


def _all(group: str, settings: Any, names: tuple[str, ...]) -> dict[str, Any]:
    """Return settings whose names are the same on both sides."""
    return {f"{group}.{name}": getattr(settings, name) for name in names}


def _optional(switch: str, path: str, value: float | None) -> dict[str, Any]:
    """Return a switch, and its number where there is one."""
    return {switch: False} if value is None else {switch: True, path: value}


def _pose(scene: bpy.types.Scene, job: Job) -> dict[str, Any]:
    pose = job.pose
    free = pose.cone_deg == 180.0
    usual = _same_way(pose.axis, UPSIDE_DOWN)
    values = {
        "pose.search": "FREE" if free else "CONE",
        "pose.standing": "UPSIDE_DOWN" if usual else "CURRENT",
        "pose.directions": pose.directions,
        "pose.keep": pose.keep,
    }
    if not free:
        values["pose.cone"] = math.radians(pose.cone_deg)
    for name in ("pot_height", "pot_diameter"):
        values |= _optional(f"pose.use_{name}", f"pose.{name}_mm", getattr(pose, f"{name}_mm"))
    names = tuple(scene.pourwright.pose.weights.__annotations__)
    return values | _all("pose.weights", pose.weights, names)


def _same_way(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    a, b = ([c / math.hypot(*v) for c in v] for v in (one, other))
    return math.dist(a, b) < SAME_SHARE


def _base(job: Job) -> dict[str, Any]:
    base, own, socket, funnel = job.base, job.own_base, job.socket, job.funnel
    kind = base.kind
    given = base.width_mm is not None or base.depth_mm is not None
    values = {
        "base.kind": kind,
        "base.size": "CUSTOM" if given else "AUTOMATIC",
        "base.draft": math.radians(base.draft_deg),
        "base.crown": math.radians(base.crown_deg),
        f"base.{kind}.text_face": base.text_face or FACES[kind][0],
        "base.place": own.place,
        "base.socket": socket.enabled,
        "base.clearance_mm": socket.clearance_mm,
        "base.socket_draft": math.radians(socket.draft_deg),
        "base.funnel": funnel.enabled,
        "base.mouth_mm": funnel.mouth_mm,
        "base.neck_mm": funnel.neck_mm,
        "base.funnel_height_mm": funnel.height_mm,
        "base.head_mm": funnel.head_mm,
    }
    for name in ("width_mm", "depth_mm"):
        if getattr(base, name) is not None:
            values[f"base.{name}"] = getattr(base, name)
    values |= _all(
        "base", base,
        ("embed_mm", "margin_mm", "rounding_mm", "seed", "text", "text_style", "text_depth_mm",
         "smallest_line_mm"),
    )
    values |= _optional("base.own_height", "base.height_mm", base.height_mm)
    values |= _optional("base.own_text_height", "base.text_height_mm", base.text_height_mm)
    values |= _optional("base.own_cut", "base.cut_mm", own.cut_mm)
    values |= _optional("base.own_socket_depth", "base.socket_depth_mm", socket.depth_mm)
    for number in NUMBERS[kind]:
        value = base.extra(number.name)
        if number.name.endswith("_deg"):
            value = math.radians(value)
        elif (number.low, number.high) == (0, 1):
            value = bool(value)
        elif isinstance(number.default, int):
            value = int(value)
        values[f"base.{kind}.{number.name}"] = value
    return values


def _rods(job: Job) -> dict[str, Any]:
    vents, gates = job.vents, job.gates
    values = _all(
        "vents", vents,
        ("diameter_mm", "least_diameter_mm", "web_mm", "overlap_mm", "neck_mm", "neck_length_mm",
         "grid_mm"),
    ) | _all(
        "gates", gates,
        ("enabled", "least_mm", "most_mm", "web_mm", "overlap_mm", "neck_length_mm", "grid_mm"),
    )  # fmt: skip
    return values | {
        "vents.slope": math.radians(vents.slope_deg),
        "gates.slope": math.radians(gates.slope_deg),
        "gates.most_gates": int(gates.most_gates),
        "gates.share_percent": 100 * gates.pot_life_share,
        "gates.neck_percent": 100 * gates.neck_share,
    }


def _print(job: Job) -> dict[str, Any]:
    printer, shrinkage = job.printer, job.shrinkage
    values = {
        "print.printer": NOT_CHOSEN if printer is None else printer.name,
        "print.own_sizes": printer is not None and printer != PRINTERS.get(printer.name),
        "print.scale_master": shrinkage.scale_master,
        "print.rubber_percent": 100 * shrinkage.rubber,
    }
    if values["print.own_sizes"]:
        values |= _all("print", printer, SIZES)
    resin = None if shrinkage.resin is None else 100 * shrinkage.resin
    return values | _optional("print.own_resin", "print.resin_percent", resin)


def _mould(job: Job) -> dict[str, Any]:
    mould = job.mould
    box, cut, keys, guide = mould.box, mould.cut, mould.registration, mould.guide
    opening = None if cut.opening_deg is None else math.radians(cut.opening_deg)
    values = {
        "mould.silicone": mould.silicone,
        "mould.margin_percent": 100 * box.margin,
        "mould.from_front": cut.viewer is not None,
        "mould.hinge_mm": cut.hinge_mm,
        "mould.register": keys.kind,
        "mould.guide": guide.kind,
        "mould.guide_width_mm": guide.width_mm,
        "mould.guide_on_figure": guide.figure_too,
    }
    names = ("shape", "wall_mm", "cover_mm", "panel_material", "thickness_mm")
    values |= _all("mould", box, names)
    values |= _all("mould", keys, ("amplitude_mm", "wavelength_mm", "diameter_mm"))
    return values | _optional("mould.own_opening", "mould.opening", opening)


def _bench(job: Job) -> dict[str, Any]:
    bench = job.bench
    values = {f"bench.{name}": value for name, value in bench.table().items()}
    values |= _optional("bench.use_cup", "bench.cup_ml", bench.mix.cup_ml)
    values |= _optional("bench.use_mould_price", "bench.mould_price", bench.day.mould_price)
    for kind in ("pot", "chamber"):
        values[f"bench.use_{kind}"] = bench.vessel(kind) is not None
    return values


def _differences(job: Job, got: Job) -> list[str]:
    """Return what a job says otherwise than another one, as texts like "bench.day_h = 9"."""
    from pourwright.plan.job_text import job_tables
    from pourwright.plan.toml_text import value_text

    wanted, held = (dict(_flat(job_tables(j), "")) for j in (job, got))
    told = []
    for key in sorted(wanted.keys() | held.keys()):
        if not _same(wanted.get(key), held.get(key)):
            value = wanted.get(key)
            if value is None:
                told.append(f"{key} is left out")
            elif isinstance(value, list) and value and isinstance(value[0], Mapping):
                told.append(f"{key} ({len(value)})")
            else:
                told.append(f"{key} = {value_text(key, value)}")
    return told


def _flat(tables: Mapping[str, Any], prefix: str) -> Iterator[tuple[str, Any]]:
    for name, value in tables.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{name}.")
        else:
            yield prefix + name, value


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, float | int) and isinstance(other, float | int):
        return math.isclose(one, other, rel_tol=SAME_SHARE, abs_tol=1e-7)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(_same, one, other))
    return bool(one == other)
