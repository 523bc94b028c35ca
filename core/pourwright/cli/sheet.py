"""`pourwright sheet`: what goes to the bench on paper, from a plan that was made."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pourwright.cli import common, materials
from pourwright.cli.common import DONE, UNDECIDED
from pourwright.errors import InputError
from pourwright.terminal import say

if TYPE_CHECKING:
    from pourwright.cli.common import Commands
    from pourwright.shop.bench import BenchSettings
    from pourwright.solid.mesh import TriMesh

_PAPERS = ("a4", "letter")
_MASTERS = ("master.stl", "master.3mf")


def add_to(commands: Commands) -> argparse.ArgumentParser:
    """Add the command and return its parser."""
    command = commands.add_parser(
        "sheet", help="write the pour sheet of a plan, two pages to print", allow_abbrev=False
    )
    command.add_argument("plan", metavar="plan.json", type=Path, help="a plan; the master beside")
    command.add_argument("--paper", choices=_PAPERS, default="a4", help="paper size (default a4)")
    command.add_argument(
        "--out", metavar="FILE.html", type=Path, help="default: sheet.html beside the plan"
    )
    command.add_argument(
        "--log", metavar="FILE", type=Path, help="pour log of this master, told on the sheet"
    )
    command.add_argument("--casts", metavar="N", type=common.whole_number, help="casts of this run")
    command.add_argument(
        "--moulds", metavar="N", type=common.whole_number, help="rubber moulds there are"
    )
    command.add_argument(
        "--temperature", metavar="C", type=common.number, help="of the shop, Celsius"
    )
    add_bench(command)
    materials.add_folder(command)
    command.set_defaults(command=run)
    return command


def add_bench(command: argparse.ArgumentParser) -> None:
    """Add the file of what the shop has and does."""
    command.add_argument(
        "--bench", metavar="FILE.toml", type=Path,
        help="file with a [bench] table: times, scale, cups, vessels, prices",
    )  # fmt: skip


def read_bench(path: Path | None, default: BenchSettings) -> BenchSettings:
    """Return the settings in a file's [bench] table, or the default without a file."""
    from pourwright.checks import check_table, parse_toml
    from pourwright.shop.bench import BenchSettings

    if path is None:
        return default
    common.check_models([path])
    try:
        data = parse_toml(path.read_text("utf-8"))
        return BenchSettings.from_table(check_table("", data, ("bench",)).get("bench", {}))
    except InputError as error:
        raise InputError(f"{path}: {error.what}", hint=error.hint) from None
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path} is not valid TOML: {error}") from error


def run(options: argparse.Namespace) -> int:
    """Write the sheet and return the exit status."""
    from dataclasses import replace

    from pourwright.files.log import read_log
    from pourwright.sheet.plan_data import plan_data, pour_plan, read_plan

    data = read_plan(options.plan)
    if not pour_plan(data):
        raise InputError(
            f"{options.plan} is no whole plan", hint="make it with 'pourwright plan', not 'air'"
        )
    out = options.out or options.plan.with_name("sheet.html")
    targets = [out] + ([options.json] if options.json else [])
    common.check_outputs(targets, [options.plan], options.force)
    bench = read_bench(options.bench, plan_data(data).bench)
    for name in ("casts", "moulds"):
        if getattr(options, name) is not None:
            bench = replace(bench, **{name: getattr(options, name)})
    if options.temperature is not None:
        bench = replace(bench, clock=replace(bench.clock, temperature_c=options.temperature))
    presets = materials.known(options)
    log = read_log(options.log) if options.log else None
    mesh = _master(options.plan.parent)
    from pourwright.sheet import sheet_html

    html = sheet_html(
        data, mesh, paper=options.paper, bench=bench, materials=presets, log=log
    )
    result = {"sheet": str(out), "paper": options.paper, "pictures": mesh is not None}
    from pourwright.files.plan_json import to_json

    common.write_all(options, {out: html.encode("utf-8"), options.json: to_json(result)})
    said = "" if mesh is not None else "\nNo pictures: there is no master.stl or master.3mf beside"
    say(f"Written\n  {out}{said}")
    return UNDECIDED if data.get("undecided") else DONE


def _master(folder: Path) -> TriMesh | None:
    """Return the master beside the plan, None where there is none."""
    from pourwright.solid import read_models
    from pourwright.solid.mesh import concatenate

    for name in _MASTERS:
        path = folder / name
        if path.is_file():
            meshes, _ = read_models([path], "mm")
            return concatenate(meshes, name)
    return None
