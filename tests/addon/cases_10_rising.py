"""The rising resin: what the view is given to draw, and the buttons. Run inside Blender."""

import bpy
import numpy as np
from stage import choose, gate, part, settings


def _made() -> None:
    bpy.context.scene.unit_settings.scale_length = 0.001
    choose(gate())


def _cavity():
    return part("rising.cavities").cavity_of(bpy.context.scene)


def case_the_cavity_of_the_figure_alone_has_its_closing_level():
    _made()
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    held = _cavity()
    # Upside down, the hanging end of the arm closes at its underside, z = 50.
    assert np.allclose(held.closing_mm, [-50.0], atol=1e-4)
    assert np.isclose(held.low_mm, -62.0, atol=1e-4) and np.isclose(held.high_mm, 0.0, atol=1e-4)
    closes = held.closes[held.faces]
    assert (closes == closes[:, :1]).all()  # the shader takes any corner's for the face
    trapped = closes[:, 0] < 1e29
    places = held.places[held.faces]
    assert trapped.any() and (places[trapped][:, :, 0] > 27.9).all()
    assert np.allclose(held.places @ held.up, -held.places[:, 2], atol=1e-4)
    # What the mesh says of each face, and no vertex more than those between two levels.
    obj = part("results").find(bpy.context.scene, "rising")
    stored = np.empty(len(obj.data.polygons), dtype=np.float32)
    obj.data.attributes["closes_mm"].data.foreach_get("value", stored)
    assert (stored == closes[:, 0]).all()
    given = np.array([v.co + obj.location for v in obj.data.vertices])
    assert np.allclose(given[[p.vertices[:] for p in obj.data.polygons]], places, atol=1e-5)
    assert len(given) < len(held.places) < 2 * len(given)
    obj = part("results").find(bpy.context.scene, "rising")
    assert obj.hide_viewport and obj.hide_render and obj.hide_select
    assert not obj.data.materials


def case_the_levels_are_those_of_the_scene_s_units():
    bpy.context.scene.unit_settings.scale_length = 1.0
    choose(gate(1000.0))
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    held = _cavity()
    assert np.allclose(held.closing_mm, [-50.0], atol=1e-3)
    assert np.isclose(np.abs(held.places).max(), 0.062, atol=1e-6)


def case_a_vented_master_closes_in_nothing_that_matters():
    _made()
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert len(_cavity().closing_mm) == 1
    settings().rising.surface = "AFTER"
    after = _cavity()
    assert len(after.closing_mm) == 0
    assert not part("rising.cavities").closing_percent(bpy.context.scene)
    assert bpy.ops.pourwright.next_closing() == {"CANCELLED"}


def case_the_next_pocket_raises_the_level():
    _made()
    assert not bpy.ops.pourwright.next_closing.poll()
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    rising = settings().rising
    rising.level = 0.0
    assert bpy.ops.pourwright.next_closing() == {"FINISHED"}
    # From -62 to 0 the level -50 is at 12 of 62.
    assert abs(rising.level - (100 * 12 / 62 + 0.05)) < 1e-3 and rising.show
    assert bpy.ops.pourwright.next_closing() == {"FINISHED"}
    assert abs(rising.level - (100 * 12 / 62 + 0.05)) < 1e-3


def case_while_resin_is_shown_the_pockets_are_hidden():
    _made()
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    pocket = bpy.data.objects["Air Pocket 1"]
    assert pocket.visible_get()
    settings().rising.show = True
    assert not pocket.visible_get()
    settings().rising.show = False
    assert pocket.visible_get()


def case_another_level_reads_nothing_anew_and_another_run_does():
    _made()
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    held = _cavity()
    settings().rising.level = 12.0
    assert _cavity() is held
    settings().air.direction = "STANDING"
    assert bpy.ops.pourwright.find_air() == {"FINISHED"}
    assert _cavity() is not held
