"""Drawing the cavity by what the resin has done at its level."""

from __future__ import annotations

from typing import Any

import bpy
import gpu

from .. import colors
from . import cavities
from .cavities import Cavity

FILLED, TRAPPED, LEAVES = colors.BLUE, colors.ORANGE, colors.PALE
STRIPE = (0.42, 0.10, 0.0)

_VERTEX = """
void main()
{
  place = pos;
  height = dot(pos, up);
  closes = level_of;
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


def unregister() -> None:
    """Draw no more."""
    for handle in _handles:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    _handles.clear()
    _made.clear()
    cavities.forget()


def shown(context: bpy.types.Context) -> Cavity | None:
    """The cavity, if it is to be drawn in this view."""
    view = context.space_data
    if not context.scene.pourwright.rising.show or not view.overlay.show_overlays:
        return None
    return cavities.cavity_of(context.scene)


def _draw_cavity() -> None:
    context = bpy.context
    held = shown(context)
    if held is None:
        return
    shader = _made.get("shader") or _made.setdefault("shader", _shader())
    if _made.get("of") is not held:
        _made["of"], _made["batch"] = held, _batch(held)
    region = context.region_data
    shader.bind()
    shader.uniform_float("view_projection", region.perspective_matrix)
    shader.uniform_float("towards_eye", region.view_matrix.inverted().col[2].xyz.normalized())
    shader.uniform_float("up", held.up)
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
    info.push_constant("VEC3", "up")
    info.push_constant("FLOAT", "level")
    info.vertex_in(0, "VEC3", "pos")
    info.vertex_in(1, "FLOAT", "level_of")
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
            "filled": colors.glsl(FILLED),
            "trapped": colors.glsl(TRAPPED),
            "stripe": colors.glsl(STRIPE),
            "leaves": colors.glsl(LEAVES),
        }
    )
    return gpu.shader.create_from_info(info)


def _batch(held: Cavity) -> Any:
    layout = gpu.types.GPUVertFormat()
    layout.attr_add(id="pos", comp_type="F32", len=3, fetch_mode="FLOAT")
    layout.attr_add(id="level_of", comp_type="F32", len=1, fetch_mode="FLOAT")
    buffer = gpu.types.GPUVertBuf(layout, len(held.places))
    buffer.attr_fill("pos", held.places)
    buffer.attr_fill("level_of", held.closes)
    corners = gpu.types.GPUIndexBuf(type="TRIS", seq=held.faces)
    return gpu.types.GPUBatch(type="TRIS", buf=buffer, elem=corners)
