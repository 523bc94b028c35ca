"""Hatching of the protected surface: wide where the paint is full, narrow where it is thin."""

from __future__ import annotations

from typing import Any

import bpy
import gpu

from ..colors import PURPLE, glsl
from .protected import Painted

_VERTEX = """
void main()
{
  shown = weight;
  gl_Position = to_view * vec4(pos, 1.0);
  /* A little nearer than the figure, and than the resin that is drawn on it. */
  gl_Position.z -= 3e-4 * gl_Position.w;
}
"""

_FRAGMENT = """
void main()
{
  if (mod(gl_FragCoord.x - gl_FragCoord.y, 9.0 * ui) > 5.0 * ui * shown) {
    discard;
  }
  frag_color = vec4(%s, 1.0);
}
"""

_made: dict[str, Any] = {}


def draw(
    view: bpy.types.RegionView3D, surfaces: tuple[Painted, ...], layer: bpy.types.ViewLayer,
    ui: float,
) -> None:
    """Hatch what is painted on objects that can be seen. ui : Blender's resolution scale."""
    if not surfaces:
        return
    shader = _made.get("shader") or _made.setdefault("shader", _shader())
    if _made.get("of") is not surfaces:
        _made["of"] = surfaces
        _made["batches"] = [(s.uid, s.name, _batch(s)) for s in surfaces]
    shader.bind()
    gpu.state.depth_test_set("LESS_EQUAL")
    for uid, name, batch in _made["batches"]:
        obj = layer.objects.get(name)
        if obj is None or obj.session_uid != uid or not obj.visible_get(view_layer=layer):
            continue
        if obj.mode in {"EDIT", "WEIGHT_PAINT"}:  # Blender shows the weights itself
            continue
        shader.uniform_float("to_view", view.perspective_matrix @ obj.matrix_world)
        shader.uniform_float("ui", ui)
        batch.draw(shader)
    gpu.state.depth_test_set("NONE")


def forget() -> None:
    """Drop what the graphics card holds."""
    _made.clear()


def _shader() -> Any:
    info = gpu.types.GPUShaderCreateInfo()
    info.push_constant("MAT4", "to_view")
    info.push_constant("FLOAT", "ui")
    info.vertex_in(0, "VEC3", "pos")
    info.vertex_in(1, "FLOAT", "weight")
    between = gpu.types.GPUStageInterfaceInfo("pourwright_hatch")
    between.smooth("FLOAT", "shown")
    info.vertex_out(between)
    info.fragment_out(0, "VEC4", "frag_color")
    info.vertex_source(_VERTEX)
    info.fragment_source(_FRAGMENT % glsl(PURPLE))
    return gpu.shader.create_from_info(info)


def _batch(surface: Painted) -> Any:
    layout = gpu.types.GPUVertFormat()
    layout.attr_add(id="pos", comp_type="F32", len=3, fetch_mode="FLOAT")
    layout.attr_add(id="weight", comp_type="F32", len=1, fetch_mode="FLOAT")
    buffer = gpu.types.GPUVertBuf(layout, len(surface.weights))
    buffer.attr_fill("pos", surface.corners)
    buffer.attr_fill("weight", surface.weights)
    return gpu.types.GPUBatch(type="TRIS", buf=buffer)
