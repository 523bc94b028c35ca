"""`pourwright mix`: what to weigh out, how many mixes, and by when, for a run of casts."""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourwright.cli import common, materials
from pourwright.cli.common import DONE, UNDECIDED
from pourwright.cli.sheet import add_bench, read_bench
from pourwright.errors import InputError
from pourwright.terminal import say

if TYPE_CHECKING:
    from pourwright.cli.common import Commands
    from pourwright.sheet.plan_data import PlanData
    from pourwright.shop.bench import BenchSettings
    from pourwright.shop.process import Process

_WAYS = ("open", "vacuum", "pressure", "vacuum_pressure")


def add_to(commands: Commands) -> argparse.ArgumentParser:
    """Add the command and return its parser."""
    command = commands.add_parser(
        "mix", help="what to weigh out, in how many mixes, and by when", allow_abbrev=False
    )
    command.add_argument(
        "masters", metavar="MASTER", nargs="+",
        help="plan.json, or the ml of its cavity, as 33.8 or heron=33.8",
    )  # fmt: skip
    for name, words in (("casts", "casts"), ("moulds", "rubber moulds there are")):
        command.add_argument(
            f"--{name}", metavar="N", type=common.whole_number, action="append", default=[],
            help=f"{words}, of every master or once for each (default 1)",
        )  # fmt: skip
    command.add_argument("--material", metavar="NAME", help="resin, see 'pourwright materials'")
    materials.add_folder(command)
    command.add_argument("--process", choices=_WAYS, help="how it is poured")
    command.add_argument(
        "--vacuum", metavar="P", help="with unit and label, as '28 inHg vacuum'"
    )
    command.add_argument(
        "--pressure", metavar="P", help="with unit and label, as '40 psi gauge'"
    )
    command.add_argument(
        "--pot-marked", metavar="P", help="maximum pressure marked on the pot, '60 psi gauge'"
    )
    for option, unit, words in _NUMBERS:
        command.add_argument(f"--{option}", metavar=unit, type=common.number, help=words)
    add_bench(command)
    command.set_defaults(command=run)
    return command


# Option, unit, what it is; and where it goes among the settings.
_NUMBERS = (
    ("temperature", "C", "of the shop, Celsius"),
    ("altitude", "M", "of the shop"),
    ("margin", "SHARE", "mixed beyond the poured volume, 0.1 is 10 %%"),
    ("residue", "ML", "that every mix leaves in its cup besides"),
    ("scale", "G", "what the scale shows apart"),
    ("cup", "ML", "largest cup there is"),
    ("degas", "MIN", "degassing in the cup"),
    ("fill", "MIN", "filling one mould"),
    ("price", "MONEY", "of a kilogram of resin"),
    ("mould-price", "MONEY", "of one mould"),
)
_PLACES = {
    "temperature": ("clock", "temperature_c"), "degas": ("clock", "degas_min"),
    "fill": ("clock", "fill_min"), "margin": ("mix", "margin"), "residue": ("mix", "residue_ml"),
    "scale": ("mix", "scale_step_g"), "cup": ("mix", "cup_ml"), "mould_price": ("day",
    "mould_price"),
}  # fmt: skip


def run(options: argparse.Namespace) -> int:
    """Plan the run, write and print it, and return the exit status."""
    from pourwright.files.bench_json import bench_to_dict
    from pourwright.report.bench import bench_report
    from pourwright.shop.bench import plan_bench
    from pourwright.shop.mixing import Order
    from pourwright.shop.resin import resin_named

    common.check_outputs([options.json] if options.json else [], [], options.force)
    named = [_master(text) for text in options.masters]
    plans = [plan for _, _, plan in named if plan is not None]
    settings = _settings(options, plans)
    material = options.material or _agreed(plans, "material") or "polyurethane"
    resin = resin_named(material, materials.known(options))
    if options.price is not None:
        resin = replace(resin, price_per_kg=options.price)
    casts, moulds = (
        _each(name, getattr(options, name), len(named), getattr(settings, name))
        for name in ("casts", "moulds")
    )
    orders = [
        Order(name, ml, n, m)
        for (name, ml, _), n, m in zip(named, casts, moulds, strict=True)
    ]
    box = plans[0].box_mm if len(plans) == 1 else None
    made = plan_bench(
        resin, _process(options, plans, settings), settings, orders, box,
        bool(plans and plans[0].round_box),
    )  # fmt: skip
    common.write_json(options, bench_to_dict(made))
    say(bench_report(made))
    return UNDECIDED if made.undecided else DONE


def _master(text: str) -> tuple[str, float, PlanData | None]:
    """Return the name, ml and plan of a master."""
    from pourwright.sheet.plan_data import plan_data, pour_plan, read_plan

    name, _, amount = text.rpartition("=")
    try:
        return name or "master", float(amount), None
    except ValueError:
        pass
    path = Path(text)
    if name and not os.path.exists(path):  # noqa: PTH110 - a name too long is none either
        raise InputError(
            f"{text}: '{amount}' is no volume in ml", hint="write it like heron=33.8"
        )
    data = read_plan(path)
    if not pour_plan(data):
        raise InputError(f"{path} is no whole plan", hint="make it with 'pourwright plan'")
    plan = plan_data(data)
    return plan.name, plan.poured_ml, plan


def _settings(options: argparse.Namespace, plans: list[PlanData]) -> BenchSettings:
    from pourwright.shop.bench import BenchSettings

    default = BenchSettings()
    if plans:
        margin = max(plan.margin for plan in plans)
        default = plans[0].bench
        default = replace(default, mix=replace(default.mix, margin=margin))
    settings = read_bench(options.bench, default)
    for option, (part, name) in _PLACES.items():
        value = getattr(options, option)
        if value is not None:
            settings = replace(
                settings, **{part: replace(getattr(settings, part), **{name: value})}
            )
    if options.altitude is not None:
        settings = replace(settings, altitude_m=options.altitude)
    if options.pot_marked is not None:
        settings = replace(settings, pot_marked_most=options.pot_marked)
    return settings


def _process(
    options: argparse.Namespace, plans: list[PlanData], settings: BenchSettings
) -> Process:
    """Return how it is poured: by the options, else as planned, else in the usual way."""
    from pourwright.shop.pressure import parse_pressure
    from pourwright.shop.process import process_named
    from pourwright.shop.ways import process_of

    way = options.process
    if options.vacuum is None and options.pressure is None:
        if way is None and plans:
            _agreed(plans, "process")
            return plans[0].process
        if way in (None, "open") or settings.altitude_m == 0:
            # At sea level a named way has pressures of its own.
            return process_of("open", altitude_m=settings.altitude_m) if way == "open" else (
                process_named(way or "vacuum_pressure")
            )
    if way is None:
        way = "_".join(name for name in ("vacuum", "pressure") if getattr(options, name))
    vacuum, pressure = (
        parse_pressure(text) if text else None for text in (options.vacuum, options.pressure)
    )
    return process_of(way, vacuum, pressure, settings.altitude_m)


def _agreed(plans: list[PlanData], what: str) -> Any:
    """Return what all plans have in common; None without plans."""
    values = [getattr(plan, what) for plan in plans]
    if any(value != values[0] for value in values):
        raise InputError(
            f"The plans differ in their {what}", hint=f"give --{what}, or mix for each alone"
        )
    return values[0] if values else None


def _each(name: str, given: list[int], count: int, default: int) -> list[int]:
    """Return a number for every master."""
    if len(given) <= 1:
        return (given or [default]) * count
    if len(given) != count:
        raise InputError(
            f"--{name} is given {len(given)} times for {count} masters",
            hint="give it once, or once for each",
        )
    return given
