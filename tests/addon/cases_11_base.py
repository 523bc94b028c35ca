"""The base picker, own bases, the socket and the print. Run inside Blender."""

import math
import tempfile
from pathlib import Path

import bpy
from stage import (
    add_mesh,
    box,
    choose,
    exported_volume_mm3,
    fingerprint,
    gate,
    message,
    part,
    plan,
    refusal,
    settings,
)


def _figure() -> list[bpy.types.Object]:
    bpy.context.scene.unit_settings.scale_length = 0.001
    objects = gate()
    choose(objects)
    return objects


def _job():
    from pourwright.plan.job_file import parse_job

    return parse_job(part("task").job_text(bpy.context.scene))


def _codes() -> list[str]:
    return [w["code"] for w in plan()["warnings"]]


def case_kinds_are_those_of_the_catalogue():
    from pourwright.sprue.catalogue import CATALOGUE

    known = part("base.kinds")
    assert list(CATALOGUE) == list(known.KINDS)
    for name, kind in CATALOGUE.items():
        assert known.KINDS[name] == kind.title
        assert known.FACES[name] == kind.faces
        assert (name in known.ROUND, name in known.SEEDED) == (kind.round, kind.seeded)
        assert (name in known.NOT_ROUNDED) == (not kind.rounded)
        ours = [(n.name, n.default, n.low, n.high) for n in known.NUMBERS[name]]
        assert ours == [(p.name, p.default, p.low, p.high) for p in kind.parameters]
        assert [isinstance(n.default, int) for n in known.NUMBERS[name]] == [
            p.whole for p in kind.parameters
        ]


def case_every_kind_has_its_picture():
    pictures = part("base.pictures")
    there = {path.stem for path in pictures.FOLDER.glob("*.png")}
    assert there == set(part("base.kinds").KINDS)
    assert all(path.stat().st_size < 20_000 for path in pictures.FOLDER.glob("*.png"))
    base = settings().base
    for kind in part("base.kinds").KINDS:
        base.picture = kind
        assert base.kind == kind and base.picture == kind
    pictures.forget()
    assert base.picture == base.kind  # loaded anew
    pictures.forget()


def case_a_kind_s_own_numbers_reach_the_job():
    base = settings().base
    base.kind = "name_plate"
    base.name_plate.slant_deg, base.name_plate.lip_mm = math.radians(40.0), 2.5
    base.text, base.name_plate.text_face = "HERON", "back"
    made = dict(_job().base.table())
    assert abs(made["slant_deg"] - 40.0) < 1e-4 and made["lip_mm"] == 2.5
    assert made["text_face"] == "back"
    base.kind = "scenic_log"
    base.scenic_log.branch = False
    made = dict(_job().base.table())
    assert made["branch"] == 0 and "slant_deg" not in made
    base.kind = "name_plate"
    assert base.name_plate.lip_mm == 2.5  # each kind keeps its own


def case_every_number_at_its_ends_is_a_job():
    base = settings().base
    for kind, numbers in part("base.kinds").NUMBERS.items():
        base.kind = kind
        own = getattr(base, kind)
        for given in numbers:
            usual = getattr(own, given.name)
            for value in (given.low, given.high):
                if given.name.endswith("_deg"):
                    value = math.radians(value)
                setattr(own, given.name, bool(value) if isinstance(usual, bool) else value)
                _job()
            setattr(own, given.name, usual)


def case_an_object_of_the_user_s_is_the_base():
    objects = _figure()
    base = settings().base
    base.source = "OBJECT"
    assert not bpy.ops.pourwright.make_master.poll()
    body = add_mesh("Plank", *box((-30, -30, -40), (70, 30, -25)))
    base.body = body
    looks = [fingerprint(o) for o in [*objects, body]]
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert [fingerprint(o) for o in [*objects, body]] == looks
    data = plan()
    assert data["base"]["kind"] == "own"
    assert abs(data["master"]["parts_mm3"]["base"] - 100 * 60 * 15) < 1.0
    made = bpy.data.objects["Sprue Base"]
    # It is moved under the feet, which sink in by 1 mm.
    assert abs(made.location.z + made.dimensions.z / 2 - 1.0) < 1e-3
    body.location.z -= 1.0
    bpy.context.view_layer.update()
    assert part("task").stale(bpy.context.scene)
    base.place = "as_is"
    with refusal():
        bpy.ops.pourwright.make_master()
    assert message().kind == "ERROR" and plan() == data


def case_a_part_of_the_figure_is_no_base():
    objects = _figure()
    base = settings().base
    base.source, base.body = "OBJECT", objects[0]
    with refusal():
        bpy.ops.pourwright.make_master()
    assert "part of the figure" in message().text and not settings().plan


def case_an_open_mesh_is_no_base():
    _figure()
    vertices, faces = box((-30, -30, -40), (70, 30, -25))
    base = settings().base
    base.source, base.body = "OBJECT", add_mesh("Open", vertices, faces[:-1])
    with refusal():
        bpy.ops.pourwright.make_master()
    assert "Open" in message().text and not settings().plan


def case_a_socket_is_a_part_of_its_own():
    _figure()
    base = settings().base
    base.socket, base.clearance_mm = True, 0.3
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    data, socket = plan(), part("results").find(bpy.context.scene, "socket")
    assert socket is not None and socket.hide_get()
    assert data["job"]["socket"]["clearance_mm"] == 0.3
    # The feet, 12 x 12 mm, are 1 mm deep in the base.
    base_mm3 = data["master"]["parts_mm3"]["base"]
    assert data["socket"]["volume_mm3"] > base_mm3 - 13 * 13 * 1.5
    assert bpy.ops.pourwright.show(what="SOCKET") == {"FINISHED"}
    assert not socket.hide_get() and bpy.data.objects["Master"].hide_get()
    with tempfile.TemporaryDirectory() as folder:
        settings().export.folder = folder
        assert bpy.ops.pourwright.export_master() == {"FINISHED"}
        assert {"base.stl", "base.3mf", "master.stl"} <= {p.name for p in Path(folder).iterdir()}
        volume = exported_volume_mm3(Path(folder) / "base.stl")
        assert abs(volume - data["socket"]["volume_mm3"]) < 1e-3 * volume
    base.socket = False
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert part("results").find(bpy.context.scene, "socket") is None
    assert not bpy.data.objects["Master"].hide_get() or not bpy.data.objects["Vent 1"].hide_get()


def case_a_printer_that_is_too_small_is_told():
    _figure()
    printing = settings().print
    printing.own_sizes = True
    printing.build_x_mm = printing.build_y_mm = printing.build_z_mm = 40.0
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    data = plan()
    assert not data["print"]["fits"] and "too_big" in _codes()
    row = next(w for w in settings().vents.warnings if w.code == "too_big")
    assert row.open
    printing.build_x_mm = printing.build_y_mm = printing.build_z_mm = 400.0
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    assert plan()["print"]["fits"] and "too_big" not in _codes()


def case_the_master_is_scaled_for_shrinkage_where_that_is_asked_for():
    _figure()
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    plain = plan()
    assert not plain["scale"]["applied"]
    printing = settings().print
    printing.scale_master, printing.own_resin = True, True
    printing.resin_percent, printing.rubber_percent = 2.0, 1.0
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    data = plan()
    factor = 1 / (0.98 * 0.99)
    assert data["scale"]["applied"] and abs(data["scale"]["factor"] - factor) < 1e-5
    figures = [d["master"]["parts_mm3"]["figure"] for d in (data, plain)]
    assert abs(figures[0] / figures[1] - factor**3) < 1e-5
    assert settings().figure.volume_mm3 > 0


def case_what_an_earlier_version_saved_opens():
    """A plan without the tables that came later: the panels and Check Again take it."""
    import json

    _figure()
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    old = plan()
    for key in ("gates", "fill", "base", "funnel", "print", "socket", "scale"):
        del old[key]
    settings().plan = json.dumps(old)
    stored = part("stored").stored_plan(bpy.context.scene)
    assert stored["gates"] == [] and stored["socket"] is None
    assert bpy.ops.pourwright.check_again() == {"FINISHED"}
    assert "fill" in plan()
