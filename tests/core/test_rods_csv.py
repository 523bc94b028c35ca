"""The cut list, as a spreadsheet reads it."""

from __future__ import annotations

import csv
import dataclasses
import io
import json

from pourwright.files.plan_json import plan_to_dict, to_json
from pourwright.files.rods_csv import HEADER, rods_csv
from pourwright.plan.job import Job
from pourwright.plan.model import PourPlan
from pourwright.vents.settings import Vent, VentSettings
from tests.core.example_plan import example_plan


def bytes_of(plan: PourPlan) -> bytes:
    return rods_csv(plan_to_dict(plan))


def read(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))


def test_one_row_per_rod_counted_from_one():
    first, second, gate = read(bytes_of(example_plan()))
    assert first == {
        "rod": "1",
        "kind": "rod",
        "diameter (mm)": "1.50",
        "neck at figure (mm)": "1.00",
        "length (mm)": "28.2",
        "pieces (mm)": "7.2 + 21.0",
        "bend at joints (deg)": "56",
        "cut at figure end (deg off square)": "34",
        "cut at other end (deg off square)": "0",
        "from x (mm)": "1.0",
        "from y (mm)": "2.0",
        "from z (mm)": "-5.0",
        "to x (mm)": "1.0",
        "to y (mm)": "8.0",
        "to z (mm)": "-30.0",
        "pockets": "1, 2",
    }
    assert list(second.values()) == [
        "2", "bridge", "0.80", "0.80", "4.0", "4.0", "", "12", "62", "4.0", "0.0", "-5.0",
        "4.0", "0.0", "-9.0", "3",
    ]  # fmt: skip
    assert list(gate.values()) == [
        "1", "gate", "3.20", "2.56", "16.7", "5.7 + 11.0", "45", "21", "0", "-3.0", "0.0", "5.0",
        "-3.0", "4.0", "-10.0", "",
    ]  # fmt: skip


def test_bytes_are_as_the_rfc_says():
    data = bytes_of(example_plan())
    lines = data.split(b"\r\n")
    assert lines[-1] == b""
    assert [b"\n" in line or b"\r" in line for line in lines] == [False] * 5
    assert lines[0] == ",".join(HEADER).encode()
    assert lines[1].endswith(b',"1, 2"')
    assert lines[2].endswith(b",3")
    assert lines[3].startswith(b"1,gate,") and lines[3].endswith(b",")


def test_many_joints():
    path = ((0, 0, 0), (0, 0, 10.0), (10.0, 0, 20.0), (10.0, 0, 30.0))
    vent = Vent("rod", path, 2.0, 34.142, 2.0, (0, 10), 1.0, 2.0)
    (row,) = read(bytes_of(dataclasses.replace(example_plan(), vents=(vent,), gates=())))
    assert row["pieces (mm)"] == "10.0 + 14.1 + 10.0"
    assert row["bend at joints (deg)"] == "45, 45"
    assert row["pockets"] == "1, 11"


def test_without_rods_there_is_the_header_alone():
    data = bytes_of(dataclasses.replace(example_plan(), vents=(), gates=()))
    assert data == ",".join(HEADER).encode() + b"\r\n"


def test_neck_is_that_of_the_job():
    plan = example_plan(job=Job(vents=VentSettings(neck_mm=0.6)))
    assert [row["neck at figure (mm)"] for row in read(bytes_of(plan))] == ["0.60", "0.60", "2.56"]


def test_data_of_a_plan_made_before_there_were_gates():
    data = plan_to_dict(example_plan())
    del data["gates"]
    assert [row["kind"] for row in read(rods_csv(data))] == ["rod", "bridge"]


def test_the_data_of_a_plan_read_back_gives_the_same():
    plan = example_plan()
    assert rods_csv(json.loads(to_json(plan_to_dict(plan)))) == bytes_of(plan)
