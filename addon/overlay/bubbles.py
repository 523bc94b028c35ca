"""Bubbles as marks that face the eye: one batch that stays, one call, nothing blended."""

from __future__ import annotations

from typing import Any

import bpy
import gpu

from ..colors import DARK, KINDS, glsl
from .pockets import Pockets

LEAST_PX = 4.0  # radius, at a resolution scale of 1: what is smaller cannot be seen
CORNERS = ((-1, -1), (1, -1), (1, 1), (-1, -1), (1, 1), (-1, 1))

_VERTEX = """
void main()
{
  at = corner;
  kind = what.y;
  vec4 middle = view_projection * vec4(pos, 1.0);
  vec4 beside = view_projection * vec4(pos + to_right * (what.x * scale), 1.0);
  float across = abs(beside.x / beside.w - middle.x / middle.w) * 0.25 * size.x;
  float radius = max(across, least);
  middle.xy += corner * (2.0 * radius / size) * middle.w;
  gl_Position = middle;
}
"""

# A disc, a ring, a diamond and a square, each with a dark rim.
_FRAGMENT = """
void main()
{
  float disc = length(at);
  float far = disc;
  vec3 color = %(k0)s;
  if (kind > 2.5) {
    far = max(abs(at.x), abs(at.y)) * 1.1;
    color = %(k3)s;
  }
  else if (kind > 1.5) {
    far = abs(at.x) + abs(at.y);
    color = %(k2)s;
  }
  else if (kind > 0.5) {
    far = disc < 0.45 ? 2.0 : disc;
    color = %(k1)s;
  }
  if (far > 1.0) {
    discard;
  }
  frag_color = vec4(far > 0.78 ? %(dark)s : color, 1.0);
}
"""

_made: dict[str, Any] = {}


def draw(
    region: bpy.types.Region, view: bpy.types.RegionView3D, held: Pockets, scale: float, ui: float
) -> None:
    """Draw the marks over all else. scale : of the bubbles. ui : Blender's resolution scale."""
    shader = _made.get("shader") or _made.setdefault("shader", _shader())
    if _made.get("of") is not held:
        _made["of"], _made["batch"] = held, _batch(held)
    shader.bind()
    shader.uniform_float("view_projection", view.perspective_matrix)
    shader.uniform_float("to_right", view.view_matrix.row[0].xyz)
    shader.uniform_float("size", (region.width, region.height))
    shader.uniform_float("scale", scale)
    shader.uniform_float("least", LEAST_PX * ui)
    gpu.state.depth_test_set("NONE")
    _made["batch"].draw(shader)


def forget() -> None:
    """Drop what the graphics card holds."""
    _made.clear()


def _shader() -> Any:
    info = gpu.types.GPUShaderCreateInfo()
    info.push_constant("MAT4", "view_projection")
    info.push_constant("VEC3", "to_right")
    info.push_constant("VEC2", "size")
    info.push_constant("FLOAT", "scale")
    info.push_constant("FLOAT", "least")
    info.vertex_in(0, "VEC3", "pos")
    info.vertex_in(1, "VEC2", "corner")
    info.vertex_in(2, "VEC2", "what")
    between = gpu.types.GPUStageInterfaceInfo("pourwright_bubbles")
    between.smooth("VEC2", "at")
    between.flat("FLOAT", "kind")
    info.vertex_out(between)
    info.fragment_out(0, "VEC4", "frag_color")
    info.vertex_source(_VERTEX)
    colors = {f"k{i}": glsl(color) for i, (_, color) in enumerate(KINDS)}
    info.fragment_source(_FRAGMENT % {"dark": glsl(DARK), **colors})
    return gpu.shader.create_from_info(info)


def _batch(held: Pockets) -> Any:
    import numpy as np

    order = np.argsort(held.bubbles, kind="stable")[::-1]  # small ones over big ones
    layout = gpu.types.GPUVertFormat()
    layout.attr_add(id="pos", comp_type="F32", len=3, fetch_mode="FLOAT")
    layout.attr_add(id="corner", comp_type="F32", len=2, fetch_mode="FLOAT")
    layout.attr_add(id="what", comp_type="F32", len=2, fetch_mode="FLOAT")
    what = np.column_stack([held.bubbles, held.kinds])[order]
    corners = np.tile(np.array(CORNERS), (len(order), 1))
    buffer = gpu.types.GPUVertBuf(layout, len(corners))
    for name, values in (("pos", np.repeat(held.places[order], len(CORNERS), axis=0)),
                         ("corner", corners),
                         ("what", np.repeat(what, len(CORNERS), axis=0))):  # fmt: skip
        buffer.attr_fill(name, np.ascontiguousarray(values, dtype=np.float32))
    return gpu.types.GPUBatch(type="TRIS", buf=buffer)
