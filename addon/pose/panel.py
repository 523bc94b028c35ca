"""The panel of the pose: what is searched, what was found, and what to do with it."""

from __future__ import annotations

import math
from typing import Any

import bpy
import bpy.utils.previews

from .. import task, ui
from ..air.settings import SAME_DIRECTION, UPSIDE_DOWN, up_vector
from .picture import Cap, Mark, caps, picture, scale
from .settings import PourwrightPose, PourwrightPoseRow, PourwrightPoseWeights, active

MAX_ROWS = 9
MARKED = 9  # of the best poses; more would hide each other
SHARES = (0.25, 0.15, 0.24, 0.16, 0.20)  # of a row's width
HEADS = ("Pose", "Rods", "Air mm³", "High", "Points")
HALF_UNITS, WHOLE_UNITS = 6.1, 8.0  # widths of the maps, in units of Blender's interface
UNIT_PX, PAD_PX = 20, 8  # of the interface at a resolution scale of 1; Blender's own margin


class POURWRIGHT_UL_poses(bpy.types.UIList):
    """Poses: rods they need, air that stays, height in the pour, points."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0):
        """Draw one pose."""
        name = f"{item.rank}" if item.rank else "Standing"
        air, high = _air(item.residual_mm3), f"{item.height_mm:.0f}"
        _row(layout, (name, str(item.rods), air, high, _points(item.score)))


def _air(mm3: float) -> str:
    return f"{mm3:.0f}" if mm3 >= 99.95 else f"{mm3:.1f}" if mm3 >= 9.95 else f"{mm3:.2f}"


def _points(score: float) -> str:
    return f"{score:.1f}" if score < 99.95 else f"{score:.0f}"


def _row(layout: bpy.types.UILayout, texts: tuple[str, ...]) -> None:
    ui.cells(layout, SHARES, texts)


class POURWRIGHT_PT_pose(ui.SidebarPanel, bpy.types.Panel):
    """Which way up the figure is poured best."""

    bl_label = "Pose"
    bl_order = 2

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings, the button and the ranking."""
        layout, pose = self.layout, context.scene.pourwright.pose
        self._draw_settings(layout, pose)
        layout.operator("pourwright.find_pose", icon="ORIENTATION_GIMBAL")
        row = active(context.scene)
        if row is None:
            return
        ui.stale(context, layout, task.pose_stale(context.scene))
        _row(layout.row(), HEADS)
        rows = min(len(pose.poses), MAX_ROWS)
        layout.template_list(
            "POURWRIGHT_UL_poses", "", pose, "poses", pose, "active_pose", rows=rows, maxrows=rows
        )
        self._draw_buttons(layout, pose)
        if row.reasons:
            box = layout.box().column(align=True)
            for reason in row.reasons.split("\n"):
                ui.wrapped(context, box, reason, "DOT")
        self._draw_picture(context, layout, pose)
        self._draw_facts(layout, row)

    def _draw_settings(self, layout: bpy.types.UILayout, pose: PourwrightPose) -> None:
        column = ui.column(layout)
        column.prop(pose, "search")
        if pose.search == "CONE":
            column.prop(pose, "cone")
        header, body = layout.panel("pourwright_pose_search", default_closed=True)
        header.label(text="Search and Weights")
        if body is None:
            return
        column = ui.column(body)
        for name in ("standing", "directions", "keep"):
            column.prop(pose, name)
        for name, label in (("pot_height", "Room Height"), ("pot_diameter", "Room Diameter")):
            row = column.row(heading=label)
            row.prop(pose, f"use_{name}", text="")
            size = row.row()
            size.active = getattr(pose, f"use_{name}")
            size.prop(pose, f"{name}_mm", text="")
        column.separator()
        for name in PourwrightPoseWeights.__annotations__:
            column.prop(pose.weights, name)

    def _draw_picture(
        self, context: bpy.types.Context, layout: bpy.types.UILayout, pose: PourwrightPose
    ) -> None:
        """Draw all directions that were tried as maps, with the best poses on them."""
        if not pose.sweep:
            return
        header, body = layout.panel("pourwright_pose_map")
        header.label(text="Map of Directions")
        if body is None:
            return
        maps = caps(_plain(pose.swept_axis), pose.swept_cone)
        units = HALF_UNITS if len(maps) > 1 else WHOLE_UNITS
        upright = math.dist(maps[0].middle, UPSIDE_DOWN) < SAME_DIRECTION
        names = ("Underside Up", "Top Up") if upright else ("Standing", "Turned Over")
        row = body.row(align=True)
        row.alignment = "CENTER"
        for i, cap in enumerate(maps):
            column = row.column(align=True)
            column.template_icon(icon_value=_icon(context, pose, cap, i, units), scale=units)
            title = column.row()
            title.alignment = "CENTER"
            title.label(text=names[i])
        best, worst = scale(pose.sweep)
        body.label(text=f"Light: {_points(best)} Points, Dark: {_points(worst)}", icon="COLOR")
        body.label(text="The Cross Is the Pour Direction", icon="PANEL_CLOSE")

    def _draw_buttons(self, layout: bpy.types.UILayout, pose: PourwrightPose) -> None:
        row = layout.row(align=True)
        row.operator("pourwright.step_pose", text="", icon="TRIA_LEFT").step = -1
        if pose.previewing:
            row.operator("pourwright.end_preview", icon="HIDE_OFF", depress=True)
        else:
            row.operator("pourwright.preview_pose", icon="HIDE_OFF")
        row.operator("pourwright.step_pose", text="", icon="TRIA_RIGHT").step = 1
        row = layout.row(align=True)
        row.operator("pourwright.use_pose", icon="CHECKMARK")
        row.operator("pourwright.rotate_copy", icon="DUPLICATE")

    def _draw_facts(self, layout: bpy.types.UILayout, row: PourwrightPoseRow) -> None:
        """Draw the active pose in numbers."""
        facts = layout.column(align=True)
        facts.scale_y = 0.8
        ui.value(facts, "Tilt From Standing", f"{math.degrees(row.tilt):.0f}°")
        ui.value(facts, "Air Pockets", str(row.pockets))
        ui.value(facts, "Air Left", ui.volume(row.residual_mm3))
        ui.value(facts, "Rod Length", f"{row.rod_mm:.0f} mm")
        ui.value(facts, "Height in the Pour", ui.length(row.height_mm))
        ui.value(facts, "Footprint", f"{row.footprint_cm2:.1f} cm²")
        if row.protected:
            ui.value(facts, "Protected", f"{row.protected:.1f}")
        if row.misfit_mm:
            ui.value(facts, "Does Not Fit By", ui.length(row.misfit_mm))


_pictures: bpy.utils.previews.ImagePreviewCollection | None = None
_drawn: dict[str, tuple] = {}


def _icon(
    context: bpy.types.Context, pose: PourwrightPose, cap: Cap, number: int, units: float
) -> int:
    """Return the icon of a map, painted anew only when something on it has changed."""
    global _pictures
    if _pictures is None:
        _pictures = bpy.utils.previews.new()
    size = round(units * UNIT_PX * context.preferences.system.ui_scale) - PAD_PX
    marks = tuple(_marks(context.scene, pose))
    name = f"map_{number}"
    entry = _pictures.get(name) or _pictures.new(name)
    wanted = (pose.sweep, cap, marks, size)
    if _drawn.get(name) != wanted:
        entry.image_size = (size, size)
        entry.image_pixels_float.foreach_set(_premultiplied(picture(*wanted)))
        _drawn[name] = wanted
    return entry.icon_id


def _premultiplied(image: Any) -> Any:
    """Return a picture as Blender keeps its icons: flat, single precision, colour times alpha."""
    image[..., :3] *= image[..., 3:]
    return image.astype("f4").ravel()


def _marks(scene: bpy.types.Scene, pose: PourwrightPose) -> list[Mark]:
    """Return what is marked: the best on top of the others, the active one on top of all."""
    best = [row for row in pose.poses if 0 < row.rank <= MARKED]
    chosen = active(scene)
    cross = Mark(_plain(up_vector(scene)))
    marks = [Mark(_plain(row.up), str(row.rank)) for row in reversed(best) if row != chosen]
    if chosen is None or not chosen.rank:  # the standing pose has no number
        return [*marks, cross]
    return [cross, *marks, Mark(_plain(chosen.up), str(chosen.rank), chosen=True)]


def _plain(up: tuple[float, float, float]) -> tuple[float, float, float]:
    length = math.hypot(*up) or 1.0
    x, y, z = (float(c) / length for c in up)
    return x, y, z


def forget_pictures() -> None:
    """Free the pictures, when the extension is disabled."""
    global _pictures
    _drawn.clear()
    if _pictures is not None:
        bpy.utils.previews.remove(_pictures)
        _pictures = None


classes = (POURWRIGHT_UL_poses, POURWRIGHT_PT_pose)
