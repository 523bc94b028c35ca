"""What the colours and marks in the view mean, written into its corner."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import blf
import bpy
import gpu

from .. import colors
from ..rising import draw as rising
from ..rising.cavities import Cavity, level_mm
from ..stored import stored_plan
from .pockets import Pockets

ROW_PX, MARGIN_PX, MARK_PX, TEXT_PX = 20, 20, 14, 12
BACKGROUND = (0.08, 0.08, 0.10, 0.72)
PLAIN, STRIPED, HATCHED, DISC, RING, DIAMOND, SQUARE, LINE, DASHES = range(9)
_FORMS = (DISC, RING, DIAMOND, SQUARE)  # of KINDS

Row = tuple[str, Any, int]


@dataclass(frozen=True)
class Corner:
    """Where the legend stands: left and bottom, in pixels of the region."""

    x: float
    y: float


def rows(
    scene: bpy.types.Scene, pockets: Pockets | None, cavity: Cavity | None, protected: bool
) -> list[Row]:
    """Return what is to be seen now: text, colour or None, form of its mark."""
    shown, settings = scene.pourwright.overlay, scene.pourwright
    found: list[Row] = []
    if cavity is not None:
        found += [("Filled", rising.FILLED, PLAIN), ("Trapped Air", rising.TRAPPED, STRIPED),
                  ("Air Leaves", rising.LEAVES, PLAIN)]  # fmt: skip
        risen, whole = level_mm(scene, cavity) - cavity.low_mm, cavity.high_mm - cavity.low_mm
        found.append((f"Resin at {risen:.1f} of {whole:.1f} mm", None, PLAIN))
    if pockets is not None and (shown.bubbles or shown.shapes):
        for kind, (text, color) in enumerate(colors.KINDS):
            number = pockets.count(kind)
            if number:
                form = _FORMS[kind] if shown.bubbles else PLAIN
                found.append((f"{text}: {number}", color, form))
        sized = pockets.count(colors.MATTERS) or pockets.count(colors.SEALED)
        if sized and shown.bubbles and shown.bubble_scale != 1.0:
            found.append((f"Bubbles Drawn {shown.bubble_scale:g} x as Large", None, PLAIN))
    if shown.rods and settings.vents.rods:
        found.append(("Vent", colors.BLUE, PLAIN))
    if shown.rods and settings.gates.rods:
        found.append(("Gate", colors.PURPLE, PLAIN))
    if protected and shown.protected:
        found.append(("Protected", colors.PURPLE, HATCHED))
    plan = stored_plan(scene) if shown.cut else None
    mould = plan["mould"] if plan is not None else None
    if mould is not None:
        cut = mould["cut_line"]
        found.append(("Cut", colors.RED, LINE))
        if len(cut["hinge_mm"]) > 1:
            found.append(("Hinge, Not Cut", colors.BLUE, DASHES))
        if cut["slits_mm"]:
            found.append(("Slit Where Rubber Locks", colors.YELLOW, LINE))
    return found


def corner(context: bpy.types.Context, scale: float) -> Corner:
    """Return the free corner: right of the toolbar and above Adjust Last Operation."""
    region, left, bottom = context.region, 0.0, 0.0
    overlap = context.preferences.system.use_region_overlap
    for other in context.area.regions:
        if other.type == "TOOLS" and overlap and other.width > 1 and other.x <= region.x:
            left = other.width
        elif other.type == "HUD" and other.height > 1 and other.width > 1:
            bottom = other.y + other.height - region.y
    return Corner(left + MARGIN_PX * scale, bottom + MARGIN_PX * scale)


def draw(rows: list[Row], at: Corner, scale: float) -> None:
    """Draw the rows upwards from the corner, on a dark ground that any theme leaves readable."""
    if not rows:
        return
    blf.size(0, TEXT_PX * scale)
    indent = (MARK_PX + 8) * scale
    widths = [blf.dimensions(0, text)[0] + (indent if color else 0) for text, color, _ in rows]
    pad, step = 8 * scale, ROW_PX * scale
    gpu.state.blend_set("ALPHA")
    _fill(at.x - pad, at.y - pad, max(widths) + 2 * pad, len(rows) * step + 1.5 * pad - 4 * scale,
          BACKGROUND)  # fmt: skip
    gpu.state.blend_set("NONE")
    texts = []
    for i, (text, color, form) in enumerate(reversed(rows)):
        bottom = at.y + i * step
        if color is not None:
            _mark(at.x, bottom - 2 * scale, scale, color, form)
        texts.append((text, at.x + (indent if color else 0), bottom))
    write(texts, TEXT_PX * scale)


def write(texts: Iterable[tuple[str, float, float]], size: float) -> None:
    """Write texts that any ground leaves readable, each at its x and y."""
    blf.size(0, size)
    blf.enable(0, blf.SHADOW)
    blf.shadow(0, 3, 0.0, 0.0, 0.0, 0.9)
    blf.color(0, 1.0, 1.0, 1.0, 1.0)
    for text, x, y in texts:
        blf.position(0, x, y, 0)
        blf.draw(0, text)
    blf.disable(0, blf.SHADOW)


def _mark(x: float, y: float, scale: float, color: Any, form: int) -> None:
    solid, size = (*color, 1.0), MARK_PX * scale
    middle = (x + size / 2, y + size / 2)
    if form in (DISC, RING, DIAMOND, SQUARE):
        name = "diamond" if form == DIAMOND else "square" if form == SQUARE else "disc"
        shape = (*middle, size, size)
        _put(name, *shape, (1.0, 1.0, 1.0, 1.0))
        _put(name, *middle, size * 0.8, size * 0.8, solid)
        if form == RING:
            _put(name, *middle, size * 0.4, size * 0.4, (*colors.DARK, 1.0))
    elif form in (LINE, DASHES):
        parts = ((0.0, 1.0),) if form == LINE else ((0.0, 0.4), (0.6, 0.4))
        for begin, share in parts:
            _fill(x + begin * size, y + size * 0.38, share * size, size * 0.24, solid)
    else:
        _fill(x, y, size, size, solid)
        if form == STRIPED:
            _fill(x + size * 0.3, y, size * 0.3, size, (*rising.STRIPE, 1.0))
        elif form == HATCHED:
            for i in range(2):
                _fill(x + (0.2 + 0.45 * i) * size, y, size * 0.2, size, (*colors.DARK, 1.0))


_made: dict[str, Any] = {}
_SHAPES = {
    "square": ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)),
    "diamond": ((0.0, -0.5), (0.5, 0.0), (0.0, 0.5), (-0.5, 0.0)),
}


def _fill(x: float, y: float, width: float, height: float, color: Any) -> None:
    _put("square", x + width / 2, y + height / 2, width, height, color)


def _put(name: str, x: float, y: float, width: float, height: float, color: Any) -> None:
    """Draw a shape that is made once, moved and stretched by Blender's matrix."""
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    batch = _made.get(name) or _made.setdefault(name, _shape(name, shader))
    with gpu.matrix.push_pop():
        gpu.matrix.translate((x, y))
        gpu.matrix.scale((width, height))
        shader.bind()
        shader.uniform_float("color", color)
        batch.draw(shader)


def _shape(name: str, shader: Any) -> Any:
    from math import cos, pi, sin

    from gpu_extras.batch import batch_for_shader

    around = [2.0 * pi * i / 24 for i in range(24)]
    corners = _SHAPES.get(name) or tuple((0.5 * cos(a), 0.5 * sin(a)) for a in around)
    fan = [(0, i, i + 1) for i in range(1, len(corners) - 1)]
    places = [(x, y, 0.0) for x, y in corners]
    return batch_for_shader(shader, "TRIS", {"pos": places}, indices=fan)


def forget() -> None:
    """Drop what the graphics card holds."""
    _made.clear()
