"""The pour sheet: its numbers are the plan's, it holds together, and says what is missing."""

from __future__ import annotations

import copy
import re
from html.parser import HTMLParser

import numpy as np
import pytest

from pourwright.errors import InputError
from pourwright.files.log import Bubble, Pour, PourLog
from pourwright.files.plan_json import plan_to_dict
from pourwright.plan.job import Job
from pourwright.sheet import PAPERS, sheet_html
from pourwright.sheet.plan_data import plan_data, value_at
from pourwright.shop.bench import BenchSettings
from pourwright.shop.mixing import MixSettings
from pourwright.shop.process import PROCESSES
from tests.core.example_plan import example_plan

MOULD = {
    "box": {
        "shape": "rectangular", "inner_mm": [61.25, 72.5, 83.75], "fill_line_mm": 83.75,
        "panels": [{"name": "long side", "width_mm": 72.5, "height_mm": 95.5, "count": 2}],
    },
    "trapped_air": [{"peak_mm": [1.0, 2.0, 33.0]}, {"peak_mm": [7, 7, 7], "matters": False}],
    "cut_line": {"path_mm": [[31, -47, -20], [31, -40, 5], [31, -47, 30]], "length_mm": 123.4},
}  # fmt: skip
SILICONE = {
    "box_mm": [61.25, 72.5, 83.75], "volume_ml": 333.3, "to_mix_ml": 383.3, "part_a_g": 400.7,
    "part_b_g": 40.1,
}  # fmt: skip


def example(**values):
    plan = example_plan(**values)
    return plan_to_dict(plan), plan.master.mesh


def text_of(html: str) -> str:
    class Text(HTMLParser):
        def __init__(self):
            super().__init__()
            self.parts, self.skip = [], 0

        def handle_starttag(self, tag, attributes):
            self.skip += tag in ("style", "title")

        def handle_endtag(self, tag):
            self.skip -= tag in ("style", "title")

        def handle_data(self, data):
            if not self.skip:
                self.parts.append(data)

    reader = Text()
    reader.feed(html)
    return " ".join(" ".join(reader.parts).split())


def planned(html: str) -> dict[str, str]:
    return dict(re.findall(r'<b data-key="([^"]+)">([^<]+)</b>', html))


def test_every_planned_number_is_the_plans():
    plan, mesh = example()
    plan |= {"mould": MOULD, "silicone": SILICONE}
    found = planned(sheet_html(plan, mesh))
    assert {"resin.poured_ml", "resin.part_a_g", "resin.part_b_g", "silicone.part_a_g",
            "silicone.volume_ml", "master.size_mm.0", "figure.volume_mm3",
            "process.cure_kpa_absolute"} <= set(found)  # fmt: skip
    for key, shown in found.items():
        value = value_at(plan, key) * (0.001 if key == "figure.volume_mm3" else 1)
        decimals = len(shown.partition(".")[2])
        assert float(shown) == pytest.approx(value, abs=0.51 * 10**-decimals)
        assert float(shown) != 0


def test_rods_and_gates_are_all_listed():
    plan, mesh = example()
    words = text_of(sheet_html(plan, mesh))
    # Two pieces with a bend of 56 degrees, as the plan's report has it.
    assert "7.2 ∠ 56 ° 21.0 34 0" in words.replace("∠", "∠ ").replace("°", " °")
    assert "2 0.8 4.0 12 62" in words or "2 0.8 4.0 12 61" in words
    plan["gates"] = [{"path_mm": [[0, 0, 0], [0, 0, 9]], "diameter_mm": 5.0, "length_mm": 9.0}]
    assert "G1 5.0 9.0 0 0" in text_of(sheet_html(plan, mesh))


def test_mould_sections_appear_when_there_is_a_mould():
    plan, mesh = example()
    without = text_of(sheet_html(plan, mesh))
    assert "long side" not in without
    assert "Fill line mm" in without  # a blank to fill
    assert "dash-dot" not in without.lower()
    plan |= {"mould": MOULD, "silicone": SILICONE}
    words = text_of(sheet_html(plan, mesh))
    for said in ("long side 72.5 95.5 2", "61.2 x 72.5 x 83.8 mm", "400.7", "40.1", "Dash-dot: cut",
                 "123 mm", "(1, 2, 33)", "cup of 1533 ml"):  # fmt: skip
        assert said in words
    assert "(7, 7, 7)" not in words
    assert 'class="cut"' in sheet_html(plan, mesh)


def test_it_needs_nothing_from_elsewhere():
    plan, mesh = example()
    html = sheet_html(plan, mesh)
    for attribute in re.findall(r'(?:src|href)="([^"]*)"', html):
        assert attribute.startswith("data:image/png;base64,")
    assert "<script" not in html
    assert "<link" not in html
    assert "url(" not in html.replace("url(#tight)", "")
    assert "@import" not in html


def test_both_papers_and_nothing_random():
    plan, mesh = example()
    for name, paper in PAPERS.items():
        html = sheet_html(plan, mesh, paper=name)
        assert f"size: {paper.name};" in html
        assert html == sheet_html(plan, mesh, paper=name)
        widths = [float(w) for w in re.findall(r'<svg[^>]* width="([\d.]+)mm"', html)]
        assert len(widths) == 3
        assert widths[0] + widths[1] <= paper.print_width_mm
        heights = [float(h) for h in re.findall(r'<svg[^>]* height="([\d.]+)mm"', html)]
        assert max(heights[:2]) <= 0.42 * paper.height_mm + 0.01
    with pytest.raises(InputError, match="paper"):
        sheet_html(plan, mesh, paper="a5")


def test_names_cannot_become_markup():
    plan, mesh = example()
    plan["figure"]["name"] = '<script>alert("x")</script>'
    plan["warnings"][0]["message"] = "a <b>bold</b> & bad"
    html = sheet_html(plan, mesh)
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert "a &lt;b&gt;bold&lt;/b&gt; &amp; bad" in html


def test_without_a_master_it_says_so():
    plan, _ = example()
    words = text_of(sheet_html(plan, None))
    assert "No pictures: the master's file was not beside the plan" in words
    assert "As it stands" not in words


def test_another_master_is_refused():
    plan, mesh = example()
    with pytest.raises(InputError, match="belongs to the plan"):
        sheet_html(plan, mesh.__class__(mesh.vertices * 1.01, mesh.faces))


def test_the_pour_picture_is_turned_over():
    plan, mesh = example()
    html = sheet_html(plan, mesh)
    assert html.count('class="vent"') == len(plan["vents"]) + len(plan.get("gates", [])) >= 2
    assert html.count('class="pocket"') == 2  # of three pockets two matter
    assert ">pour</text>" in html
    assert "As it is poured" in html


def test_air_that_is_left_is_to_be_decided():
    plan, mesh = example()
    assert "no air pocket would leave" in text_of(sheet_html(plan, mesh))
    plan["pockets_after"][0]["matters"] = True
    html = sheet_html(plan, mesh)
    assert "TO DECIDE: 1 air pocket of the finished master" in text_of(html)
    assert 'class="left"' in html
    assert "no air pocket would leave" not in html


def test_casts_and_times_come_from_the_bench():
    plan, mesh = example(job=Job(process=PROCESSES["open"]))
    few = text_of(sheet_html(plan, mesh))
    assert "1 cast in 1 mix" in few
    assert "Vessels" not in few
    settings = BenchSettings(mix=MixSettings(margin=0.9), casts=7, moulds=2)
    many = text_of(sheet_html(plan, mesh, bench=settings))
    assert "7 casts in 4 mixes" in many
    assert "2 casts 99.0" in many  # two of 45 ml with the plan's own margin of 10 %
    plan["job"]["bench"] = {"casts": 3, "temperature_c": 10}
    cold = text_of(sheet_html(plan, mesh))
    assert "at 10 °C the resin gels in 7.39 min" in cold
    assert "3 casts in 3 mixes" in cold


def test_vessels_are_told_with_their_cautions():
    plan, mesh = example()
    words = text_of(sheet_html(plan, mesh))
    assert "Marked maximum on the pot's nameplate:" in words
    for said in ("Never PVC", "Isocyanate", "Hearing", "hearing protection", "Cut away from you",
                 "hazard to reproduction", "Nothing on this sheet says"):  # fmt: skip
        assert said.lower() in words.lower()
    assert "Shield your face" not in words  # no vacuum in this process
    settings = BenchSettings(pot_marked_most="30 psig")
    with pytest.raises(InputError, match="never exceeded"):
        sheet_html(plan, mesh, bench=settings)


def test_the_log_is_told():
    plan, mesh = example()
    first = plan["vents"][0]["path_mm"][0]
    log = PourLog((Pour("2026-11-25T14:30", "figure.stl", casts=2, note="<odd>",
                        bubbles=(Bubble(tuple(first)),)),), ())  # fmt: skip
    words = text_of(sheet_html(plan, mesh, log=log))
    assert "1 pour in the log, 2 casts" in words
    assert "2026-11-25T14:30" in words
    assert text_of(sheet_html(plan, mesh, log=PourLog((), ()))) == text_of(sheet_html(plan, mesh))


def test_a_preset_that_has_changed_is_told():
    plan, mesh = example()
    assert "preset has changed" not in sheet_html(plan, mesh)
    plan["resin"]["part_a_g"] *= 1.05
    assert "preset has changed" in sheet_html(plan, mesh)


@pytest.mark.parametrize(
    ("path", "value", "named"),
    [
        ("resin.poured_ml", 0, "resin.poured_ml"),
        ("resin.poured_ml", "much", "resin.poured_ml"),
        ("resin.margin", -1, "resin.margin"),
        ("resin.material", "butter", "butter"),
        ("resin", None, "resin.material"),
        ("process.cure_kpa_absolute", -3, "cure_kpa"),
        ("vents", {}, "vents"),
        ("vents", [{"path_mm": [[0, 0]]}], "vents[0]"),
        ("vents", [{"kind": "rod", "path_mm": [[0, 0, 0]]}], "no length"),
        ("pockets", [{"matters": True}], "peak_mm"),
        ("up", [0, 0, 0], "up"),
        ("master.size_mm", [1], "master.size_mm"),
        ("silicone", [1], "silicone"),
        ("silicone", {"box_mm": [1, 2]}, "box_mm"),
        ("silicone", {"box_mm": [50, 50, 50]}, "silicone"),
        ("mould", {"cut_line": {"path_mm": [[1, 2]]}}, "cut_line"),
        ("job", {"bench": {"casts": 0}}, "bench.casts"),
        ("job", {"bench": {"temperature_c": -20}}, "temperature_c"),
    ],
)
def test_damaged_plans_name_the_key(path, value, named):
    plan, mesh = example()
    plan = copy.deepcopy(plan)
    *tables, last = path.split(".")
    place = plan
    for table in tables:
        place = place[table]
    place[last] = value
    with pytest.raises(InputError) as caught:
        sheet_html(plan, mesh)
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)


def test_ten_thousand_casts_and_many_rods_still_make_a_sheet():
    plan, mesh = example()
    plan |= {"vents": [plan["vents"][0]] * 200, "gates": []}
    words = text_of(sheet_html(plan, mesh, bench=BenchSettings(casts=10_000, moulds=3)))
    assert "140 more are in rods.csv" in words
    assert "10000 casts in" in words
    assert len(plan_data(plan).rods) == 200


def test_any_way_up():
    for up in ((0, 0, -1), (1, 0, 0), (0, -1, 0), (0.3, -0.5, 0.8)):
        plan, mesh = example(up=tuple(np.array(up) / np.linalg.norm(up)))
        height = np.ptp(mesh.vertices @ (np.array(up) / np.linalg.norm(up)))
        assert f"{height:.1f} mm high" in text_of(sheet_html(plan, mesh))
