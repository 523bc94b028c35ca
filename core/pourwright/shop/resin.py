"""Resin presets and how much of each part to weigh out."""

from __future__ import annotations

import reprlib
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields
from functools import cache
from importlib import resources
from typing import TypeVar

from pourwright.checks import check_choice, check_number, check_table, check_text, parse_toml
from pourwright.errors import InputError

# Outside these a number is a slip of units or of the decimal point, not a casting resin.
_DENSITY_G_ML = (0.1, 10.0)
_RATIO = (1e-3, 1e5)
_MINUTES = (0.1, 100_000.0)
_VISCOSITY_MPA_S = (0.1, 1e7)
_LINEAR_SHRINKAGE = (0.0, 0.1)
_CELSIUS = (-20.0, 80.0)
_PRICE_PER_KG = (0.0, 1e6)
# Room temperature of data sheets that name none: common practice, no source.
ROOM_C = 23.0

MARGIN_RANGE = (0.0, 1.0)
POURED_ML_RANGE = (1e-6, 1e7)


@dataclass(frozen=True)
class Resin:
    """A casting resin; a product's data sheet overrides every number here.

    part_a_density_g_ml, part_b_density_g_ml : of the liquid parts, None where unknown.
    ratio_basis : "volume" or "weight"; ratio_a : ratio_b in that basis.
    pot_life_min, demould_min : at pot_life_at_c; the demould time is None where unknown.
    linear_shrinkage : share of length lost while it sets, None where unknown.
    source : where the numbers come from, in words.
    price_per_kg : of both parts together in the shop's own money, None where unknown.
    ranges : plausible lowest and highest value by the name of a field, as far as they are known.

    Raises InputError for a value that no casting resin has.
    """

    name: str
    title: str
    part_a: str
    part_b: str
    part_a_density_g_ml: float | None
    part_b_density_g_ml: float | None
    cured_density_g_ml: float
    ratio_basis: str
    ratio_a: float
    ratio_b: float
    pot_life_min: float
    viscosity_mpa_s: float
    source: str
    demould_min: float | None = None
    linear_shrinkage: float | None = None
    pot_life_at_c: float = ROOM_C
    price_per_kg: float | None = None
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        for key in ("name", "title", "part_a", "part_b", "source"):
            check_text(f"{self.name}.{key}", getattr(self, key))
        check_choice(f"{self.name}.ratio_basis", self.ratio_basis, ("volume", "weight"))
        for key, (low, high) in (
            ("part_a_density_g_ml", _DENSITY_G_ML),
            ("part_b_density_g_ml", _DENSITY_G_ML),
            ("cured_density_g_ml", _DENSITY_G_ML),
            ("ratio_a", _RATIO),
            ("ratio_b", _RATIO),
            ("pot_life_min", _MINUTES),
            ("viscosity_mpa_s", _VISCOSITY_MPA_S),
            ("demould_min", _MINUTES),
            ("linear_shrinkage", _LINEAR_SHRINKAGE),
            ("pot_life_at_c", _CELSIUS),
            ("price_per_kg", _PRICE_PER_KG),
        ):
            value = getattr(self, key)
            if value is None and key in _OPTIONAL:
                continue
            check_number(f"{self.name}.{key}", value, low, high)
        object.__setattr__(self, "ranges", _checked_ranges(self))

    def share_b(self) -> float:
        """Return the weight of part B over that of both; raises as `weight_ratio`."""
        _, b_per_100 = weight_ratio(self)
        return b_per_100 / (100.0 + b_per_100)


_OPTIONAL = frozenset(
    {
        "part_a_density_g_ml", "part_b_density_g_ml", "demould_min", "linear_shrinkage",
        "price_per_kg",
    }
)  # fmt: skip
_RANGED = frozenset(
    {
        "part_a_density_g_ml", "part_b_density_g_ml", "cured_density_g_ml", "ratio_a", "ratio_b",
        "pot_life_min", "viscosity_mpa_s", "demould_min", "linear_shrinkage",
    }
)  # fmt: skip


def _checked_ranges(resin: Resin) -> dict[str, tuple[float, float]]:
    """Return the ranges as pairs of numbers, the lower one first."""
    found = {}
    for key, pair in check_table(f"{resin.name}.ranges", resin.ranges, sorted(_RANGED)).items():
        name = f"{resin.name}.ranges.{key}"
        if not isinstance(pair, list | tuple) or len(pair) != 2:
            raise InputError(f"{name} is {reprlib.repr(pair)}", hint="give [low, high]")
        low = check_number(f"{name} from", pair[0], 0.0, 1e9)
        high = check_number(f"{name} to", pair[1], low, 1e9)
        found[key] = (low, high)
    return found


def _check_within_ranges(resin: Resin) -> None:
    """Raise InputError for a value outside the range that its own preset gives."""
    for key, (low, high) in resin.ranges.items():
        value = getattr(resin, key)
        if value is not None and not low <= value <= high:
            raise InputError(
                f"{resin.name}.{key} is {value:g}, outside its own range {low:g} to {high:g}",
                hint="correct the value or the range",
            )


@dataclass(frozen=True)
class ResinMix:
    """What to weigh out for one pour."""

    resin: Resin
    poured_ml: float
    to_mix_ml: float
    part_a_g: float
    part_b_g: float


Preset = TypeVar("Preset", bound=Resin)


def read_resins(text: str, where: str) -> dict[str, Resin]:
    """Return the presets in a TOML text, one table each, by name, in the text's order.

    `where` names the text in messages. Raises InputError that names the table and key for
    broken TOML, an unknown or missing key, a wrong type or a number out of range.
    """
    return read_presets(text, where, Resin)


def read_presets(
    text: str, where: str, kind: type[Preset], needed: Sequence[str] = ()
) -> dict[str, Preset]:
    """Return presets of a kind as `read_resins` does; needed : keys to be given all the same."""
    try:
        tables = parse_toml(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{where} is not valid TOML: {error}") from error
    known = [f for f in fields(kind) if f.name != "name"]
    keys = [f.name for f in known]
    bare = [f.name for f in known if f.default is MISSING and f.default_factory is MISSING]
    wanted = [key for key in bare if key not in _OPTIONAL] + [*needed]
    found = {}
    for name, table in tables.items():
        try:
            values = dict.fromkeys(_OPTIONAL) | check_table(name, table, keys)
            missing = [key for key in wanted if key not in values]
            if missing:
                raise InputError(f"{name} lacks {', '.join(missing)}", hint="add what is missing")
            found[name] = kind(name=name, **values)  # type: ignore[arg-type]
            _check_within_ranges(found[name])
        except InputError as error:
            raise InputError(f"{where}: {error.what}", hint=error.hint) from None
    return found


@cache
def _presets() -> dict[str, Resin]:
    text = resources.files("pourwright.shop").joinpath("resins.toml").read_text("utf-8")
    return read_resins(text, "resins.toml")


def resins() -> dict[str, Resin]:
    """Return the resin presets by name; the dict is the caller's own."""
    return dict(_presets())


def resin_named(name: str, among: Mapping[str, Resin] | None = None) -> Resin:
    """Return the resin preset of that name; InputError lists the names there are.

    among : presets by name, as `materials.read_materials` gives them; None for the generic ones.
    """
    presets = _presets() if among is None else among
    try:
        return presets[name]
    except KeyError:
        raise InputError(
            f"There is no material '{name}'", hint="choose one of " + ", ".join(presets)
        ) from None


def _both_densities(
    resin: Resin, why: str = "the mix ratio is by volume"
) -> tuple[float, float]:
    if resin.part_a_density_g_ml is None or resin.part_b_density_g_ml is None:
        raise InputError(
            f"{resin.title}: {why} and the density of a part is not known",
            hint="enter the densities of both parts from the data sheet, or a ratio by weight",
        )
    return resin.part_a_density_g_ml, resin.part_b_density_g_ml


def weight_ratio(resin: Resin) -> tuple[float, float]:
    """Return the mix ratio by weight as (100.0, parts of B per 100 parts of A).

    By volume it is w_B/w_A = (V_B/V_A)(rho_B/rho_A): 1:1 by volume at 1.00 and 1.20 g/ml is
    100:120. Raises InputError for a ratio by volume without both densities.
    """
    b_per_a = resin.ratio_b / resin.ratio_a
    if resin.ratio_basis == "volume":
        density_a, density_b = _both_densities(resin)
        b_per_a *= density_b / density_a
    return 100.0, 100.0 * b_per_a


def liquid_density_g_ml(resin: Resin) -> float:
    """Return the density of the mixed liquid, 1/rho = sum(w_i/rho_i) with weight shares w_i.

    It holds for parts that mix without a change of volume. Where a ratio by weight lacks a
    density, the cured density stands in: the liquid is lighter by the cure shrinkage, a few
    per cent, so that errs towards too much resin. Raises InputError for a ratio by volume
    without both densities.
    """
    weight_ratio(resin)  # refuses a ratio by volume without densities
    if resin.part_a_density_g_ml is None or resin.part_b_density_g_ml is None:
        return resin.cured_density_g_ml
    share_b = resin.share_b()
    return 1.0 / ((1.0 - share_b) / resin.part_a_density_g_ml + share_b / resin.part_b_density_g_ml)


def part_volumes_ml(resin: Resin, part_a_g: float, part_b_g: float) -> tuple[float, float]:
    """Return the volumes of masses of both parts; InputError unless both densities are known."""
    density_a, density_b = _both_densities(resin, "volumes are asked for")
    return part_a_g / density_a, part_b_g / density_b


def mix(resin: Resin, poured_ml: float, margin: float) -> ResinMix:
    """Return the masses to weigh out so that `poured_ml` can be poured.

    poured_ml : volume of liquid the cavity takes.
    margin : share mixed beyond it for what stays in the cup (0.10 is 10 %).

    The masses are to_mix_ml times the density of the mixed liquid (`liquid_density_g_ml`,
    which says what is taken where a density is unknown), shared out by `weight_ratio`. Raises
    InputError for a volume or margin out of range and for a ratio by volume without densities.
    """
    check_number("The poured volume in ml", poured_ml, *POURED_ML_RANGE)
    check_number("The resin margin", margin, *MARGIN_RANGE)
    to_mix_ml = poured_ml * (1.0 + margin)
    mass_g = to_mix_ml * liquid_density_g_ml(resin)
    part_b_g = mass_g * resin.share_b()
    return ResinMix(resin, float(poured_ml), to_mix_ml, mass_g - part_b_g, part_b_g)
