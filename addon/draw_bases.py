"""Draw the pictures that the extension's base picker shows: `python addon/draw_bases.py`.

They are committed, so that Blender only has to load them; a test keeps them those of the core.
Needs Pillow.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pourwright.sprue.catalogue import CATALOGUE
from pourwright.sprue.picture import base_picture

if TYPE_CHECKING:
    from PIL import Image

FOLDER = Path(__file__).resolve().parent / "base" / "pictures"
SIZE_PX, COLORS = 144, 64
FINER = 6  # drawn so many times larger, then reduced: Pillow's own lines have hard edges
MARGIN_PX = 5
# Light enough for dark themes and dark enough for light ones.
BODY, LINE, GHOST = (222, 212, 194, 255), (38, 34, 30, 255), (120, 134, 150, 190)
OUTLINE_PX, EDGE_PX, GHOST_PX = 2.6, 1.4, 1.6

Path2D = list[tuple[float, float]]


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw every kind of base and print what was written."""
    parser = argparse.ArgumentParser(description="Draw the pictures of the base picker")
    parser.add_argument("--out", type=Path, default=FOLDER, help="folder for the pictures")
    out = parser.parse_args(arguments).out
    out.mkdir(parents=True, exist_ok=True)
    for name in CATALOGUE:
        drawn(name).save(out / f"{name}.png", optimize=True)
        print(out / f"{name}.png")  # noqa: T201
    return 0


def drawn(kind: str) -> Image.Image:
    """Return a square picture of a kind of base with few colours and a clear ground."""
    from PIL import Image, ImageDraw

    svg = base_picture(kind)
    body, edges, figure = (list(_runs(path)) for path in re.findall(r' d="([^"]*)"', svg))
    points = [p for run in (*body, *figure) for p in run]
    low = [min(p[i] for p in points) for i in (0, 1)]
    high = [max(p[i] for p in points) for i in (0, 1)]
    scale = FINER * (SIZE_PX - 2 * MARGIN_PX) / max(high[0] - low[0], high[1] - low[1])
    middle = [(a + b) / 2 for a, b in zip(low, high, strict=True)]

    def placed(run: Path2D) -> Path2D:
        half = FINER * SIZE_PX / 2
        return [tuple(half + scale * (p[i] - middle[i]) for i in (0, 1)) for p in run]

    size = (FINER * SIZE_PX, FINER * SIZE_PX)
    image = Image.new("RGBA", size, (*BODY[:3], 0))
    # Outlines of holes lie within those of bodies; even-odd filling of all at once.
    mask = Image.new("1", size, 0)
    for run in body:
        hole = Image.new("1", size, 0)
        ImageDraw.Draw(hole).polygon(placed(run), fill=1)
        mask = _either(mask, hole)
    image.paste(BODY, (0, 0), mask)
    draw = ImageDraw.Draw(image)
    for run in edges:
        _stroke(draw, placed(run), EDGE_PX, LINE)
    for run in body:
        _stroke(draw, placed([*run, run[0]]), OUTLINE_PX, LINE)
    ghost = Image.new("RGBA", size, (*GHOST[:3], 0))
    for run in figure:
        ImageDraw.Draw(ghost).polygon(placed(run), fill=(*GHOST[:3], 120))
        _stroke(ImageDraw.Draw(ghost), placed([*run, run[0]]), GHOST_PX, GHOST)
    image = Image.alpha_composite(image, ghost)
    small = image.resize((SIZE_PX, SIZE_PX), Image.Resampling.BOX)
    return small.quantize(COLORS, method=Image.Quantize.FASTOCTREE)


def _runs(path: str) -> Iterator[Path2D]:
    """Yield the runs of points of a path that is made of straight lines."""
    for run in path.split("M")[1:]:
        pairs = (pair.split() for pair in run.rstrip("Z").split("L"))
        yield [(float(x), float(y)) for x, y in pairs]


def _either(one: Image.Image, other: Image.Image) -> Image.Image:
    from PIL import ImageChops

    return ImageChops.logical_xor(one, other)


def _stroke(
    draw: object, run: Path2D, width_px: float, color: tuple[int, int, int, int]
) -> None:
    """Draw a run of points with round ends and corners."""
    radius = FINER * width_px / 2
    draw.line(run, fill=color, width=round(2 * radius), joint="curve")
    for x, y in (run[0], run[-1]):
        draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=color)


if __name__ == "__main__":
    sys.exit(main())
