"""Job files out of Blender and into it. Run inside Blender."""

import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

import bpy
from stage import add_mesh, box, message, part, refusal, settings

# What a job file can say and Blender has a setting for, none of it at its default.
FULL = """
[pour]
up = [0, 1, -2.5]
process = "open"
material = "epoxy"
margin = 0.25
[process]
visible_defect_mm = 0.5
[base]
kind = "rectangular-plinth"
width_mm = 40
depth_mm = 30.5
height_mm = 8
embed_mm = 1.5
margin_mm = 3
draft_deg = 1
crown_deg = 10
rounding_mm = 0.5
seed = 7
text = "No 7\\nowl \\U0001F989 \\"quoted\\""
text_face = "back"
text_style = "raised"
text_depth_mm = 0.7
text_height_mm = 5
smallest_line_mm = 0.35
corner_mm = 2
[own_base]
place = "as_is"
embed_mm = 1.5
cut_mm = 3.5
[socket]
enabled = true
clearance_mm = 0.15
depth_mm = 4
draft_deg = 2
[funnel]
enabled = false
mouth_mm = 30
neck_mm = 10
height_mm = 20
head_mm = 5
[gates]
enabled = false
pot_life_share = 0.5
least_mm = 1.5
most_mm = 4
most_gates = 3
web_mm = 1.8
overlap_mm = 0.6
slope_deg = 25
neck_share = 0.7
neck_length_mm = 1.2
grid_mm = 0.4
[vents]
diameter_mm = 2
least_diameter_mm = 0.8
web_mm = 1.5
overlap_mm = 0.4
slope_deg = 30
neck_mm = 0.9
neck_length_mm = 2.5
grid_mm = 0.25
[shrinkage]
scale_master = true
resin = 0.004
rubber = 0.002
[printer]
name = "filament_medium"
build_x_mm = 200
build_y_mm = 210.5
build_z_mm = 180
smallest_wall_mm = 0.6
layer_mm = 0.15
[pose]
directions = 300
cone_deg = 40
axis = [0, 1, -2.5]
keep = 5
pot_height_mm = 180.5
pot_diameter_mm = 160
[pose.weights]
pocket = 2
residual_mm3 = 0.02
rod = 3
rod_mm = 0.03
height_mm = 0.06
footprint_cm2 = 0.2
protected = 11
misfit_mm = 6
[mould.box]
shape = "round"
wall_mm = 12
cover_mm = 11
panel_material = "card"
thickness_mm = 1.5
margin = 0.2
[mould.cut]
opening_deg = 30
viewer = []
hinge_mm = 20
[mould.registration]
kind = "keys"
amplitude_mm = 2.5
wavelength_mm = 18
diameter_mm = 7
[mould.guide]
kind = "raised"
width_mm = 0.7
figure_too = false
[bench]
altitude_m = 800
casts = 12
moulds = 3
pot_diameter_mm = 240
pot_height_mm = 310
pot_marked_most = "80 psi gauge"
chamber_diameter_mm = 260
chamber_height_mm = 250.5
scale_step_g = 0.01
cup_ml = 900
temperature_c = 21.5
weigh_min = 3
mix_min = 1
degas_min = 2
fill_min = 0.4
vacuum_min = 1.5
hold_min = 0.5
pressure_min = 0.3
demould_each_min = 4
mould_life = 25
casts_made = 4
mould_price = 60.5
"""
# And what it has none for.
NONE = """
[bench]
day_h = 7
margin = 0.2
[mould]
enabled = false
[mould.box]
rim_mm = 12
[mould.cut]
edge_mm = 2
[pose]
directions = 5
axis = [1, 0, 0]
[base]
seed = 4294967295
[[mould.way_points]]
name = "a"
at_mm = [0, 0, 0]
[[mould.way_points]]
name = "b"
at_mm = [0, 0, 1]
[[mould.way_points]]
name = "c"
at_mm = [0, 1, 0]
"""


class _Folder:
    """A folder for job files that is gone afterwards."""

    def __enter__(self):
        self.held = tempfile.TemporaryDirectory()
        return Path(self.held.name)

    def __exit__(self, *_):
        self.held.cleanup()


def _open(path):
    return bpy.ops.pourwright.open_job(filepath=str(path))


def _save(path, **more):
    return bpy.ops.pourwright.save_job(filepath=str(path), **more)


def _job():
    return part("jobfile.scene_job").job_of(bpy.context.scene)


def _values():
    paths = part("presets.paths")
    return paths.read(settings(), paths.paths("job"))


def case_every_setting_of_a_file_comes_in_and_goes_out():
    from pourwright.plan.job import Job
    from pourwright.plan.job_file import parse_job, read_job

    with _Folder() as folder:
        path, again = folder / "mine.toml", folder / "again.toml"
        path.write_text(FULL, encoding="utf-8")
        assert _open(path) == {"FINISHED"}
        assert message().text == "Opened mine.toml", message().text
        assert settings().base.text == 'No 7\nowl \U0001f989 "quoted"'
        assert settings().pose.standing == "CURRENT" and settings().print.own_sizes
        assert _save(again) == {"FINISHED"}
        # Numbers have been in single precision, so angles and shares may have lost their last
        # digit; what is written is read as the same settings.
        left = part("jobfile.scene_job")._differences(parse_job(FULL), read_job(again))
        assert left == []
        one, kept = again.read_bytes(), _values()
        bpy.ops.wm.read_homefile(use_empty=True)
        assert _values() != kept
        assert _open(again) == {"FINISHED"}
        assert _save(folder / "third.toml") == {"FINISHED"}
        assert (folder / "third.toml").read_bytes() == one
        # Opening the usual job takes all of it back.
        path.write_text("", encoding="utf-8")
        assert _open(path) == {"FINISHED"} and message().text == "Opened mine.toml"
        assert part("jobfile.scene_job")._differences(Job(), _job()) == []


def case_the_usual_settings_are_the_usual_job():
    from pourwright.plan.job import Job

    assert part("jobfile.scene_job")._differences(Job(), _job()) == []


def case_pressures_of_one_s_own():
    with _Folder() as folder:
        path = folder / "mine.toml"
        path.write_text("[process]\ntrap_kpa = 3.4\ncure_kpa = 377.1\n", encoding="utf-8")
        assert _open(path) == {"FINISHED"} and message().text == "Opened mine.toml"
        assert settings().air.own_pressures
        assert _job().process.trap_pa == 3400.0 and _job().process.name == "custom"
        path.write_text("[pour]\nprocess = 'pressure'\n", encoding="utf-8")
        assert _open(path) == {"FINISHED"}
        assert settings().air.process == "pressure" and not settings().air.own_pressures


def case_what_blender_has_no_setting_for_is_told():
    with _Folder() as folder:
        path = folder / "more.toml"
        path.write_text(NONE, encoding="utf-8")
        assert _open(path) == {"FINISHED"}
        told = message().text.partition("leaves it out: ")[2].split("; ")
        assert told == [
            "base.seed = 4294967295", "bench.day_h = 7", "bench.margin = 0.2",
            "mould.box.rim_mm = 12", "mould.cut.edge_mm = 2", "mould.enabled = false",
            "mould.way_points (3)", "pose.axis = [1, 0, 0]", "pose.directions = 5",
        ], told  # fmt: skip
        path.write_text("[base]\nkind='rectangular-plinth'\nwidth_mm = 44\n", encoding="utf-8")
        assert _open(path) == {"FINISHED"}
        assert "base.depth_mm is left out" in message().text
        assert settings().base.width_mm == 44


def case_a_file_that_is_wrong_changes_nothing_and_names_its_line():
    settings().vents.web_mm = 1.75
    before = _values()
    with _Folder() as folder:
        path = folder / "wrong.toml"
        for text, told in (
            ("[vents]\nweb_mm = 1\n\nneck_mm = -2\n", "line 4: vents.neck_mm is -2; give"),
            ("[vents]\nweb_mm = 1\n[purr]\n", "line 3: purr is not known"),
            ("[pour]\nmaterial = 'butter'\n", "line 2: There is no material 'butter'"),
            ("[pour]\nup = 1 2\n", "at line 2"),
        ):
            path.write_text(text, encoding="utf-8")
            with refusal():
                _open(path)
            assert message().kind == "ERROR" and told in message().text, message().text
            assert "wrong.toml" in message().text and _values() == before
        with refusal():
            _open(folder / "none.toml")
        assert "none.toml cannot be read" in message().text
        # It can be read, but not with what Blender makes of it: then all of it is left.
        path.write_text("[vents]\nweb_mm = 1\n", encoding="utf-8")
        job_of = part("jobfile.scene_job").job_of

        def fails(scene):
            from pourwright.errors import InputError

            raise InputError("Settings do not go together")

        part("jobfile.scene_job").job_of = fails
        try:
            with refusal():
                _open(path)
        finally:
            part("jobfile.scene_job").job_of = job_of
        assert _values() == before


def case_a_file_that_is_there_is_not_replaced_unasked():
    with _Folder() as folder:
        path = folder / "mine.toml"
        path.write_text("mine", encoding="utf-8")
        with refusal():
            _save(path)
        assert path.read_text(encoding="utf-8") == "mine" and "there already" in message().text
        assert _save(path, check_existing=False) == {"FINISHED"}
        assert "[vents]" in path.read_text(encoding="utf-8")
        assert list(folder.iterdir()) == [path], "no unfinished file is left"
        (folder / "folder.toml").mkdir()
        with refusal():
            _save(folder / "folder.toml", check_existing=False)
        # Settings that no job can have are told, and no file is made.
        settings().gates.least_mm = 9.0
        with refusal():
            _save(folder / "new.toml")
        assert "gates.least_mm" in message().text and not (folder / "new.toml").exists()
        settings().gates.least_mm, settings().bench.pot_marked_most = 1.0, "a lot"
        with refusal():
            _save(folder / "new.toml")
        assert not (folder / "new.toml").exists()


def case_the_whole_base_is_written_beside_an_object_of_one_s_own():
    body = add_mesh("Plank", *box((-30, -30, -40), (70, 30, -25)))
    base = settings().base
    base.kind, base.source, base.body = "coin", "OBJECT", body
    base.own_cut, base.cut_mm, base.coin.rim_mm = True, 2.5, 1.25
    job = _job()
    assert job.base.kind == "coin" and job.base.extra("rim_mm") == 1.25
    assert job.own_base.cut_mm == 2.5 and job.mould.enabled
    with _Folder() as folder:
        assert _save(folder / "mine.toml") == {"FINISHED"}
        base.kind, base.cut_mm = "wall_hook", 4.0
        assert _open(folder / "mine.toml") == {"FINISHED"}
    assert (base.kind, base.cut_mm, base.source, base.body) == ("coin", 2.5, "OBJECT", body)


def case_a_resin_of_the_shop_s_own_and_its_file():
    place = part("quantities.materials").folder(create=True)
    shutil.rmtree(place)
    place.mkdir()
    example = part("quantities.operators").README.split("for example\n", 1)[1]
    (place / "resin-a.toml").write_text(example.split("\nAll keys")[0], encoding="utf-8")
    try:
        with _Folder() as folder:
            path = folder / "mine.toml"
            path.write_text("[pour]\nmaterial = 'our-white'\n", encoding="utf-8")
            assert _open(path) == {"FINISHED"} and message().text == "Opened mine.toml"
            assert settings().quantities.own and settings().quantities.own_name == "our-white"
            assert _save(folder / "again.toml") == {"FINISHED"}
            assert 'material = "our-white"' in (folder / "again.toml").read_text("utf-8")
            (place / "resin-a.toml").write_text("[a]\n", encoding="utf-8")
            with refusal():
                _open(path)
            assert "resin-a.toml" in message().text
    finally:
        shutil.rmtree(place)


def case_the_file_is_what_the_master_is_made_with():
    from pourwright.plan.job_file import parse_job, read_job

    stored = settings()
    stored.vents.web_mm, stored.base.kind, stored.mould.wall_mm = 1.5, "wall_hook", 12.5
    with _Folder() as folder:
        assert _save(folder / "mine.toml") == {"FINISHED"}
        job = read_job(folder / "mine.toml")
    # The extension plans the mould when it is asked to, and searches for poses apart.
    made_with = parse_job(part("task").job_text(bpy.context.scene))
    assert not made_with.mould.enabled and job.mould.enabled
    assert replace(job, mould=replace(job.mould, enabled=False), pose=made_with.pose) == made_with


def case_a_text_beyond_the_basic_plane_is_no_fault():
    from pourwright.plan.job_file import parse_job

    settings().base.text = "owl \U0001f989"
    assert parse_job(part("task").job_text(bpy.context.scene)).base.text == "owl \U0001f989"
