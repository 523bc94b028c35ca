from __future__ import annotations

import dataclasses

import pytest

from pourwright.errors import InputError
from pourwright.gates import GateSettings
from pourwright.plan.job import Job
from pourwright.plan.job_file import parse_job, read_job, with_options
from pourwright.shop.printer import DEFAULT_PRINTER, PRINTERS, Printer
from pourwright.shop.process import PROCESSES
from pourwright.shop.shrinkage import ShrinkageSettings
from pourwright.sprue.settings import (
    BASE_KINDS,
    BaseSettings,
    FunnelSettings,
    OwnBaseSettings,
    SocketSettings,
    kind_named,
)
from pourwright.vents.settings import VentSettings

FULL = """
[pour]
up = [0, 1, -2.5]
process = "open"
material = "epoxy"
margin = 0.25

[process]
trap_kpa = 3.0
cure_kpa = 300
visible_defect_mm = 0.5

[base]
kind = "rectangular-plinth"
width_mm = 40
depth_mm = 30.5
height_mm = 8
embed_mm = 1.5
margin_mm = 3
draft_deg = 0
crown_deg = 10
rounding_mm = 0.5
seed = 7
text = "No 7"
text_face = "back"
text_style = "raised"
text_depth_mm = 0.7
text_height_mm = 5
smallest_line_mm = 0.35
corner_mm = 2

[own_base]
place = "as_is"
embed_mm = 2
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
"""


def test_empty_file_is_the_default_job():
    assert parse_job("") == Job()


def test_every_setting_is_read():
    job = parse_job(FULL)
    assert job.up == (0.0, 1.0, -2.5)
    assert (job.material, job.margin) == ("epoxy", 0.25)
    assert (job.process.trap_pa, job.process.cure_pa) == (3000.0, 300_000.0)
    assert job.process.visible_defect_mm == 0.5
    assert job.process.name == "custom"
    assert "absolute" in job.process.title
    assert job.base == BaseSettings(
        "rectangular_plinth", 40, 30.5, 8, 1.5, 3, 0, 10, 0.5, 7, "No 7", "back", "raised", 0.7, 5,
        0.35, {"corner_mm": 2},
    )  # fmt: skip
    assert job.own_base == OwnBaseSettings("as_is", 2, 3.5)
    assert job.socket == SocketSettings(True, 0.15, 4, 2)
    assert job.funnel == FunnelSettings(False, 30, 10, 20, 5)
    assert job.gates == GateSettings(False, 0.5, 1.5, 4, 3, 1.8, 0.6, 25, 0.7, 1.2, 0.4)
    assert job.vents == VentSettings(2, 0.8, 1.5, 0.4, 30, 0.9, 2.5, 0.25)
    assert job.shrinkage == ShrinkageSettings(True, 0.004, 0.002)
    named = PRINTERS["filament_medium"]
    assert job.printer == Printer(named.name, named.title, 200, 210.5, 180, 0.6, 0.15)


def test_full_example_leaves_out_no_setting():
    """Guards the test above: a setting added later must be added to FULL."""
    for table, settings in (
        ("base", BaseSettings), ("own_base", OwnBaseSettings), ("socket", SocketSettings),
        ("funnel", FunnelSettings), ("gates", GateSettings), ("vents", VentSettings),
        ("shrinkage", ShrinkageSettings), ("printer", Printer),
    ):  # fmt: skip
        section = FULL.split(f"[{table}]")[1].split("\n[")[0]
        for field in dataclasses.fields(settings):
            if field.name in ("extras", "title"):
                continue  # each kind's own parameters stand in the table themselves
            assert f"\n{field.name} = " in section


def test_pressures_left_out_are_those_of_the_named_process():
    job = parse_job('[pour]\nprocess = "vacuum_pressure"\n[process]\ncure_kpa = 400')
    assert job.process.trap_pa == pytest.approx(PROCESSES["vacuum_pressure"].trap_pa)
    assert job.process.cure_pa == 400_000.0


def test_defect_size_alone_keeps_the_named_process():
    job = parse_job('[pour]\nprocess = "open"\n[process]\nvisible_defect_mm = 1')
    assert job.process == dataclasses.replace(PROCESSES["open"], visible_defect_mm=1.0)


BAD = [
    ("[pour", "not valid TOML"),
    ("up = [0,0,1]", "up is not known"),
    ("[purr]", "purr"),
    ("pour = 3", "pour"),
    ("[pour]\ncolour = 1", "pour.colour"),
    ("[pour]\nup = [0, 0, 0]", "pour.up"),
    ("[pour]\nup = [0, 0]", "pour.up"),
    ("[pour]\nup = [0, 0, nan]", "pour.up"),
    ("[pour]\nup = [0, 0, inf]", "pour.up"),
    ("[pour]\nup = [0, 0, true]", "pour.up"),
    ("[pour]\nup = 'down'", "pour.up"),
    ("[pour]\nup = 5", "pour.up"),
    ("[pour]\nprocess = 'steam'", "choose one of open, pressure, vacuum_pressure"),
    ("[pour]\nprocess = 1", "pour.process"),
    ("[pour]\nmaterial = 'butter'", "choose one of polyurethane, epoxy, polyester"),
    ("[pour]\nmaterial = ['epoxy']", "pour.material"),
    ("[pour]\nmargin = -0.1", "pour.margin"),
    ("[pour]\nmargin = 15", "pour.margin is 15; give a number from 0 to 1"),
    ("[pour]\nmargin = nan", "pour.margin"),
    ("[pour]\nmargin = '10 %'", "pour.margin"),
    ("[pour]\nmargin = false", "pour.margin"),
    ("[pour]\nmargin = 1" + "0" * 400, "pour.margin"),
    ("[process]\ntrap_kpa = -98", "absolute, not gauge"),
    ("[process]\ncure_kpa = 0", "process.cure_kpa"),
    ("[process]\ncure_kpa = inf", "process.cure_kpa"),
    ("[process]\nvisible_defect_mm = 0", "process.visible_defect_mm"),
    ("[process]\npsi = 40", "process.psi"),
    ("[base]\nkind = 'mug'", "round-plinth, rectangular-plinth"),
    ("[base]\nkind = 1", "base.kind"),
    ("[base]\nwidth_mm = 0", "base.width_mm"),
    ("[base]\nwidth_mm = -20", "base.width_mm"),
    ("[base]\nwidth_mm = inf", "base.width_mm"),
    ("[base]\ndepth_mm = '30 mm'", "base.depth_mm"),
    ("[base]\nheight_mm = 1e9", "base.height_mm"),
    ("[base]\nembed_mm = 0", "base.embed_mm"),
    ("[base]\nembed_mm = 6", "base.embed_mm"),
    ("[base]\nmargin_mm = -1", "base.margin_mm"),
    ("[base]\ndraft_deg = 90", "base.draft_deg"),
    ("[base]\ndraft_deg = -1", "base.draft_deg"),
    ("[base]\ncrown_deg = 60", "base.crown_deg"),
    ("[base]\nwidth = 20", "known here are kind, width_mm"),
    ("[[base]]\nwidth_mm = 20", "base"),
    ("[funnel]\nenabled = 1", "funnel.enabled"),
    ("[funnel]\nenabled = 'yes'", "funnel.enabled"),
    ("[funnel]\nmouth_mm = 0", "funnel.mouth_mm"),
    ("[funnel]\nmouth_mm = 10", "funnel.neck_mm"),
    ("[funnel]\nneck_mm = nan", "funnel.neck_mm"),
    ("[funnel]\nheight_mm = -3", "funnel.height_mm"),
    ("[funnel]\nwidth_mm = 9", "funnel.width_mm is not known"),
    ("funnel = true", "make it a table: [funnel]"),
    ("[funnel]\nhead_mm = -1", "funnel.head_mm"),
    ("[own_base]\nplace = 'there'", "choose one of as_is, under"),
    ("[own_base]\nembed_mm = 0", "own_base.embed_mm"),
    ("[own_base]\ncut_mm = 0", "own_base.cut_mm"),
    ("[own_base]\nkind = 'rock'", "own_base.kind is not known"),
    ("[socket]\nenabled = 1", "socket.enabled"),
    ("[socket]\nclearance_mm = 0", "socket.clearance_mm"),
    ("[socket]\ndepth_mm = -1", "socket.depth_mm"),
    ("[socket]\ndraft_deg = 45", "socket.draft_deg"),
    ("[gates]\nenabled = 'no'", "gates.enabled"),
    ("[gates]\npot_life_share = 25", "gates.pot_life_share"),
    ("[gates]\nleast_mm = 8", "make least_mm the smaller one"),
    ("[gates]\nmost_gates = 1.5", "gates.most_gates"),
    ("[gates]\nslope_deg = 5", "gates.slope_deg"),
    ("[shrinkage]\nscale_master = 1.003", "shrinkage.scale_master"),
    ("[shrinkage]\nresin = 0.3", "shrinkage.resin"),
    ("[shrinkage]\nrubber = '0.1 %'", "shrinkage.rubber"),
    ("[printer]\nname = 'mangle'", "choose one of resin_small"),
    ("[printer]\nname = 3", "printer.name"),
    ("[printer]\nbuild_z_mm = 0", "printer.build_z_mm"),
    ("[printer]\ntitle = 'mine'", "printer.title is not known"),
    ("printer = 'resin_small'", "make it a table: [printer]"),
    ("[vents]\ncolour = 'red'", "vents.colour is not known"),
    ("[vents]\ndiameter_mm = 0", "vents.diameter_mm"),
    ("[vents]\ndiameter_mm = [1.5]", "vents.diameter_mm"),
    ("[vents]\nleast_diameter_mm = nan", "vents.least_diameter_mm"),
    ("[vents]\nweb_mm = -2", "vents.web_mm"),
    ("[vents]\noverlap_mm = 0.01", "vents.overlap_mm"),
    ("[vents]\noverlap_mm = 1979-05-27", "vents.overlap_mm"),
    ("[vents]\nslope_deg = 5", "vents.slope_deg is 5; give a number from 11.5 to 89"),
    ("[vents]\nslope_deg = 90", "vents.slope_deg"),
    ("[vents]\nneck_mm = 0", "vents.neck_mm"),
    ("[vents]\nneck_length_mm = inf", "vents.neck_length_mm"),
    ("[vents]\ngrid_mm = 0.01", "vents.grid_mm is 0.01; give a number from 0.1 to 5"),
    ("a = " + "[" * 100_000, "not valid TOML"),
]


@pytest.mark.parametrize(("text", "named"), BAD, ids=lambda value: value[:40])
def test_bad_setting_names_file_key_and_what_is_allowed(tmp_path, text, named):
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_job(path)
    message = str(caught.value)
    assert named in message
    assert str(path) in message
    assert "\n" not in message
    assert len(message) < 400 + len(str(path))


def test_good_file_is_read(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(FULL, encoding="utf-8")
    assert read_job(path) == parse_job(FULL)


def test_files_that_are_no_job_files(tmp_path):
    missing, latin, big = tmp_path / "none.toml", tmp_path / "latin.toml", tmp_path / "big.toml"
    latin.write_bytes(b"# \xff\xfe\n")
    big.write_bytes(b"#" * 1_000_001)
    for path, reason in (
        (missing, "No such file"), (latin, "UTF-8"), (big, "too big"), (tmp_path, "folder")
    ):  # fmt: skip
        with pytest.raises(InputError, match=reason) as caught:
            read_job(path)
        assert str(path) in str(caught.value)


@pytest.mark.parametrize(
    ("build", "named"),
    [
        (lambda: Job(up=(0.0, 0.0, 0.0)), "pour.up"),
        (lambda: Job(up=(0.0, float("nan"), 1.0)), "pour.up"),
        (lambda: Job(up=(0.0, 1.0)), "pour.up"),
        (lambda: Job(margin=2.0), "pour.margin"),
        (lambda: Job(material="butter"), "material"),
        (lambda: Job(process="open"), "process"),
        (lambda: Job(vents=None), "vents"),
        (lambda: Job(gates=VentSettings()), "gates"),
        (lambda: Job(printer="resin_small"), "printer"),
        (lambda: Job(socket=True), "socket"),
        (lambda: BaseSettings(kind="mug"), "base.kind"),
        (lambda: BaseSettings(width_mm=float("inf")), "base.width_mm"),
        (lambda: FunnelSettings(enabled=None), "funnel.enabled"),
        (lambda: FunnelSettings(neck_mm=30.0), "funnel.neck_mm"),
        (lambda: VentSettings(diameter_mm=-1.0), "vents.diameter_mm"),
    ],
)
def test_settings_made_in_code_are_checked_too(build, named):
    with pytest.raises(InputError, match=named):
        build()


def test_options_stand_above_the_file():
    job = parse_job(FULL)
    assert with_options(job) == job
    changed = with_options(
        job, up=(1.0, 0.0, 0.0), base="stepped-plinth", process="pressure", material="polyester"
    )
    assert changed.up == (1.0, 0.0, 0.0)
    assert changed.material == "polyester"
    assert changed.base == dataclasses.replace(job.base, kind="stepped_plinth")
    assert changed.process.cure_pa == PROCESSES["pressure"].cure_pa
    assert changed.process.visible_defect_mm == 0.5
    for name in ("margin", "funnel", "vents", "gates", "own_base", "printer"):
        assert getattr(changed, name) == getattr(job, name)


def test_switches_and_printer_stand_above_the_file():
    job = parse_job("[socket]\nclearance_mm = 0.3\n[printer]\nbuild_x_mm = 99")
    assert (job.socket.enabled, job.shrinkage.scale_master) == (False, False)
    assert job.printer == dataclasses.replace(DEFAULT_PRINTER, build_x_mm=99)
    changed = with_options(job, printer="resin_large", socket=True, scale_master=True)
    assert changed.socket == SocketSettings(True, 0.3)
    assert changed.shrinkage == ShrinkageSettings(True)
    assert changed.printer == PRINTERS["resin_large"]
    assert Job().printer is None


@pytest.mark.parametrize(
    "option",
    [
        {"base": "mug"}, {"process": "steam"}, {"printer": "mangle"}, {"material": "butter"},
        {"up": (0, 0, 0)},
    ],
)
def test_bad_options(option):
    with pytest.raises(InputError):
        with_options(Job(), **option)


@pytest.mark.parametrize("kind", BASE_KINDS)
def test_base_names_with_either_dash(kind):
    for spelt in (kind, kind.replace("_", "-"), kind.upper()):
        assert kind_named(spelt) == kind
