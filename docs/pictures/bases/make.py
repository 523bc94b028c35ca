"""Make the pictures of docs/bases.md, and its list of bases, from the catalogue.

    python docs/pictures/bases/make.py             drawings and list
    python docs/pictures/bases/make.py --sheet     the rendered sheet too; needs the bpy module
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from pourwright.sprue import CATALOGUE, BaseKind, BaseSettings, FunnelSettings, build_sprue
from pourwright.sprue.picture import base_picture, sample_figure

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[2]
GUIDE = ROOT / "docs" / "bases.md"
BEGIN, END = "<!-- list of bases: begin -->", "<!-- list of bases: end -->"
COLUMNS, TILE = 4, (400, 330)
RGBA = (0.40, 0.35, 0.30, 1.0)

# What is written on each in the rendered sheet, and from where it is seen.
SHOWN = (
    ("round_plinth", {"text": "HERON", "height_mm": 7.0, "text_style": "raised"}, "base_front"),
    ("rectangular_plinth", {"text": "Otter", "width_mm": 32.0, "depth_mm": 24.0}, "base_front"),
    ("stepped_plinth", {"text": "MMXXVI"}, "base_front"),
    ("name_plate", {"text": "Marsh trail\nNo 7 of 40"}, "base_front"),
    ("coin", {"text": "★ MARSH TRAIL ★", "text_style": "raised"}, "base_high"),
    ("keyring_tag", {"text": "BOAT 3", "width_mm": 34.0, "depth_mm": 26.0}, "base_high"),
    ("plant_marker", {"text": "Rosmarin"}, "base_level"),
    ("brush_rest", {"text": "Pinsel & Feder"}, "base_front"),
    ("wall_hook", {"text": "KEYS", "width_mm": 26.0}, "base_level"),
    ("scenic_rock", {"seed": 2}, "base_front"),
    ("scenic_rock", {"seed": 3, "text": "OTTER"}, "base_front"),
    ("scenic_log", {"seed": 0}, "base_front"),
)


def entry(kind: BaseKind) -> str:
    """Return what the guide says of one kind."""
    more = " or more" if kind.grows else ""
    lines = [
        f"### {kind.name.replace('_', '-')}",
        "",
        f"![{kind.title}](pictures/bases/{kind.name}.svg)",
        "",
        f"{kind.title}. {kind.good_for}",
        "",
        f"- Sizes: {kind.sizes}; height {kind.height_mm:g} mm{more} unless given.",
        f"- Text goes on: {', '.join(kind.faces)}.",
    ]
    if kind.seeded:
        lines.append("- `seed` chooses its shape, the same on every machine.")
    if kind.parameters:
        lines += ["", "| parameter | default | from | to | |", "|---|--:|--:|--:|---|"]
        lines += [
            f"| `{p.name}` | {p.default:g} | {p.low:g} | {p.high:g} | {p.help} |"
            for p in kind.parameters
        ]
    return "\n".join(lines) + "\n"


def write_drawings() -> None:
    """Write a drawing of each kind, and the list into the guide."""
    for name in CATALOGUE:
        (HERE / f"{name}.svg").write_text(base_picture(name), encoding="utf-8")
    text = GUIDE.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    listed = "\n".join(entry(kind) for kind in CATALOGUE.values())
    GUIDE.write_text(f"{before}{BEGIN}\n\n{listed}\n{END}{after}", encoding="utf-8")


def write_sheet() -> None:
    """Render every kind with Cycles and put the pictures side by side."""
    from PIL import Image

    sys.path.insert(0, str(ROOT))
    from blend_demo.render import VIEWS, render

    VIEWS["base_front"] = (0.42, -0.86, 0.38)
    VIEWS["base_high"] = (0.25, -0.75, 0.75)
    VIEWS["base_level"] = (0.38, -0.9, 0.12)
    rows = -(-len(SHOWN) // COLUMNS)
    sheet = Image.new("RGB", (TILE[0] * COLUMNS, TILE[1] * rows), "white")
    figure = sample_figure()
    for i, (name, settings, view) in enumerate(SHOWN):
        base = BaseSettings(name, **settings)
        made = build_sprue(figure, base, FunnelSettings(enabled=False)).base
        items = [(n, m.vertices, m.faces, RGBA) for n, m in (("figure", figure), ("base", made))]
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "one.png"
            render(items, path, view=view, size=TILE, samples=24)
            with Image.open(path) as tile:
                sheet.paste(tile.convert("RGB"), (i % COLUMNS * TILE[0], i // COLUMNS * TILE[1]))
    sheet.quantize(256).save(HERE / "sheet.png", optimize=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Make the pictures of docs/bases.md")
    parser.add_argument("--sheet", action="store_true", help="render the sheet too")
    options = parser.parse_args()
    write_drawings()
    if options.sheet:
        write_sheet()
