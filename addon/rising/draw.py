"""Drawing the cavity by what the resin has done at its level, with a legend."""

from __future__ import annotations

from typing import Any

import blf
import bpy
import gpu
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector

from ..bridge import mm_per_unit
from . import cavities
from .cavities import Cavity

# Told apart by every kind of colour vision (Okabe and Ito 2008), sRGB; trapped air has stripes too.
FILLED, TRAPPED, LEAVES = (0.0, 0.447, 0.698), (0.902, 0.380, 0.0), (0.80, 0.82, 0.84)
STRIPE = (0.42, 0.10, 0.0)
LEGEND = (("Filled", FILLED, False), ("Trapped Air", TRAPPED, True), ("Air Leaves", LEAVES, False))

_VERTEX = """
void main()
{
  place = pos;
  height = heights.x;
  closes = heights.y;
  gl_Position = view_projection * vec4(pos, 1.0);
  /* It lies exactly on the figure: a little nearer, the two do not flicker. */
  gl_Position.z -= 2e-4 * gl_Position.w;
}
"""

_FRAGMENT = """
void main()
{
  vec3 normal = normalize(cross(dFdx(place), dFdy(place)));
  float light = 0.45 + 0.55 * abs(dot(normal, towards_eye));
  vec3 color = %(leaves)s;
  if (level >= closes && height > closes) {
    bool stripe = mod(gl_FragCoord.x + gl_FragCoord.y, 12.0) < 3.0;
    color = stripe ? %(stripe)s : %(trapped)s;
  }
  else if (height <= level) {
    color = %(filled)s;
  }
  frag_color = vec4(color * light, 1.0);
}
"""

_handles: list[Any] = []
_made: dict[str, Any] = {}


def register() -> None:
    """Draw in every 3D view from now on; nothing is made before it is first drawn."""
    if bpy.app.background:
        return
    add = bpy.types.SpaceView3D.draw_handler_add
    _handles.append(add(_draw_cavity, (), "WINDOW", "POST_VIEW"))
    _handles.append(add(_draw_texts, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Draw no more."""
    for handle in _handles:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    _handles.clear()
    _made.clear()
    cavities.forget()


def _shown(context: bpy.types.Context) -> Cavity | None:
    """The cavity, if it is to be drawn in this view."""
    view = context.space_data
    if not context.scene.pourwright.rising.show or not view.overlay.show_overlays:
        return None
    return cavities.cavity_of(context.scene)


def _draw_cavity() -> None:
    context = bpy.context
    held = _shown(context)
    if held is None:
        return
    shader = _made.get("shader") or _made.setdefault("shader", _shader())
    if _made.get("of") is not held:
        _made["of"], _made["batch"] = held, _batch(shader, held)
    region = context.region_data
    shader.bind()
    shader.uniform_float("view_projection", region.perspective_matrix)
    shader.uniform_float("towards_eye", region.view_matrix.inverted().col[2].xyz.normalized())
    shader.uniform_float("level", cavities.level_mm(context.scene, held))
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(True)
    _made["batch"].draw(shader)
    gpu.state.depth_mask_set(False)
    gpu.state.depth_test_set("NONE")


def _shader() -> Any:
    info = gpu.types.GPUShaderCreateInfo()
    info.push_constant("MAT4", "view_projection")
    info.push_constant("VEC3", "towards_eye")
    info.push_constant("FLOAT", "level")
    info.vertex_in(0, "VEC3", "pos")
    info.vertex_in(1, "VEC2", "heights")
    between = gpu.types.GPUStageInterfaceInfo("pourwright_rising")
    between.smooth("VEC3", "place")
    between.smooth("FLOAT", "height")
    between.flat("FLOAT", "closes")
    info.vertex_out(between)
    info.fragment_out(0, "VEC4", "frag_color")
    info.vertex_source(_VERTEX)
    info.fragment_source(
        _FRAGMENT
        % {
            "filled": f"vec3{_linear(FILLED)}",
            "trapped": f"vec3{_linear(TRAPPED)}",
            "stripe": f"vec3{_linear(STRIPE)}",
            "leaves": f"vec3{_linear(LEAVES)}",
        }
    )
    return gpu.shader.create_from_info(info)


def _linear(color: tuple[float, float, float]) -> tuple[float, ...]:
    """Return an sRGB colour as the view takes it (IEC 61966-2-1)."""
    return tuple(c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in color)


def _batch(shader: Any, held: Cavity) -> Any:
    layout = gpu.types.GPUVertFormat()
    layout.attr_add(id="pos", comp_type="F32", len=3, fetch_mode="FLOAT")
    layout.attr_add(id="heights", comp_type="F32", len=2, fetch_mode="FLOAT")
    buffer = gpu.types.GPUVertBuf(layout, len(held.places))
    buffer.attr_fill("pos", held.places)
    buffer.attr_fill("heights", held.heights)
    return gpu.types.GPUBatch(type="TRIS", buf=buffer)


def _draw_texts() -> None:
    context = bpy.context
    held = _shown(context)
    if held is None:
        return
    scale = context.preferences.system.ui_scale
    level = cavities.level_mm(context.scene, held)
    risen, whole = level - held.low_mm, held.high_mm - held.low_mm
    rows = [*LEGEND, (f"Resin at {risen:.1f} of {whole:.1f} mm", None, False)]
    x, y, step = 20 * scale, 20 * scale, 20 * scale
    for i, (text, color, striped) in enumerate(reversed(rows)):
        bottom = y + i * step
        if color is not None:
            _box(x, bottom - 2 * scale, 14 * scale, color)
            if striped:
                _box(x + 4 * scale, bottom - 2 * scale, 4 * scale, STRIPE, 14 * scale)
        _text(text, x + 22 * scale if color else x, bottom, 12 * scale)
    if context.scene.pourwright.rising.labels:
        _pocket_numbers(context, scale)


def _pocket_numbers(context: bpy.types.Context, scale: float) -> None:
    air = context.scene.pourwright.air
    unit = mm_per_unit(context.scene)
    for i, pocket in enumerate(air.pockets):
        if not (pocket.matters or pocket.sealed):
            continue
        place = Vector(pocket.place_mm) / unit
        at = location_3d_to_region_2d(context.region, context.region_data, place)
        if at is not None:
            _text(str(i + 1), at.x + 6 * scale, at.y + 6 * scale, 12 * scale)


def _text(text: str, x: float, y: float, size: float) -> None:
    blf.size(0, size)
    blf.enable(0, blf.SHADOW)
    blf.shadow(0, 3, 0.0, 0.0, 0.0, 0.9)
    blf.color(0, 1.0, 1.0, 1.0, 1.0)
    blf.position(0, x, y, 0)
    blf.draw(0, text)
    blf.disable(0, blf.SHADOW)


def _box(x: float, y: float, width: float, color: Any, height: float = 0.0) -> None:
    from gpu_extras.batch import batch_for_shader

    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    top, right = y + (height or width), x + width
    corners = [(x, y), (right, y), (right, top), (x, top)]
    batch = batch_for_shader(shader, "TRI_FAN", {"pos": corners})
    shader.bind()
    shader.uniform_float("color", (*color, 1.0))
    batch.draw(shader)
