"""Adding a vent by hand, between two places that are clicked on the figure and its base."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any, ClassVar

import bpy
from bpy_extras import view3d_utils
from mathutils import Vector
from mathutils.bvhtree import BVHTree

from .. import results
from ..air.settings import up_vector
from ..bridge import mm_per_unit
from ..figure.settings import chosen
from ..running import idle
from ..stored import stored_plan
from ..view import select_object, selection_kept

LEAST_LENGTH_MM = 1e-3
LINE_PX, LINE_COLOR = 3.0, (0.35, 0.75, 1.0, 1.0)
NAVIGATION = frozenset({
    "MIDDLEMOUSE", "WHEELUPMOUSE", "WHEELDOWNMOUSE", "WHEELINMOUSE", "WHEELOUTMOUSE",
    "TRACKPADPAN", "TRACKPADZOOM", "MOUSEROTATE", "NDOF_MOTION",
    "NUMPAD_1", "NUMPAD_2", "NUMPAD_3", "NUMPAD_4", "NUMPAD_5", "NUMPAD_6", "NUMPAD_7",
    "NUMPAD_8", "NUMPAD_9", "NUMPAD_0", "NUMPAD_PERIOD", "NUMPAD_MINUS", "NUMPAD_PLUS",
})
FIRST = "Add Vent    Click where the vent starts on the figure    |    Esc: Cancel"
SECOND = (
    "Add Vent    Click where it ends on the figure or the base    |    "
    "Click beside them or press Enter: Straight Out    |    Esc: Cancel"
)


class POURWRIGHT_OT_add_vent(bpy.types.Operator):
    """A vent between two places that are clicked."""

    bl_idname = "pourwright.add_vent"
    bl_label = "Add Vent"
    bl_description = (
        "Add a vent of your own: click where it starts and where it ends. "
        "Check Again uses it; Make Master leaves it in the scene but does not use it"
    )
    bl_options: ClassVar[set[str]] = {"REGISTER", "UNDO"}

    start: bpy.props.FloatVectorProperty(
        name="Start", description="Where the vent starts, in the scene", size=3,
        subtype="TRANSLATION", options={"SKIP_SAVE"},
    )
    end: bpy.props.FloatVectorProperty(
        name="End",
        description="Where the vent ends, in the scene; left alone, it goes straight out to the "
        "mould top plane",
        size=3, subtype="TRANSLATION", options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Needs a plan, for it says where the mould top plane is, and the parts in view."""
        if not idle(cls, context):
            return False
        if not context.scene.pourwright.plan:
            cls.poll_message_set("Press Make Master first")
            return False
        if context.scene.pourwright.pose.previewing:
            cls.poll_message_set("End the preview in Pose first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Add the vent between start and end, or straight out."""
        scene = context.scene
        if not self.properties.is_property_set("start"):
            self.report({"ERROR"}, "Say where the vent starts")
            return {"CANCELLED"}
        start = Vector(self.start)
        end = Vector(self.end)
        if not self.properties.is_property_set("end"):
            end = straight_out(scene, start)
        if (end - start).length * mm_per_unit(scene) < LEAST_LENGTH_MM:
            self.report({"ERROR"}, "The vent starts where it ends; choose another place")
            return {"CANCELLED"}
        _add(context, start, end)
        return {"FINISHED"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Wait for clicks in the 3D view."""
        if context.area is None or context.area.type != "VIEW_3D":
            self.report({"ERROR"}, "Press the button in a 3D view")
            return {"CANCELLED"}
        if results.shown_role(context.scene):
            self.report({"ERROR"}, "Show the Parts first")
            return {"CANCELLED"}
        self._start: Vector | None = None
        self._hover: Vector | None = None
        self._area = context.area
        self._preview = bpy.types.SpaceView3D.draw_handler_add(
            _draw_preview, (self,), "WINDOW", "POST_VIEW"
        )
        context.window_manager.modal_handler_add(self)
        context.window.cursor_modal_set("CROSSHAIR")
        context.workspace.status_text_set(FIRST)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Take two clicks."""
        if event.type in NAVIGATION or (event.type == "LEFTMOUSE" and event.alt):
            return {"PASS_THROUGH"}
        if event.type in {"ESC", "RIGHTMOUSE"} and event.value == "PRESS":
            self._end(context)
            return {"CANCELLED"}
        if event.type == "MOUSEMOVE":
            self._hover = place_under(context, self._area, event)
            self._area.tag_redraw()
            return {"RUNNING_MODAL"}
        if self._start is not None and event.type in {"RET", "NUMPAD_ENTER"}:
            return self._finish(context) if event.value == "PRESS" else {"RUNNING_MODAL"}
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            return self._clicked(context, event)
        return {"RUNNING_MODAL"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Called by Blender when it ends the operator itself."""
        self._end(context)

    def _clicked(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if region_under(self._area, event) is None:
            return {"RUNNING_MODAL"}
        place = place_under(context, self._area, event)
        if self._start is not None:
            if place is not None:
                self.end = place
            return self._finish(context)
        if place is not None:
            self._start = self.start = place
            context.workspace.status_text_set(SECOND)
            self._area.tag_redraw()
        return {"RUNNING_MODAL"}

    def _finish(self, context: bpy.types.Context) -> set[str]:
        self._end(context)
        return self.execute(context)

    def _end(self, context: bpy.types.Context) -> None:
        """Take back what was put up for the clicks."""
        if self._preview is not None:
            bpy.types.SpaceView3D.draw_handler_remove(self._preview, "WINDOW")
            self._preview = None
            context.workspace.status_text_set(None)
            context.window.cursor_modal_restore()
            self._area.tag_redraw()


def straight_out(scene: bpy.types.Scene, start: Vector) -> Vector:
    """Return the point of the mould top plane straight above a place in the pour."""
    plan = stored_plan(scene)
    up = Vector(up_vector(scene)).normalized()
    rise = plan["board_height_mm"] / mm_per_unit(scene) - start.dot(up)
    return start + up * rise


def region_under(area: bpy.types.Area, event: bpy.types.Event) -> bpy.types.Region | None:
    """Return the part of a 3D view that the mouse is in, None beside it or over a sidebar."""
    under = [
        region
        for region in area.regions
        if 0 <= event.mouse_x - region.x < region.width
        and 0 <= event.mouse_y - region.y < region.height
    ]
    # Sidebar, tool bar and headers may lie over the view.
    return under[0] if [region.type for region in under] == ["WINDOW"] else None


def place_under(
    context: bpy.types.Context, area: bpy.types.Area, event: bpy.types.Event
) -> Vector | None:
    """Return the place under the mouse on figure, base or funnel, None where there is none."""
    region = region_under(area, event)
    if region is None:
        return None
    at = (event.mouse_x - region.x, event.mouse_y - region.y)
    origin = view3d_utils.region_2d_to_origin_3d(region, region.data, at)
    direction = view3d_utils.region_2d_to_vector_3d(region, region.data, at)
    return first_hit(context, origin, direction)


def first_hit(
    context: bpy.types.Context, origin: Sequence[float], direction: Sequence[float]
) -> Vector | None:
    """Return where a ray first meets figure, base or funnel, whatever else is in the way.

    Each of these is asked by itself: the shapes of trapped air lie exactly on the figure, so a ray
    through the whole scene that starts again behind them would miss its surface.
    """
    scene, depsgraph = context.scene, context.evaluated_depsgraph_get()
    bodies = (results.find(scene, role) for role in ("base", "funnel"))
    start, along = Vector(origin), Vector(direction).normalized()
    places = []
    for obj in (*chosen(scene), *bodies):
        if obj is not None and obj.visible_get():
            evaluated = obj.evaluated_get(depsgraph)
            into = evaluated.matrix_world.inverted_safe()
            place = _hit(evaluated, into @ start, into.to_3x3() @ along)
            if place is not None:
                places.append(evaluated.matrix_world @ place)
    return min(places, key=lambda place: (place - start).length, default=None)


def _hit(evaluated: bpy.types.Object, start: Vector, along: Vector) -> Vector | None:
    """Return where a ray first meets one object, in the object's own space."""
    if evaluated.type == "MESH":
        hit, place, _, _ = evaluated.ray_cast(start, along)
        return place if hit else None
    mesh = evaluated.to_mesh()  # of a curve, a text or a metaball
    try:
        if mesh is None or not len(mesh.polygons):
            return None
        tree = BVHTree.FromPolygons(
            [v.co for v in mesh.vertices], [p.vertices for p in mesh.polygons]
        )
        return tree.ray_cast(start, along)[0]
    finally:
        evaluated.to_mesh_clear()


def _add(context: bpy.types.Context, start: Vector, end: Vector) -> bpy.types.Object:
    """Put a vent of the user's into the collection and the list."""
    scene = context.scene
    vents, scale = scene.pourwright.vents, mm_per_unit(scene)
    name = next(
        name
        for name in (f"Added Vent {i}" for i in itertools.count(1))
        if name not in bpy.data.objects
    )
    path = [start * scale, end * scale]
    if path[0].dot(Vector(up_vector(scene))) > path[1].dot(Vector(up_vector(scene))):
        path.reverse()
    obj = results.add_rod(scene, "vent", name, path, vents.diameter_mm)
    row = vents.rods.add()
    row.object, row.kind, row.pieces = obj, "Added", 1
    row.length_mm, row.diameter_mm = (path[1] - path[0]).length, vents.diameter_mm
    with selection_kept():
        vents.active_vent = len(vents.rods) - 1
    context.view_layer.update()
    select_object(context, obj)
    return obj


def _draw_preview(operator: Any) -> None:
    """Draw the vent that a click would make."""
    import gpu
    from gpu_extras.batch import batch_for_shader

    start, end = operator._start, operator._hover
    if start is None:
        return
    if end is None:
        end = straight_out(bpy.context.scene, start)
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    batch = batch_for_shader(shader, "LINES", {"pos": [start, end]})
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    shader.uniform_float("lineWidth", LINE_PX)
    shader.uniform_float("color", LINE_COLOR)
    gpu.state.depth_test_set("NONE")
    batch.draw(shader)


classes = (POURWRIGHT_OT_add_vent,)
