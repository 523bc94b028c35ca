"""The pour sheet as one HTML text, from a plan's data and its master's mesh.

Every number of the plan on it is looked up in the plan by its key; the rest comes from `shop`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Any

from pourwright.checks import check_choice, check_number
from pourwright.errors import InputError
from pourwright.files.log import PourLog, all_bubbles
from pourwright.sheet.picture import Marks, Pictures, draw_master
from pourwright.sheet.plan_data import PlanData, plan_data, value_at
from pourwright.sheet.timeline import clock_text, draw_timeline
from pourwright.shop.bench import BenchPlan, BenchSettings, plan_bench
from pourwright.shop.cautions import Caution, cautions_for
from pourwright.shop.found import compare, predicted_places
from pourwright.shop.mixing import Order
from pourwright.shop.resin import Resin, mix, resin_named
from pourwright.solid.mesh import TriMesh

if TYPE_CHECKING:
    from jinja2 import Environment


@dataclass(frozen=True)
class Paper:
    """A paper size, mm; `name` is what CSS calls it. Margins of 10 mm."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def print_width_mm(self) -> float:
        """Width inside the margins."""
        return self.width_mm - 20.0


# ISO 216 and ANSI Y14.1.
PAPERS = {"a4": Paper("A4", 210.0, 297.0), "letter": Paper("letter", 215.9, 279.4)}

# What stands on the first page beside the drawings, mm, as a browser sets it; the drawings get the
# rest, within these shares of the paper.
_FIRST_PAGE_MM, _ROD_MM, _SMALL_ROD_MM, _LINE_MM = 94.0, 4.7, 3.4, 4.4
_PICTURE_SHARES = (0.19, 0.42)
_LETTERS_OF_PIECES = 24  # that a line of the cut list holds
_MANY_RODS = 42
# Rods that two pages hold; the others are in rods.csv.
_MOST_RODS = 60
_MOST_MIXES, _MOST_WARNINGS, _MOST_POURS = 6, 5, 3
_SAME = 1e-3


def sheet_html(
    plan: Mapping[str, Any],
    mesh: TriMesh | None,
    *,
    paper: str = "a4",
    bench: BenchSettings | None = None,
    materials: Mapping[str, Resin] | None = None,
    log: PourLog | None = None,
) -> str:
    """Return the pour sheet as a self-contained HTML text; nothing is read, written or fetched.

    plan : data of a plan.json. mesh : its master in the standing frame, None for a sheet without
    drawings. paper : a name in `PAPERS`. bench : what the shop has and does; None for the plan's
    own [bench] settings or, without any, the defaults. materials : presets by name, None for the
    generic ones. log : earlier pours, the latest of which are told.

    Raises InputError for a plan that is damaged, a material that is not there, a mesh that is not
    the plan's master, and as `plan_bench` does.
    """
    check_choice("The paper", paper, PAPERS)
    known = plan_data(plan)
    size = PAPERS[paper]
    resin = resin_named(known.material, materials)
    settings = known.bench if bench is None else bench
    settings = replace(settings, mix=replace(settings.mix, margin=known.margin))
    made = plan_bench(
        resin, known.process, settings,
        [Order(known.name, known.poured_ml, settings.casts, settings.moulds)],
        known.box_mm, known.round_box,
    )  # fmt: skip
    pictures = None
    if mesh is not None:
        _check_master(known, mesh)
        pictures = _pictures(known, mesh, size)
    from jinja2 import UndefinedError

    try:
        context = _context(known, made, pictures, size, log)
        return _environment().get_template("sheet.html.j2").render(context)
    except (UndefinedError, TypeError, ValueError, LookupError, ArithmeticError,
            AttributeError) as error:  # fmt: skip
        # What only the sheet reads of a plan is looked at here for the first time.
        raise InputError(
            f"The plan is damaged: {error}", hint="make it anew with 'pourwright plan'"
        ) from error


def _check_master(known: PlanData, mesh: TriMesh) -> None:
    size = mesh.bounds_mm[1] - mesh.bounds_mm[0]
    for i, planned in enumerate(known.master_mm):
        if abs(planned - size[i]) > 0.05:
            raise InputError(
                f"The model is {size[i]:.2f} mm along {'xyz'[i]} and the plan's master "
                f"{planned:.2f} mm",
                hint="give the master that belongs to the plan",
            )


def _pictures(known: PlanData, mesh: TriMesh, paper: Paper) -> Pictures:
    marks = Marks(
        vents=[(r.name, r.path_mm) for r in known.rods],
        pockets=known.pockets_mm,
        left=known.left_mm,
        cut_line=known.cut_line_mm,
    )
    return draw_master(mesh, known.up, marks, paper.print_width_mm, _room_mm(known, paper))


def _room_mm(known: PlanData, paper: Paper) -> float:
    """Return the height that is left for the drawings on the first page."""
    rods = known.rods[:_MOST_RODS]
    row = _SMALL_ROD_MM if len(rods) > _MANY_RODS else _ROD_MM
    columns = _columns(rods, _rod_columns(known))
    lines = max((sum(_rod_lines(r.pieces_mm) for r in column) for column in columns), default=0)
    mould = known.data.get("mould") or {}
    panels = len((mould.get("box") or {}).get("panels", []))
    warnings = min(len(known.data.get("warnings", [])), _MOST_WARNINGS + 1)
    more = lines * row + (max(panels, 2) + 2 * warnings) * _LINE_MM
    more += 3 * _LINE_MM * bool(mould.get("trapped_air") or mould.get("cut_line"))
    low, high = (share * paper.height_mm for share in _PICTURE_SHARES)
    return min(max(paper.height_mm - _FIRST_PAGE_MM - more, low), high)


def _rod_lines(pieces: Sequence[float]) -> int:
    letters = 10 * len(pieces) - 5  # "27.3 <7 deg ", and the last one without a bend
    return -(-letters // _LETTERS_OF_PIECES)


def _rod_columns(known: PlanData) -> int:
    return 3 if len(known.rods) > 24 else 2


def _context(
    known: PlanData, made: BenchPlan, pictures: Pictures | None, paper: Paper, log: PourLog | None
) -> dict[str, Any]:
    data = known.data
    by_place: dict[str, list[Caution]] = {}
    silicone = data.get("silicone")
    tin = "addition" not in str((silicone or {}).get("title", "") or "").lower()
    for caution in cautions_for(made.resin, made.process, made.ambient_pa, tin):
        by_place.setdefault(caution.place, []).append(caution)
    warnings = [w for w in data.get("warnings", []) if isinstance(w, dict)]
    return {
        "paper": paper,
        "plan": data,
        "known": known,
        "made": made,
        "pictures": pictures,
        "ratio_off": 100 * max(abs(m.weighing.ratio_error) for m in made.mixes.mixes),
        "rods": _columns(known.rods[:_MOST_RODS], _rod_columns(known)),
        "many": len(known.rods) > _MANY_RODS,
        "rods_left": max(len(known.rods) - _MOST_RODS, 0),
        "several_pieces": any(len(r.pieces_mm) > 1 for r in known.rods),
        "rod_mm": _stock(known),
        "silicone": silicone,
        "mould": data.get("mould") or {},
        "trapped": _trapped(data.get("mould") or {}),
        "cautions": by_place,
        "warnings": warnings[:_MOST_WARNINGS],
        "warnings_left": max(len(warnings) - _MOST_WARNINGS, 0),
        "mixes": made.mixes.mixes[:_MOST_MIXES],
        "mixes_left": sum(m.times for m in made.mixes.mixes[_MOST_MIXES:]),
        "timeline": draw_timeline(made.steps, made.pot_life, paper.print_width_mm),
        "clock": clock_text,
        "changed": _preset_changed(known, made.resin),
        "log": _log_lines(known, log),
    }


def _trapped(mould: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the air under the rubber that matters; what does not say so does."""
    found = mould.get("trapped_air") or []
    return [p for p in found if isinstance(p, Mapping) and p.get("matters", True)]


def _columns(rods: Sequence[Any], columns: int) -> list[Sequence[Any]]:
    rows = -(-len(rods) // columns) if rods else 0
    return [rods[i * rows : (i + 1) * rows] for i in range(columns)] if rows else []


def _stock(known: PlanData) -> list[tuple[float, float]]:
    """Return how much rod of each diameter is used, (diameter, length), mm."""
    total: dict[float, float] = {}
    for rod in known.rods:
        total[rod.diameter_mm] = total.get(rod.diameter_mm, 0.0) + sum(rod.pieces_mm)
    return sorted(total.items())


def _preset_changed(known: PlanData, resin: Resin) -> bool:
    """Whether the plan's masses are not those of the preset as it is now."""
    now = mix(resin, known.poured_ml, known.margin)
    return any(
        abs(value_at(known.data, f"resin.{key}") / getattr(now, key) - 1.0) > _SAME
        for key in ("part_a_g", "part_b_g")
    )


def _log_lines(known: PlanData, log: PourLog | None) -> dict[str, Any] | None:
    """Return what the sheet tells of earlier pours: the latest ones, and bubbles against plan."""
    if log is None or not (log.pours or log.damaged):
        return None
    bubbles = all_bubbles(log.pours)
    compared = compare([b.at_mm for b in bubbles], predicted_places(known.data))
    return {
        "pours": log.pours[-_MOST_POURS:][::-1],
        "count": len(log.pours),
        "casts": log.casts,
        "damaged": len(log.damaged),
        "words": compared.words,
    }


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("pourwright.sheet", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )

    def planned(
        plan: Mapping[str, Any], key: str, decimals: int = 1, unit: float = 1.0
    ) -> Markup:
        """A number of the plan, to some decimals, with its key for whoever checks it."""
        number = unit * check_number(f"The plan's {key}", value_at(plan, key), -1e12, 1e12)
        return Markup('<b data-key="{}">{}</b>').format(key, f"{number:.{decimals}f}")

    def grams(mass_g: float, step_g: float) -> str:
        """A mass as the scale shows it."""
        decimals = max(0, min(4, -_exponent(step_g)))
        return f"{mass_g:.{decimals}f}"

    environment.globals["planned"] = planned
    environment.globals["sizes"] = _sizes
    environment.globals["places"] = lambda point: ", ".join(f"{c:.0f}" for c in point)
    environment.filters["grams"] = grams
    environment.filters["svg"] = Markup  # made by this room from numbers and escaped words only
    environment.filters["minutes"] = _minutes
    return environment


def _exponent(step: float) -> int:
    """Return the power of ten of a step's last digit: -1 for 0.1 and for 0.5, -2 for 0.25."""
    digits = f"{step:.6f}".rstrip("0")
    return -len(digits.split(".")[1]) if not digits.endswith(".") else 0


def _sizes(value: Any) -> str:
    """Return one size or several, mm."""
    several = value if isinstance(value, list | tuple) else [value]
    return " x ".join(f"{check_number('A size in mm', c, 0.0, 1e7):.1f}" for c in several)


def _minutes(minutes: float) -> str:
    return f"{minutes:.3g} min" if minutes < 120 else f"{minutes / 60:.3g} h"
