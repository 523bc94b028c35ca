"""Presets of the shop's own, from a folder of files. Run inside Blender."""

import shutil

import bpy
from stage import choose, gate, message, part, plan, refusal, settings

OWN = """
[our-white]
title = "Our white"
part_a = "A"
part_b = "B"
part_a_density_g_ml = 1.0
part_b_density_g_ml = 1.2
cured_density_g_ml = 1.1
ratio_basis = "volume"
ratio_a = 1
ratio_b = 1
pot_life_min = 2
viscosity_mpa_s = 60
source = "this test"
"""


def _folder(text: str = OWN):
    place = part("quantities.materials").folder(create=True)
    shutil.rmtree(place)
    place.mkdir()
    (place / "resin-own.toml").write_text(text, encoding="utf-8")
    return place


def case_a_preset_of_the_shop_s_own_is_cast_with():
    place = _folder()
    try:
        assert part("quantities.materials").names() == ["our-white"]
        bpy.context.scene.unit_settings.scale_length = 0.001
        choose(gate())
        mix = settings().quantities
        mix.own, mix.own_name = True, "our-white"
        assert bpy.ops.pourwright.make_master() == {"FINISHED"}
        resin = plan()["resin"]
        assert resin["material"] == "our-white"
        # 1:1 by volume at 1.0 and 1.2 g/ml is 100:120 by weight.
        assert abs(resin["part_b_g"] / resin["part_a_g"] - 1.2) < 1e-6
        run = part("bench.run").bench_run(bpy.context.scene)
        assert run.plan is not None, run.error
        assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
        export = settings().export
        export.folder = str(place / "casts")
        assert bpy.ops.pourwright.export_master() == {"FINISHED"}
        assert "Our white" in (place / "casts" / "sheet.html").read_text(encoding="utf-8")
    finally:
        shutil.rmtree(place)


def case_a_name_that_is_none_is_refused_with_those_there_are():
    place = _folder()
    try:
        bpy.context.scene.unit_settings.scale_length = 0.001
        choose(gate())
        mix = settings().quantities
        mix.own, mix.own_name = True, "our-black"
        with refusal():
            bpy.ops.pourwright.make_master()
        assert "our-black" in message().text and "our-white" in message().text
        assert not settings().plan
    finally:
        shutil.rmtree(place)


def case_a_file_that_is_wrong_is_told_and_put_right():
    place = _folder(OWN.replace("pot_life_min = 2", "pot_life_min = -2"))
    try:
        wrong = part("quantities.materials").known()
        assert isinstance(wrong, str) and "pot_life_min" in wrong and "resin-own.toml" in wrong
        assert part("quantities.materials").names() == []
        (place / "resin-own.toml").write_text(OWN + "\n", encoding="utf-8")
        assert part("quantities.materials").names() == ["our-white"]
    finally:
        shutil.rmtree(place)


def case_the_folder_is_made_with_a_note():
    place = part("quantities.materials").folder()
    if place.exists():
        shutil.rmtree(place)
    assert part("quantities.materials").task_folder() is None
    assert bpy.ops.pourwright.open_materials() == {"FINISHED"}
    note = place / "README.txt"
    assert "resin-....toml" in note.read_text(encoding="utf-8")
    note.write_text("mine", encoding="utf-8")
    assert bpy.ops.pourwright.open_materials() == {"FINISHED"}
    assert note.read_text(encoding="utf-8") == "mine"
    # What the note says can be put into a file.
    example = part("quantities.operators").README.split("for example\n", 1)[1]
    (place / "resin-a.toml").write_text(example.split("\nAll keys")[0], encoding="utf-8")
    assert part("quantities.materials").names() == ["our-white"]
    shutil.rmtree(place)
