"""`pourwright mix`, `sheet` and `materials` through the command's own door."""

from __future__ import annotations

import json
import tracemalloc
from pathlib import Path

import pytest

from pourwright.cli import main
from pourwright.files.plan_json import plan_to_dict, to_json
from pourwright.files.stl import write_stl
from tests.core.example_plan import example_plan
from tests.core.figures import tree
from tests.core.test_shop_materials import MINE


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("POURWRIGHT_MATERIALS", str(tmp_path / "none"))
    plan = example_plan()
    Path("out").mkdir()
    Path("out/plan.json").write_bytes(to_json(plan_to_dict(plan)))
    with Path("out/master.stl").open("wb") as stream:
        write_stl(stream, plan.master.mesh)
    Path("presets").mkdir()
    Path("presets/resin-mine.toml").write_text(MINE)
    Path("bench.toml").write_text('[bench]\nscale_step_g = 0.01\npot_marked_most = "60 psig"\n')


def mixed(*arguments: str) -> dict:
    assert main(["mix", *arguments, "--json", "mix.json", "--force"]) in (0, 1)
    return json.loads(Path("mix.json").read_text())


def test_mix_by_millilitres(capsys):
    data = mixed("heron=33.83", "crane=12", "--casts", "3", "--moulds", "1", "--process", "open")
    assert data["casts"] == 6
    assert data["mix_count"] == 3
    (mix,) = data["mixes"]
    assert mix["casts"] == [{"name": "heron", "casts": 1}, {"name": "crane", "casts": 1}]
    assert mix["to_mix_ml"] == pytest.approx(45.83 * 1.1)
    assert mix["weighing"]["part_a_g"] == pytest.approx(45.83 * 1.1 / 2 * 1.20, abs=0.2)
    assert data["undecided"] is False
    out, err = capsys.readouterr()
    assert "6 casts in 3 mixes" in out
    assert "Isocyanate" in out
    assert out.isascii()
    assert err == ""


def test_mix_of_a_plan_is_the_plans(capsys):
    plan = json.loads(Path("out/plan.json").read_text())
    data = mixed("out/plan.json", "--bench", "bench.toml")
    weighing = data["mixes"][0]["weighing"]
    assert weighing["exact_a_g"] == pytest.approx(plan["resin"]["part_a_g"], rel=1e-9)
    assert data["material"] == plan["resin"]["material"]
    assert data["process"]["cure_kpa_absolute"] == pytest.approx(
        plan["process"]["cure_kpa_absolute"]
    )
    assert data["bench"]["scale_step_g"] == 0.01
    assert main(["mix", "out/plan.json", "--bench", "bench.toml"]) == 0
    assert main(["mix", "out/plan.json"]) == 1  # the pot's mark is to be read
    assert "marked maximum pressure is not given" in capsys.readouterr().out


def test_numbers_for_each_master():
    data = mixed("a=10", "b=20", "--casts", "2", "--casts", "5", "--process", "open")
    assert data["casts"] == 7
    assert [m["moulds"] for m in data["moulds"]] == [1, 1]


def test_settings_reach_the_result():
    data = mixed(
        "30", "--temperature", "13", "--altitude", "600", "--process", "vacuum_pressure",
        "--vacuum", "27 inHg vacuum", "--pressure", "40 psi gauge", "--margin", "0.2", "--residue",
        "5", "--degas", "0.5", "--fill", "0.75", "--price", "10", "--mould-price", "40", "--scale",
        "0.01",
    )  # fmt: skip
    assert data["pot_life"]["minutes"] == pytest.approx(6.0)
    assert data["air_kpa_absolute"] == pytest.approx(94.32, abs=0.01)
    assert data["process"]["trap_kpa_absolute"] == pytest.approx(94.32 - 91.43, abs=0.02)
    assert data["to_mix_ml"] == pytest.approx(41.0)
    assert [s["code"] for s in data["steps"]][:4] == ["weigh", "mix", "degas", "fill"]
    mass = data["part_a_g"] + data["part_b_g"]
    assert data["cost"]["total"] == pytest.approx(mass / 100 + 2.0)


def test_own_materials():
    data = mixed("30", "--material", "fast_cast", "--materials", "presets", "--process", "open")
    weighing = data["mixes"][0]["weighing"]
    assert weighing["part_b_g"] / weighing["part_a_g"] == pytest.approx(0.9, rel=0.01)
    assert main(["materials", "--materials", "presets", "--json", "m.json"]) == 0
    names = [m["name"] for m in json.loads(Path("m.json").read_text())["materials"]]
    assert names == ["polyurethane", "epoxy", "polyester", "fast_cast"]


def test_the_default_folder_is_looked_into(monkeypatch, capsys):
    monkeypatch.setenv("POURWRIGHT_MATERIALS", "presets")
    assert main(["materials"]) == 0
    assert "fast_cast" in capsys.readouterr().out


def test_ten_thousand_casts_are_quick_and_small(capsys):
    tracemalloc.start()
    data = mixed("a=30", "b=7", "--casts", "10000", "--moulds", "3", "--process", "open")
    assert tracemalloc.get_traced_memory()[1] < 20e6
    tracemalloc.stop()
    assert data["casts"] == 20_000
    assert len(data["mixes"]) < 20
    assert "new moulds" in capsys.readouterr().out


def test_sheet_beside_the_plan(capsys):
    assert main(["sheet", "out/plan.json"]) == 1  # the example leaves something to decide
    html = Path("out/sheet.html").read_text("utf-8")
    assert "As it is poured" in html
    assert "size: A4" in html
    assert "out/sheet.html" in capsys.readouterr().out
    assert main(["sheet", "out/plan.json"]) == 2  # not written over unasked
    assert main(["sheet", "out/plan.json", "--paper", "letter", "--out", "s.html", "--casts", "9",
                 "--temperature", "18", "--json", "s.json"]) == 1  # fmt: skip
    letter = Path("s.html").read_text("utf-8")
    assert "size: letter" in letter
    assert "this run: 9 casts" in letter
    assert "at 18 &deg;C" in letter
    assert json.loads(Path("s.json").read_text())["pictures"] is True


def test_sheet_without_a_master(capsys):
    Path("out/master.stl").unlink()
    assert main(["sheet", "out/plan.json"]) == 1
    assert "No pictures" in Path("out/sheet.html").read_text("utf-8")
    assert "No pictures" in capsys.readouterr().out


BAD = [
    (["mix"], "MASTER"),
    (["mix", "0"], "poured volume"),
    (["mix", "-3"], ""),
    (["mix", "nan"], "poured volume"),
    (["mix", "nowhere.json"], "no file nowhere.json"),
    (["mix", "out"], "is a folder"),
    (["mix", "bench.toml"], "is not JSON"),
    (["mix", "out/master.stl"], "master.stl is not JSON, it is no text"),
    (["mix", "heron=a lot"], "'a lot' is no volume in ml"),
    (["mix", "30", "--casts", "1.5"], "'1.5' is not a whole number"),
    (["mix", "30", "--temperature", "warm"], "'warm' is not a number"),
    (["mix", "30", "--casts", "0"], "number of casts"),
    (["mix", "30", "--casts", "1000000"], "number of casts"),
    (["mix", "30", "--casts", "1", "--casts", "2"], "given 2 times for 1"),
    (["mix", "30", "--temperature", "-20"], "temperature_c"),
    (["mix", "30", "--material", "butter"], "no material 'butter'"),
    (["mix", "30", "--materials", "nowhere"], "no folder nowhere"),
    (["mix", "30", "--process", "vacuum", "--vacuum", "29 inHg"], "gauge or absolute"),
    (["mix", "30", "--vacuum", "29 inHg vacuum", "--altitude", "1500"], "cannot be reached"),
    (["mix", "30", "--process", "pressure", "--altitude", "500"], "needs a pressure"),
    (["mix", "30", "--pot-marked", "40 psi gauge"], "never exceeded"),
    (["mix", "30", "--scale", "0"], "scale_step_g"),
    (["mix", "9000"], "cup and scale allow"),
    (["mix", "30", "--bench", "bad.toml"], "bad.toml"),
    (["mix", "30", "--bench", "presets"], "presets is a folder"),
    (["sheet", "nowhere.json"], "no file nowhere.json"),
    (["sheet", "air.json"], "no whole plan"),
    (["sheet", "out/plan.json", "--paper", "a5"], "a5"),
    (["sheet", "out/plan.json", "--casts", "0"], "bench.casts"),
    (["sheet", "out/plan.json", "--out", "out/plan.json", "--force"], "cannot be written over"),
    (["sheet", "out/plan.json", "--log", "out"], "is a folder"),
    (["materials", "--materials", "bench.toml"], "is a file"),
]


@pytest.mark.parametrize(("arguments", "named"), BAD)
def test_bad_input_is_one_line(capsys, arguments, named):
    Path("bad.toml").write_text("[bench]\ncolour = 1\n")
    Path("air.json").write_text('{"schema": 1, "up": [0, 0, -1], "pockets": []}')
    before = tree()
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "this is a bug" not in err
    assert named in err
    assert tree() == before
