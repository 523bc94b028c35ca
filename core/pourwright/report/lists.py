"""The lists of what there is to choose from."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from pourwright.report import text
from pourwright.shop.printer import Printer
from pourwright.shop.resin import Resin, weight_ratio
from pourwright.sprue.catalogue import BaseKind


def bases_report(kinds: Iterable[BaseKind]) -> str:
    """Return the list of sprue bases with what they are good for and their own parameters."""
    lines: list[str] = []
    for kind in kinds:
        lines += [
            "",
            f"{kind.name.replace('_', '-'):<20} {kind.title}",
            *_wrapped(kind.good_for),
            *_wrapped(f"{kind.sizes}; text on {', '.join(kind.faces)}"),
        ]
        if kind.parameters:
            rows = [
                (p.name, f"{p.default:g}", f"{p.low:g} to {p.high:g}", p.help)
                for p in kind.parameters
            ]
            heads = ("own parameter", "default", "allowed", "")
            lines.append(text.table(heads, rows, "<>><", "    "))
        if kind.seeded:
            lines.append("    seed: any whole number; each gives another shape")
    return text.joined(*lines, "", "All go into the [base] table of a job file.")


def _wrapped(words: str) -> list[str]:
    return textwrap.wrap(words, 96, initial_indent="  ", subsequent_indent="  ")


def materials_report(resins: Iterable[Resin]) -> str:
    """Return the list of resin presets with what a caster looks for first."""
    rows = [
        (
            r.name,
            f"100:{weight_ratio(r)[1]:.4g}",
            f"{r.cured_density_g_ml:.2f}",
            text.minutes(r.pot_life_min),
            "-" if r.demould_min is None else text.minutes(r.demould_min),
            r.title,
        )
        for r in resins
    ]
    heads = ("name", "A:B weight", "g/ml cured", "pot life", "demould", "")
    return text.joined(
        text.table(heads, rows, "<>>>><", indent=""),
        "",
        "Generic values; the product's data sheet overrides every one of them.",
    )


def printers_report(printers: Iterable[Printer]) -> str:
    """Return the list of kinds of printer with the room they print in."""
    rows = [
        (
            p.name,
            " x ".join(f"{size:g}" for size in p.build_mm),
            f"{p.smallest_wall_mm:g}",
            f"{p.layer_mm:g}",
            p.title,
        )
        for p in printers
    ]
    heads = ("name", "room mm", "least wall mm", "layer mm", "")
    return text.joined(
        text.table(heads, rows, "<>>><", indent=""),
        "",
        "Usual sizes, no products; put your own numbers into the [printer] table of a job file.",
    )
