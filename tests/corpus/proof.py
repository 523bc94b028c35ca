"""docs/proof.md, written from what the runs measured."""

from __future__ import annotations

import itertools
import json
import platform
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from found import FOUND
from outside import CHECKS, PROPERTIES

ROOT = Path(__file__).parents[2]
Row = dict[str, Any]
OUTCOMES = ("done", "warned", "refused", "wrong", "crash", "unread")
LARGEST = 25


def document(intake: Row, plans: Row | None, fuzz: Row | None) -> str:
    """The whole page. plans, fuzz : what those runs measured, or None where there is nothing."""
    parts = [_head(intake, plans), _meshes(intake), _volumes(intake["rows"]), _air(intake["rows"])]
    parts += [_cost(intake["rows"])]
    if plans is not None:
        parts.append(_plans(plans))
    parts += [FOUND]
    if fuzz is not None:
        parts.append(_fuzz(fuzz))
    parts += [_outside(), _properties(), _again(intake, plans)]
    return "\n\n".join("\n".join(p) if not isinstance(p, str) else p.strip() for p in parts) + "\n"


def table(head: Iterable[str], rows: Iterable[Iterable[Any]], left: int = 1) -> Iterator[str]:
    """Markdown lines; all columns but the first `left` are numbers."""
    names = list(head)
    yield "| " + " | ".join(names) + " |"
    yield "|" + "|".join("---" if i < left else "--:" for i in range(len(names))) + "|"
    for row in rows:
        yield "| " + " | ".join(str(c) for c in row) + " |"


def _head(intake: Row, plans: Row | None) -> list[str]:
    libraries = ", ".join(
        f"{name} {version(name)}" for name in ("numpy", "scipy", "manifold3d", "trimesh")
    )
    count = Counter(r["outcome"] for r in intake["rows"])
    return [
        "# Proof",
        "",
        "What Pourwright computes, held against things that were not made for it: meshes that "
        "other people's packages ship, references that share no code with it, published numbers "
        "and files that were damaged on purpose. "
        "This page is written by the run itself; how to run it again stands at the end.",
        "",
        f"Run of {intake['date']}: {len(intake['rows'])} meshes, {count['wrong']} wrong, "
        f"{count['crash']} crashes. Python {platform.python_version()}, {libraries}, "
        f"Pourwright {version('pourwright')}. "
        + _code(intake["rows"] + (plans["rows"] if plans else [])),
    ]


def _code(rows: list[Row]) -> str:
    """Say that one state of the code made all rows, or how many each state made."""
    count = Counter(r.get("state", "unknown") for r in rows)
    if len(count) <= 1:
        return f"All by one state of the code, {', '.join(count)} (`run_intake.py --state`)."
    made = ", ".join(f"{n} by {state}" for state, n in count.most_common())
    return f"**The code was changed during the run**: {made}."


def _meshes(intake: Row) -> list[str]:
    rows = intake["rows"]
    packages = {r["package"]: intake["versions"].get(r["package"], "made here") for r in rows}
    lines = [
        "## Meshes of the registries",
        "",
        "Every different mesh file in these packages, closed or not, meant as a figure or not, "
        "Blender's own primitives and modifiers, the demo's three figures, and assemblies of two "
        "to six of these animals and parts at random poses and sizes, some mirrored. All but the "
        "demo's are read at 60 mm. Each runs in a process of its own with a limit of 6 GB and "
        "300 s. *Done* may have said what unit it took; *warned* said more; *refused* named what "
        "is wrong and where; *not read* are files that the run's own readers (of formats that "
        "Pourwright does not take) did not open.",
        "",
    ]
    names = ["package", "meshes", "triangles", *OUTCOMES[:-1], "not read"]
    body = []
    for package, what in packages.items():
        mine = [r for r in rows if r["package"] == package]
        count = Counter(r["outcome"] for r in mine)
        body.append([
            package if what == "made here" else f"{package} ({what})", len(mine),
            f"{sum(r.get('triangles', 0) for r in mine):,}".replace(",", " "),
            *(count[o] for o in OUTCOMES),
        ])  # fmt: skip
    count = Counter(r["outcome"] for r in rows)
    body.append([
        "**all**", len(rows),
        f"{sum(r.get('triangles', 0) for r in rows):,}".replace(",", " "),
        *(count[o] for o in OUTCOMES),
    ])  # fmt: skip
    lines += table(names, body)
    found = intake.get("found", {})
    mine = Counter(r["package"] for r in rows)
    rest = [f"{n - mine[p]} of {n} of {p}" for p, n in found.items() if mine[p] < n]
    if rest:
        lines += ["", "**Not run this time:** " + ", ".join(rest) + "."]
    lines += ["", "Refused, by the finding that was named; examples as the user reads them:", ""]
    refused = [r for r in rows if r["outcome"] == "refused"]
    kinds = Counter(r["kind"] for r in refused)
    lines += table(
        ["finding", "example", "meshes"],
        [[k, _example([r for r in refused if r["kind"] == k]), n] for k, n in kinds.most_common()],
        left=2,
    )
    told = Counter(
        f for r in rows for f in r.get("findings", []) if not f.startswith("unit_")
    )
    lines += ["", "Accepted, with a finding: " + ", ".join(
        f"{k} {n}" for k, n in told.most_common()) + "."]  # fmt: skip
    bad = [r for r in rows if r["outcome"] in ("wrong", "crash")]
    if bad:
        lines += ["", "Wrong or crashed:", ""]
        lines += [f"- {r['package']} {r['name']}: {_why(r)}" for r in bad]
    out = ", ".join(f"{k} {n}" for k, n in sorted(intake["left_out"].items()))
    lines += ["", f"Left out: {out}."]
    return lines


def _example(rows: list[Row]) -> str:
    """The shortest message, without the file's name and path."""
    text = min((r["message"] for r in rows), key=len)
    text = re.sub(r"'[^']*'", "'figure'", text)
    words = ["figure" if w.startswith("/") else w for w in text.split()]
    return " ".join(words).replace("|", "\\|")


def _why(row: Row) -> str:
    if row["outcome"] == "crash":
        return str(row.get("kind"))
    if not row["volume"]["agrees"]:
        v = row["volume"]
        return f"volume {row['volume_mm3']:.4f} mm3, lines say {v['mm3']:.4f} +- {v['sigma']:.4f}"
    return "; ".join(row["cut"]["wrong"][:2])


def _volumes(rows: list[Row]) -> list[str]:
    got = [r for r in rows if "volume" in r]
    off = np.array([r["volume"]["off_share"] for r in got])
    sigma = np.array([
        r["volume"]["off_share"] * r["volume_mm3"] / max(r["volume"]["sigma"], 1e-12) for r in got
    ])
    clean = np.array([r["overlap_share"] == 0 for r in got])
    lines = sum(r["volume"]["lines"] for r in got)
    return [
        "## Volume against lines through raw triangles",
        "",
        "Two random lines in each square of a 120 x 120 grid (turned at random) go through the "
        "triangles as they stand in the file: nothing welded, nothing united. Where the winding "
        "number along a line is above 0 is inside, so the total length times the area of a square "
        "is the volume of the union, without bias; how far the two lines of a square differ gives "
        "its standard error. A volume is *wrong* when it is off by more than five standard errors "
        "and 0.01 %, plus, where the surface crosses itself, the share that the finding states.",
        "",
        f"{len(got)} volumes, {lines / 1e6:.0f} million lines: off by {np.median(off):.4%} in the "
        f"median; of the {int(clean.sum())} that do not cross themselves 99 % by under "
        f"{np.percentile(off[clean], 99):.3%}, none by more than {off[clean].max():.3%} (small "
        "bodies are met by few lines). In "
        f"standard errors: median {np.median(sigma):.2f}, where chance alone gives 0.67; "
        f"{(sigma[clean] < 3).mean():.1%} are under 3.",
        "",
        f"Of the {int((~clean).sum())} that cross themselves the worst is off by "
        f"{off[~clean].max(initial=0):.3%}.",
    ]


def _air(rows: list[Row]) -> list[str]:
    got = [r for r in rows if "cut" in r]
    pockets = sum(v[0] for r in got for v in r["pockets"].values())
    matter = sum(v[1] for r in got for v in r["pockets"].values())
    cut = {k: sum(r["cut"][k] for r in got) for k in ("pockets", "levels", "skipped")}
    wrong = sum(bool(r["cut"]["wrong"]) for r in got)
    erred = sum(bool(r["cut"].get("erred")) for r in got)
    flood = [r["flood"] for r in got if "flood" in r]
    compared, within = (sum(f[k] for f in flood) for k in ("compared", "within"))
    return [
        "## Air against cutting and taking apart",
        "",
        f"{len(got)} solids in six directions each (both ways along X, Y and Z): {pockets} "
        f"pockets, {matter} of them would leave a visible defect under vacuum and pressure.",
        "",
        "The solid is cut at a level by the library that makes the booleans, and what is above is "
        "taken apart: its parts are what the join tree says is separate there. Levels are those "
        "where the four largest pockets close, and one at random. Number, volume and top of all "
        "parts must agree, and those of the closed ones, within 1e-5 of the volume; where the "
        "figure crosses itself within what its finding states, and where it touches itself (such "
        "contacts are drawn 0.0004 mm apart) within 0.002 % of the whole.",
        "",
        f"{cut['levels']} levels, {cut['pockets']} pockets: {wrong} solids with a difference that "
        f"is the join tree's, {erred} where the exact volume above the level, in closed form, or "
        "lines through the raw triangles show that the cutting errs. At "
        f"{sum(r['cut'].get('hair', 0) for r in got)} levels the two part only within 0.001 mm, as "
        "far as contacts are drawn apart. "
        f"{cut['skipped']} more levels were left out, where a solid had used up its 25 s.",
        "",
        "A third opinion, from raw triangles to pockets without anything in common: columns of "
        "the figure on a grid of 80, joined where they overlap, flooded from below. Such a grid is "
        "a poor judge of thin walls and shallow passes, so it only counts how often it agrees: of "
        f"{compared} pockets larger than four columns cubed {within} "
        f"({within / max(compared, 1):.0%}) have a twin at the same height within a tenth of the "
        "volume.",
    ]


def _cost(rows: list[Row]) -> list[str]:
    got = [r for r in rows if "intake_s" in r and "air_s" in r]
    steps = (0, 1_000, 10_000, 50_000, 10**9)
    body = []
    for low, high in itertools.pairwise(steps):
        some = [r for r in got if low <= r["triangles"] < high]
        if not some:
            continue
        columns = [
            [r["intake_s"] for r in some], [r["prepare_s"] + r["air_s"] for r in some],
            [r["peak_mb"] for r in some],
        ]  # fmt: skip
        label = f"{low} to {high}" if high < 10**9 else f"{low} and more"
        body.append([label, len(some)] + [
            f"{f(c):.{0 if i == 2 else 2}f}" for i, c in enumerate(columns)
            for f in (np.median, np.max)
        ])  # fmt: skip
    lines = [
        "## Time and memory of the run",
        "",
        "Processor time, all threads (times to go by are in [Performance](performance.md)). Memory "
        "is the peak of the whole process, with its libraries. " + _spent(rows),
        "",
    ]
    lines += table(
        ["triangles read", "meshes", "intake s, median", "worst", "air, six directions s, median",
         "worst", "peak MB, median", "worst"], body,
    )  # fmt: skip
    largest = sorted(got, key=lambda r: -r["triangles"])[:LARGEST]
    lines += ["", f"The {LARGEST} largest that were accepted:", ""]
    lines += table(
        ["mesh", "finding", "triangles", "shells", "volume off", "pockets, six directions",
         "intake s", "air s", "peak MB"],
        [[Path(r["name"]).name, ", ".join(f for f in r["findings"] if not f.startswith("unit_")),
          r["triangles"], r["shells"],
          f"{r['volume']['off_share']:.3%}" if "volume" in r else "-",
          sum(v[0] for v in r["pockets"].values()), f"{r['intake_s']:.1f}",
          f"{r['prepare_s'] + r['air_s']:.2f}", f"{r['peak_mb']:.0f}"] for r in largest],
        left=2,
    )  # fmt: skip
    return lines


def _spent(rows: list[Row]) -> str:
    """What the run itself took, and how much of that its references did."""
    total = max(sum(r.get("cpu_s", 0.0) for r in rows), 1e-9)
    ours = sum(r.get(k, 0.0) for r in rows for k in ("intake_s", "prepare_s", "air_s"))
    part = {
        name: sum(r.get(f"{name}_s", 0.0) for r in rows) / total for name in ("volume", "flood")
    }
    cut = sum(r["cut"]["s"] for r in rows if "cut" in r) / total
    return (
        f"The run took {total / 60:.0f} minutes of it: intake and air of what was accepted "
        f"{ours / total:.0%}, cutting and taking apart {cut:.0%}, lines through raw triangles "
        f"{part['volume']:.0%}, the flood {part['flood']:.0%}, the rest reading, what was refused "
        "and the processes themselves."
    )


def _plans(plans: Row) -> list[str]:
    rows = plans["rows"]
    lines = [
        "## Whole plans",
        "",
        "Base, gates, vents, funnel and proof, without a mould, with default settings. *Left*: "
        "pockets that still matter afterwards; the plan names each and says why no rod fits, or "
        "the run counts it as wrong, as it does where the master is not watertight or its "
        "volume is off (by lines, as above). Seconds are of the processor, with those lines.",
        "",
    ]
    lines += table(
        ["figure", "outcome", "warnings", "matter", "rods", "left", "s", "peak MB"],
        [[r["name"].rsplit("/", 1)[-1], r["outcome"],
          ", ".join(r.get("warnings", [])) or r.get("message", "")[:100], r.get("matter", "-"),
          r.get("rods", "-"), r.get("left", "-"), f"{r.get('cpu_s', 0.0):.0f}",
          f"{r.get('peak_mb', 0):.0f}"] for r in rows],
        left=3,
    )  # fmt: skip
    return lines


def _fuzz(fuzz: Row) -> list[str]:
    names = ["cases", "accepted", "refused", "crash", "wrong"]
    lines = [
        "## Damaged files",
        "",
        "`make fuzz` damages models, jobs, plans and presets, by bytes and by structure, and puts "
        "each through the door a user's file comes in by, in a process with a limit on memory and "
        f"time. Run of {fuzz.get('date', '?')}, {fuzz.get('minutes', '?')} minutes, seed "
        f"{fuzz.get('seed', '?')}:",
        "",
    ]
    body = [[kind, sum(row.values()), *(row.get(n, 0) for n in names[1:])]
            for kind, row in sorted(fuzz.get("by_format", {}).items())]
    body.append(["**all**", *(fuzz.get(n, 0) for n in names)])
    lines += table(["format", *names], body)
    return lines


def _outside() -> list[str]:
    return [
        "## Checked against the outside",
        "",
        "Each check names its source beside it. Where there is none it says so: a value of the "
        "trade is held to its range against slips, which proves nothing about a product.",
        "",
        *table(["what", "source", "test in tests/published"], CHECKS, left=3),
        "",
        "Published numbers that nothing is held to, for nothing here computes them: Stokes' rise "
        "of bubbles and its 1.5-fold for clean ones, capillary rise.",
    ]


def _properties() -> list[str]:
    return [
        "## Properties",
        "",
        "What must hold for any input, tried on random bodies by every run of the tests:",
        "",
        *table(["property", "test in tests/core"], PROPERTIES, left=2),
    ]


def _again(intake: Row, plans: Row | None) -> str:
    seconds = intake.get("seconds", 0.0) + (plans or {}).get("seconds", 0.0)
    return f"""
## Run it again

    make corpus      # fetches what is missing, writes this page
    python tests/corpus/run_intake.py torus heron      # some meshes only; writes no page

This run took {seconds / 60:.0f} minutes by the clock without fetching, on {intake.get("jobs", "?")}
processors. It needs Debian's apt-get and dpkg, pip and npm, and a gigabyte of disk for the
packages, which stay outside the repository. Vents have a run of their own with [a page of its
own](vents.md).
"""


def read(path: Path) -> Row | None:
    """What a run left behind, or None."""
    if not path.exists():
        return None
    found: Row = json.loads(path.read_text())
    return found
