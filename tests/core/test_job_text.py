from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_job_file import FULL

from pourwright.cli import main
from pourwright.errors import InputError
from pourwright.plan.job import Job
from pourwright.plan.job_file import line_of, parse_job, read_job, with_options
from pourwright.plan.job_text import job_text
from pourwright.plan.toml_text import tables_text
from pourwright.shop.printer import DEFAULT_PRINTER
from pourwright.shop.process import PROCESSES, Process
from pourwright.shop.resin import resins
from pourwright.sprue.catalogue import CATALOGUE
from pourwright.sprue.settings import BaseSettings
from tests.core.figures import export_figure

# With FULL, every setting there is, none at its default.
EVERY = FULL + """
[pose]
directions = 300
cone_deg = 40
axis = [0.5, 0, -1]
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

[mould]
enabled = false
silicone = "addition"
[[mould.way_points]]
name = "top"
at_mm = [0, 1.5, 60]
side = 1
[[mould.way_points]]
name = "left"
at_mm = [-10, 0, 30]
[[mould.way_points]]
name = "right"
at_mm = [10, 0, 30]
side = -1
[mould.box]
shape = "round"
wall_mm = 12
cover_mm = 11
panel_material = "card"
thickness_mm = 1.5
rim_mm = 12
margin = 0.2
round_up_mm = 0.5
[mould.cut]
opening_deg = 30
viewer = []
hinge_mm = 20
edge_mm = 1.2
ridge = 0.5
rod = 0.6
hidden = 1.4
detail = 2.1
protected = 21
flat = 1.6
outline = 1.7
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
margin = 0.12
residue_ml = 2
scale_step_g = 0.01
scale_most_g = 2000
ratio_error = 0.03
cup_ml = 900
cup_factor = 5
temperature_c = 21.5
weigh_min = 3
mix_min = 1
degas_min = 2
fill_min = 0.4
vacuum_min = 1.5
hold_min = 0.5
pressure_min = 0.3
demould_each_min = 4
day_h = 7
prepare_min = 20
mould_life = 25
casts_made = 4
mould_price = 60.5
"""


def leaves(value, path="job"):
    """Yield every setting of a job by name."""
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from leaves(getattr(value, field.name), f"{path}.{field.name}")
    else:
        yield path, value


def test_every_setting_goes_out_and_comes_back():
    job = parse_job(EVERY)
    usual = dict(leaves(dataclasses.replace(Job(), printer=DEFAULT_PRINTER)))
    same = [path for path, value in leaves(job) if usual[path] == value]
    # A title goes with its name, and materials come from a folder: neither is in the file.
    assert same == ["job.materials"], "EVERY has to say something of each setting"
    text = job_text(job)
    assert parse_job(text) == job
    assert job_text(parse_job(text)) == text


def test_defaults_are_written_out():
    text = job_text(Job())
    assert parse_job(text) == Job()
    assert "slope_deg = 20\n" in text and "pot_height_mm" not in text and "[printer]" not in text
    assert tomllib.loads(text)["mould"]["cut"]["viewer"] == [0, -1, 0]


def test_places_may_be_added_by_hand():
    places = "".join(
        f'\n[[mould.way_points]]\nname = "{i}"\nat_mm = [{i}, 0, 0]\n' for i in range(3)
    )
    assert len(parse_job(job_text(Job()) + places).mould.way_points) == 3


EACH = parse_job(EVERY)
WEIGHTS = st.floats(1.0, 1.001)


@st.composite
def jobs(draw):
    """Any job that a file can say: each number a little beside EVERY's, texts and kinds at will."""

    def near(value):
        if isinstance(value, float) or (isinstance(value, int) and value > 30 and value % 10):
            return value * draw(WEIGHTS)
        return value

    def beside(group):
        changed = {}
        for field in dataclasses.fields(group):
            value = getattr(group, field.name)
            if dataclasses.is_dataclass(value):
                changed[field.name] = beside(value)
            elif isinstance(value, float):
                changed[field.name] = near(value)
            elif "float" in str(field.type) and isinstance(value, int):
                changed[field.name] = near(float(value))
        return dataclasses.replace(group, **changed)

    rooms = {
        name: beside(getattr(EACH, name))
        for name in ("own_base", "socket", "funnel", "gates", "vents", "pose", "shrinkage", "mould",
                     "bench", "printer")
    }  # fmt: skip
    kind = CATALOGUE[draw(st.sampled_from(sorted(CATALOGUE)))]
    extras = {
        p.name: draw(st.integers(int(p.low), int(p.high)) if p.whole else st.floats(p.low, p.high))
        for p in kind.parameters
    }
    text = draw(st.text(st.characters(exclude_categories=["Cs"]), max_size=200))
    base = BaseSettings(kind.name, embed_mm=draw(st.floats(0.05, 0.4)), text=text, extras=extras)
    trap, cure = draw(st.floats(0.001, 5000.0)), draw(st.floats(0.001, 5000.0))
    defect = draw(st.floats(0.001, 50.0))
    own = Process("custom", f"Air trapped at {trap:g} kPa, cured at {cure:g} kPa (absolute)",
                  1000 * trap, 1000 * cure, defect)  # fmt: skip
    named = dataclasses.replace(PROCESSES[draw(st.sampled_from(sorted(PROCESSES)))],
                                visible_defect_mm=defect)  # fmt: skip
    up = draw(st.tuples(*[st.floats(-1e9, 1e9)] * 3).filter(lambda v: max(map(abs, v)) > 1e-9))
    return Job(
        up=up, process=draw(st.sampled_from([own, named])), base=base,
        margin=draw(st.floats(0.0, 1.0)), material=draw(st.sampled_from(sorted(resins()))), **rooms,
    )  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(jobs())
def test_any_job_is_read_as_it_was_written(job):
    text = job_text(job)
    assert parse_job(text) == job
    assert job_text(parse_job(text)) == text


@pytest.mark.parametrize(
    ("job", "named"),
    [
        (Job(process=Process("mine", "Mine", 1e5, 2e5)), "process"),
        (Job(process=dataclasses.replace(PROCESSES["open"], cure_pa=2e5)), "process"),
        (Job(printer=dataclasses.replace(DEFAULT_PRINTER, title="Mine")), "printer"),
    ],
)
def test_what_no_file_can_say_is_refused(job, named):
    with pytest.raises(InputError, match=f"cannot say this {named}"):
        job_text(job)


def test_texts_are_written_as_every_reader_of_toml_takes_them():
    text = 'a\nb\t"c" \\ \x7f\x00 \U0001f989'
    written = tables_text({"base": {"text": text}})
    assert written == '[base]\ntext = "a\\nb\\t\\"c\\" \\\\ \\u007F\\u0000 \U0001f989"\n'
    assert tomllib.loads(written)["base"]["text"] == text


def test_half_a_character_and_numbers_that_are_none():
    with pytest.raises(InputError, match=r"base\.text holds half a character"):
        tables_text({"base": {"text": "a\ud83d"}})
    with pytest.raises(InputError, match=r"base\.seed is nan"):
        tables_text({"base": {"seed": float("nan")}})


def test_a_mark_before_the_text_is_no_error(tmp_path):
    (tmp_path / "job.toml").write_text("\ufeff" + FULL, encoding="utf-8")
    assert read_job(tmp_path / "job.toml") == parse_job(FULL)


LINES = """# a comment: margin = 3
[pour]
margin = 0.1   # butter
material = "butter"

[funnel]
mouth_mm = 10

[mould.box]
wall_mm = -1
[[mould.way_points]]
name = "a"
"""


@pytest.mark.parametrize(
    ("what", "line"),
    [
        ("pour.margin is 15", 3),
        ("There is no material 'butter'", 4),
        ("funnel.neck_mm is 12 and funnel.mouth_mm is 10", 7),
        ("mould.box.wall_mm is -1", 10),
        ("mould.way_points has 1 places", 11),
        ("mould.way_points.name is ''", 12),
        ("There is no printer 'mangle'", None),
        ("is too big for a job file", None),
    ],
)
def test_the_line_that_is_meant(what, line):
    assert line_of(LINES, what) == line


def test_a_wrong_file_names_its_line(tmp_path):
    path = tmp_path / "job.toml"
    for text, line in (
        ("[pour]\n\nprocess = 'steam'", "line 3: There is no process"),
        ("[vents]\nweb_mm = 2\ncolour = 'red'", "line 3: vents.colour is not known"),
        ("[vents]\nweb_mm = 2\n[purr]", "line 3: purr is not known"),
        ("[process]\n[pour]\nprocess = 'steam'", "line 3: There is no process"),
        ("vents = 3", "line 1: vents is 3"),
        ("[vents]\nweb_mm = 2 3", "not valid TOML: Expected newline or end of document after a "
         "statement (at line 2"),
    ):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError) as caught:
            read_job(path)
        assert line in str(caught.value)


def test_a_plan_writes_the_job_it_was_made_with(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    models = export_figure()
    Path("mine.toml").write_text("[vents]\nweb_mm = 1.5\n", encoding="utf-8")
    options = ["--base", "stepped-plinth", "--process", "pressure", "--up", "0,0.1,-1"]
    plan = ["plan", *models, "--out", "pour", "--job", "mine.toml", *options, "--quiet"]
    assert main([*plan, "--save-job", "mine.toml"]) == 2
    assert "is read and cannot be written over" in capsys.readouterr().err
    assert main([*plan, "--save-job", "used/job.toml"]) in (0, 1)
    used = read_job(Path("used/job.toml"))
    assert used == with_options(
        read_job(Path("mine.toml")), up=(0.0, 0.1, -1.0), base="stepped-plinth", process="pressure"
    )
    assert used.vents.web_mm == 1.5
    before = Path("used/job.toml").read_bytes()
    assert main(["plan", *models, "--out", "other", "--save-job", "used/job.toml"]) == 2
    assert Path("used/job.toml").read_bytes() == before
    assert "Already there" in capsys.readouterr().err
