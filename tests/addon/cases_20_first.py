"""The first five minutes: an example from the menu, and what the panel says in every state."""

import bpy
import numpy as np
from paper import drawn
from stage import add_mesh, box, choose, gate, message, part, settings

SNAIL_MM = (73.059, 21.241, 32.975)


def _main() -> str:
    """Return the texts of the panel at the top, and what Make Master is grey for."""
    return drawn("main").text


def _add():
    assert bpy.ops.pourwright.add_example() == {"FINISHED"}
    return bpy.context.object


def _bounds_mm(obj):
    bpy.context.view_layer.update()
    low, high = part("bridge").bounds_mm(bpy.context, [obj])
    return np.array(low), np.array(high)


def _refused_as(words: str) -> None:
    """Check that the panel and the grey button say the same."""
    assert words in _main(), _main()
    try:
        bpy.ops.pourwright.make_master()
    except RuntimeError as error:
        assert words in str(error), error
    else:
        raise AssertionError("the button is not grey")


def case_example_is_the_same_size_in_every_unit():
    scene = bpy.context.scene
    for unit, scale_length, mm_per_unit in (
        ("SCENE", 1.0, 1000.0), ("SCENE", 0.001, 1.0), ("CM", 1.0, 10.0), ("M", 0.001, 1000.0),
    ):  # fmt: skip
        bpy.ops.wm.read_homefile(use_empty=True)
        scene = bpy.context.scene
        scene.unit_settings.scale_length = scale_length
        settings().figure.unit = unit
        scene.cursor.location = (2.0, -3.0, 0.5)
        obj = _add()
        low, high = _bounds_mm(obj)
        assert np.allclose(high - low, SNAIL_MM, atol=0.02), (unit, high - low)
        # It stands on the 3D cursor.
        assert abs(low[2] / mm_per_unit - 0.5) < 1e-5
        assert np.allclose(obj.dimensions, (high - low) / mm_per_unit, rtol=1e-4)
        assert bpy.context.selected_objects == [obj] == [bpy.context.object]
        assert obj.name == "Example Snail" and not part("results").is_result(obj)


def case_example_steps_aside():
    scene = bpy.context.scene
    scene.unit_settings.scale_length = 0.001
    crate = add_mesh("Crate", *box((-1000, -1000, -1000), (1000, 1000, 1000)))
    shelf = add_mesh("Shelf", *box((1020, -5, -5), (1300, 5, 5)))
    far = add_mesh("Far", *box((0, 500, -10), (2000, 900, 1300)))
    above = add_mesh("Above", *box((-100, -50, 2000), (2000, 50, 2100)))
    first, second = _add(), _add()
    assert abs(_bounds_mm(first)[0][0] - 1310.0) < 0.01
    assert abs(_bounds_mm(second)[0][0] - _bounds_mm(first)[1][0] - 10.0) < 0.01
    for obj in (crate, shelf, far, above):
        assert not obj.select_get() and obj.location.length == 0.0
    # What is not in its way is no reason to go anywhere.
    for obj in (crate, shelf, first, second):
        bpy.data.objects.remove(obj)
    low, high = _bounds_mm(_add())
    assert low[0] < 0.0 < high[0]


def case_example_becomes_a_master():
    obj = _add()
    assert "'Example Snail'" in _main() and "finds the air" in _main()
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert settings().vents.left == 0 and len(settings().vents.rods) == 3
    # An example has nothing that a newcomer would have to ask about.
    open_ = [w.text for w in settings().vents.warnings if w.open]
    noticed = [found.text for found in settings().figure.findings]
    assert not open_ and not noticed, (open_, noticed)
    assert [row.object for row in settings().figure.parts] == [obj]
    said = _main()
    assert "Master made with 3 vents; no air is left that matters" in said
    assert "Poured upside down, 3 of 10 air pockets would leave a visible bubble" in said
    assert "Next: look it over, then Export" in said
    # The button goes on with the figure that it has, so it is said how to get at another.
    assert "press Use Selected first" not in said
    crate = add_mesh("Crate", *box((200, 0, 0), (220, 20, 20)))
    crate.select_set(True)
    said = _main()
    assert "Next: look it over" in said and "For what is selected, press Use Selected first" in said
    part("messages").tell(bpy.context, "ERROR", "It broke")
    assert "press Use Selected first" in _main()
    part("messages").clear(bpy.context)
    crate.select_set(False)
    assert "press Use Selected first" not in _main()
    settings().air.visible_defect_mm = 0.05
    said = _main()
    assert "Check Again" in said and "Next:" not in said and "Poured" not in said


def case_menu_shows_the_example():
    from paper import Paper

    menu = bpy.types.VIEW3D_MT_mesh_add
    mine = [f for f in menu._dyn_ui_initialize() if "pourwright" in f.__module__]
    assert len(mine) == 1
    sheet = Paper()
    mine[0](type("Menu", (), {"layout": sheet})(), bpy.context)
    assert sheet.operators == ["pourwright.add_example"]


def case_nothing_to_cast():
    _refused_as("No figure here")
    assert "pourwright.add_example" in drawn("main").operators
    scene = bpy.context.scene
    camera = bpy.data.objects.new("Eye", bpy.data.cameras.new("Eye"))
    scene.collection.objects.link(camera)
    camera.select_set(True)
    _refused_as("No figure here")


def case_nothing_selected():
    objects = gate()
    for obj in objects:
        obj.select_set(False)
    bpy.context.view_layer.objects.active = None
    _refused_as("Select the figure's objects")
    assert "pourwright.add_example" not in drawn("main").operators


def case_wrong_things_selected():
    scene = bpy.context.scene
    objects = gate()
    for obj in objects:
        obj.select_set(False)
    held = bpy.data.collections.new("Held")
    instance = bpy.data.objects.new("Set", None)
    instance.instance_type, instance.instance_collection = "COLLECTION", held
    for obj, words in (
        (bpy.data.objects.new("Eye", bpy.data.cameras.new("Eye")), "'Eye' has no surface (Camera)"),
        (bpy.data.objects.new("Lamp", bpy.data.lights.new("Lamp", "POINT")), "(Light)"),
        (bpy.data.objects.new("Nil", None), "'Nil' has no surface (Empty)"),
        (instance, "Make Instances Real"),
    ):
        scene.collection.objects.link(obj)
        obj.select_set(True)
        _refused_as(words)
        obj.select_set(False)
    for vertices, edges, words in (
        ([(0, 0, 0), (0, 0, 1)], [(0, 1)], "'Wire' has edges but no faces"),
        ([(0, 0, 0)], [], "is a mesh without faces"),
        ([], [], "is a mesh without faces"),
    ):
        mesh = bpy.data.meshes.new("Wire")
        mesh.from_pydata(vertices, edges, [])
        wire = bpy.data.objects.new("Wire", mesh)
        scene.collection.objects.link(wire)
        wire.select_set(True)
        _refused_as(words)
        # A modifier may give it faces: that is seen when it is computed.
        wire.modifiers.new("Skin", "SKIN")
        assert bpy.ops.pourwright.make_master.poll()
        bpy.data.objects.remove(wire)
    # One that can be cast is enough, whatever else is selected.
    camera = bpy.data.objects["Eye"]
    camera.select_set(True)
    objects[0].select_set(True)
    assert bpy.ops.pourwright.make_master.poll() and "'Post'" in _main()


def case_hidden_things():
    objects = gate()
    bpy.context.view_layer.objects.active = objects[0]
    for obj in objects:
        obj.hide_set(True)
    _refused_as("'Post' is hidden")
    for obj in objects:
        obj.hide_set(False)
    choose(objects)
    # A closed eye is no reason not to cast a figure that was chosen.
    objects[1].hide_set(True)
    assert bpy.ops.pourwright.make_master.poll()
    objects[1].hide_viewport = True
    _refused_as("'Arm' is disabled in the viewport")
    objects[1].hide_viewport = False
    held = bpy.data.collections.new("Held")
    bpy.context.scene.collection.children.link(held)
    held.objects.link(objects[2])
    bpy.context.scene.collection.objects.unlink(objects[2])
    assert bpy.ops.pourwright.make_master.poll()
    held.hide_viewport = True
    _refused_as("'Drop' is disabled in the viewport")


def case_results_and_lost_objects():
    objects = gate()
    results = part("results")
    piece = results.Piece("master", 0, "Master", np.eye(3) * 10.0, np.array([[0, 1, 2]]))
    (made,) = results.replace(bpy.context.scene, ("master",), [piece])
    made.hide_set(False)
    for obj in bpy.context.view_layer.objects:
        obj.select_set(obj == made)
    _refused_as("'Master' is a result")
    choose(objects)
    made.select_set(False)
    add_mesh("Other", *box((0, 0, 100), (5, 5, 105)))
    assert "press Use Selected first" in _main()
    bpy.context.scene.collection.objects.unlink(objects[1])
    _refused_as("An object of the figure is gone")


def case_modes_and_bases():
    objects = gate()
    choose(objects)
    bpy.ops.object.mode_set(mode="EDIT")
    assert "Switch to Object Mode first" in _main()
    assert "object.mode_set" in drawn("main").operators
    assert not bpy.ops.pourwright.add_example.poll()
    bpy.ops.object.mode_set(mode="OBJECT")
    settings().base.source = "OBJECT"
    _refused_as("Choose your object in Sprue Base")


def case_a_failure_stands_alone():
    choose(gate())
    part("messages").tell(bpy.context, "ERROR", "It broke", (1.0, 2.0, 3.0))
    assert "It broke" in _main() and "Make Master finds" not in _main()
    assert "pourwright.show_place" in drawn("main").operators
    assert message().kind == "ERROR"


def case_what_comes_next_follows_from_the_plan():
    hints = part("figure.hints")
    pocket, harmless = {"matters": True}, {"matters": False}
    plan = {
        "pockets": [pocket, harmless], "pockets_after": [], "warnings": [], "up": [0.0, 0.6, -0.8],
    }  # fmt: skip
    assert hints._next(plan)[0].startswith("Next: look it over")
    decide = plan | {"warnings": [{"open": True}, {"open": False}, {"open": True}]}
    assert hints._next(decide) == ("Next: decide what is marked in Vents (2)", "ERROR")
    assert "why air is left" in hints._next(decide | {"pockets_after": [harmless, pocket]})[0]
    assert hints._why(plan).startswith("1 of 2 air pockets")
    assert hints._why(plan | {"up": [0.0, 0.0, -1.0]}).startswith("Poured upside down, 1 of 2")
    assert "no vent was needed" in hints._why(plan | {"pockets": [harmless]})
    assert hints.told(bpy.context.scene) == []
