"""The picture of the directions, and the report and data of a search."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from pose_bodies import pose_body

from pourwright.errors import GeometryError
from pourwright.files.json_data import to_json
from pourwright.files.pose_json import pose_to_dict
from pourwright.files.pose_svg import RAMP, pose_svg
from pourwright.pose.directions import cone_directions
from pourwright.pose.model import Pose, PoseReport, Terms
from pourwright.pose.settings import PoseSettings, PoseWeights
from pourwright.report import pose_report
from pourwright.shop.process import PROCESSES

SVG = "{http://www.w3.org/2000/svg}"
TERMS = Terms(2, 0.5, 3, 61.4, 75.25, 22.0, 0.0, 0.0)


def pose(up, score: float = 10.0, **terms) -> Pose:
    x, y, z = np.asarray(up, dtype=float) / np.linalg.norm(up)
    tilt = float(np.degrees(np.arccos(np.clip(-z, -1, 1))))
    return Pose((x, y, z), tilt, replace(TERMS, **terms), score, ("2 rods fewer than standing",))


def report(ups=((0.2, 0.1, 1.0), (1, 0.4, -0.3)), *, count: int = 200, **settings) -> PoseReport:
    """A search that was never run: points grow with the angle from (0, 0, 1)."""
    chosen = PoseSettings(**settings)
    directions = cone_directions(chosen.axis, chosen.cone_deg, count)
    standing = pose(chosen.axis, 90.0)
    return PoseReport(
        settings=chosen,
        poses=tuple(pose(up, 10.0 + i) for i, up in enumerate(ups)),
        standing=replace(standing, reasons=("the standing pose",)),
        directions=directions,
        scores=10.0 + 40.0 * (1.0 - directions[:, 2]),
        process=PROCESSES["open"],
        embed_mm=1.0,
    )


def drawn(search: PoseReport, name: str = "heron.stl") -> ElementTree.Element:
    return ElementTree.fromstring(pose_svg(search, name))


def texts(picture: ElementTree.Element) -> list[str]:
    return ["".join(t.itertext()) for t in picture.iter(f"{SVG}text")]


def discs(picture: ElementTree.Element) -> list[tuple[float, float, float]]:
    """Middle and radius of each disc."""
    return [
        tuple(float(c.get(k)) for k in ("cx", "cy", "r"))
        for clip in picture.iter(f"{SVG}clipPath")
        for c in clip
    ]


def marks(picture: ElementTree.Element) -> dict[str, tuple[float, float]]:
    found = {}
    for group in picture.iter(f"{SVG}g"):
        if group.get("class") == "pose":
            circle = group.find(f"{SVG}circle")
            label = group.find(f"{SVG}text").text
            found[label] = float(circle.get("cx")), float(circle.get("cy"))
        if group.get("class") == "standing":
            x, y = map(float, re.match(r"M([\d.]+) ([\d.]+)", group[0].get("d")).groups())
            found["S"] = x, y + 19
    return found


def test_marks_stand_where_the_poses_are():
    """Both discs in Lambert's projection: 2 sin(angle / 2) from the middle, sqrt(2) at the rim."""
    ups = [(0, 0, 1), (0, 1, 1), (1, 0, 0.1), (0, -1, -0.5), (0.02, 0.3, -1)]
    picture = drawn(report(ups))
    first, second = discs(picture)
    found = marks(picture)
    assert set(found) == {"S", "1", "2", "3", "4", "5"}
    assert found["S"] == pytest.approx(first[:2], abs=0.1)
    assert found["1"] == pytest.approx(second[:2], abs=0.1)
    for name, up, disc in (("2", ups[1], second), ("3", ups[2], second),
                           ("4", ups[3], first), ("5", ups[4], first)):  # fmt: skip
        x, y, z = np.asarray(up) / np.linalg.norm(up)
        dx, dy = found[name][0] - disc[0], found[name][1] - disc[1]
        angle = np.arccos(abs(z))
        assert np.hypot(dx, dy) / disc[2] == pytest.approx(
            2 * np.sin(angle / 2) / np.sqrt(2), abs=2e-3
        )
        # Seen from outside, the back up on the page: from below +X is on the left.
        side = 1 if disc is second else -1
        assert np.arctan2(-dy, side * dx) == pytest.approx(np.arctan2(y, x), abs=0.02)


def test_cells_have_equal_areas_and_the_right_colours():
    search = report(count=400)
    picture = drawn(search)
    groups = [g for g in picture.iter(f"{SVG}g") if "clip-path" in g.attrib]
    for group, (cx, cy, r) in zip(groups, discs(picture), strict=True):
        inner = []
        for cell in group.iter(f"{SVG}polygon"):
            corners = np.array([p.split(",") for p in cell.get("points").split()], dtype=float)
            if np.hypot(*(corners - [cx, cy]).T).max() < 0.95 * r:
                x, y = corners.T
                area = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2
                inner.append(area)
        assert len(inner) > 100
        assert np.mean(inner) == pytest.approx(2 * np.pi * r**2 / 400, rel=0.02)
        assert max(inner) < 1.6 * np.mean(inner)
    lightest = [c.get("fill") for g in groups[1:] for c in g.iter(f"{SVG}polygon")].count(RAMP[0])
    assert lightest >= 4
    assert RAMP[0] not in [c.get("fill") for c in groups[0].iter(f"{SVG}polygon")]


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (IEC 61966-2-1, weights of ITU-R BT.709)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def test_ramp_is_told_apart_by_lightness_alone():
    """In steps of CIE L*, which a black and white print keeps; red-green counts for nothing."""
    light = [116 * luminance(c) ** (1 / 3) - 16 for c in RAMP]
    steps = -np.diff(light)
    assert steps.min() > 7.5
    assert steps.max() < 2 * steps.min()
    # Dichromats keep the way from yellow to blue: blue over the others only ever grows.
    blue = [int(c[5:7], 16) - int(c[3:5], 16) for c in RAMP]
    assert blue[0] < -25
    assert blue[-1] > 25


def test_legend_and_words():
    search = report()
    picture = drawn(search, "heron & <log>.stl")
    words = texts(picture)
    assert any("Which way up: heron & <log>.stl" in w for w in words)
    for side in ("underside (-Z)", "top (+Z)", "front (-Y)", "back (+Y)", "left (-X)",
                 "right (+X)"):  # fmt: skip
        assert side in words
    assert "Middle: as it stands, underside (-Z) up" in words
    assert "Middle: that turned right over, top (+Z) up" in words
    assert any(w.startswith("Circles: best poses, 1 first. Diamond S: as it stands") for w in words)
    assert "10 points: 2 pockets, 3 rods, 75 mm high, tilted 167°" in words
    swatches = [r for r in picture.iter(f"{SVG}rect") if r.get("class") == "class"]
    fills = [r.get("fill") for r in swatches]
    assert fills == list(RAMP[: len(fills)])
    assert 3 <= len(fills) <= len(RAMP)
    limits = [float(n) for w in words for n in re.findall(r"^(?:under|over) ([\d.]+)$", w)]
    assert limits == sorted(limits)
    assert len(limits) == 2


def test_picture_is_whole_in_itself():
    data = pose_svg(report(), "heron")
    text = data.decode("utf-8")
    assert not re.search(r"href|http(?!://www\.w3\.org/2000/svg)|<script|<image|@import", text)
    assert "nan" not in text
    assert data == pose_svg(report(), "heron")
    width, height = (float(v) for v in re.search(r"viewBox='0 0 (\d+) (\d+)'", text).groups())
    for element in drawn(report()).iter(f"{SVG}text"):
        size, x = float(element.get("font-size")), float(element.get("x"))
        reach = 0.5 * size * len("".join(element.itertext()))
        anchor = element.get("text-anchor")
        left = x - {"start": 0.0, "middle": reach / 2, "end": reach}[anchor]
        assert left > -5
        assert left + reach < width + 5
        assert 0 < float(element.get("y")) < height


@pytest.mark.parametrize("cone_deg", [0.0, 5.0, 40.0, 90.0])
def test_narrow_cone_fills_one_disc(cone_deg):
    edge = np.radians(cone_deg)
    up = (np.sin(edge), 0.0, -np.cos(edge))
    picture = drawn(report([up], cone_deg=cone_deg, count=50))
    ((x, y, r),) = discs(picture)
    found = marks(picture)
    assert found["S"] == pytest.approx((x, y), abs=0.1)
    assert np.hypot(found["1"][0] - x, found["1"][1] - y) == pytest.approx(
        r if cone_deg else 0.0, abs=0.5
    )
    assert any("The disc holds the directions that were asked for." in w for w in texts(picture))


def test_wide_cone_leaves_the_rest_white():
    picture = drawn(report([(1, 0, 0.1)], cone_deg=120.0))
    assert "not tried" in texts(picture)
    _, (x, _, r) = discs(picture)
    blank = next(c for c in picture.iter(f"{SVG}circle") if c.get("fill") == "white"
                 and float(c.get("cx")) == x and float(c.get("r")) > 20)  # fmt: skip
    expected = r * 2 * np.sin(np.radians(30)) / np.sqrt(2)
    assert float(blank.get("r")) == pytest.approx(expected, abs=1)


def test_other_axis_is_not_called_standing():
    words = texts(drawn(report(axis=(0, 1, 0.001))))
    assert "Middle: as asked for, back (+Y) up" in words
    assert "Middle: that turned right over, front (-Y) up" in words
    oblique = texts(drawn(report(axis=(0.5, 1, 0.3))))
    assert "Middle: as asked for, back (+Y) nearly up" in oblique


def test_all_directions_alike_and_odd_names():
    search = report()
    flat = replace(search, scores=np.full(len(search.scores), 10.0))
    cells = {c.get("fill") for c in drawn(flat).iter(f"{SVG}polygon")}
    assert cells == {RAMP[0]}
    words = texts(drawn(search, "a\x00\udcff\n" + "x" * 300))
    assert any(w.startswith("Which way up: a??") and w.endswith("...") for w in words)


def test_only_as_many_poses_are_marked_as_are_listed():
    ups = [(np.cos(a), np.sin(a), 0.3) for a in np.linspace(0, 5, 12)]
    found = marks(drawn(report(ups)))
    assert set(found) == {"S", *map(str, range(1, 9))}


def test_report_of_a_search():
    search = report()
    _, solid = pose_body(5)
    text = pose_report(search, solid, ["body.stl"])
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 100
    assert "Tried    200 directions all round" in text
    lines = text.splitlines()
    head = next(i for i, line in enumerate(lines) if " tilt " in line)
    assert lines[head].split() == [
        "tilt", "points", "pockets", "air", "rods", "rod", "height", "board"
    ]  # fmt: skip
    assert lines[head + 1].split() == ["deg", "mm3", "mm", "mm", "cm2"]
    assert lines[head + 2].split() == [
        "1", "167.4", "10.00", "2", "0.50", "3", "61", "75.2", "22.0"
    ]  # fmt: skip
    assert lines[head + 3].strip() == (
        "--up 0.1952,0.0976,0.9759: 2 rods fewer than standing"
    )
    assert lines[head + 6].split()[:3] == ["standing", "0.0", "90.00"]
    assert lines[head + 7].strip() == "--up 0,0,-1: the standing pose"
    assert "Written" not in text


def test_report_names_the_columns_that_matter():
    search = report(pot_height_mm=60.0)
    touched = replace(search, standing=pose((0, 0, -1), 90.0, protected=0.5, misfit_mm=15.25))
    text = pose_report(touched, pose_body(5)[1], ["a" * 40, "b" * 40])
    rows = [line.split() for line in text.splitlines()]
    assert next(r for r in rows if r[:1] == ["tilt"])[-3:] == ["protected", "too", "big"]
    assert next(r for r in rows if r[:1] == ["standing"])[-2:] == ["0.50", "15.2"]
    assert max(map(len, text.splitlines())) <= 100


def test_json_keeps_its_promises():
    data = json.loads(to_json(pose_to_dict(report(weights=PoseWeights(rod=7.0)))))
    assert [p["up"] for p in data["poses"]] == [
        pytest.approx(p.up, abs=1e-11) for p in report().poses
    ]
    first = data["poses"][0]
    assert {k: first[k] for k in ("score", "pockets", "residual_mm3", "height_mm")} == {
        "score": 10.0, "pockets": 2, "residual_mm3": 0.5, "height_mm": 75.25,
    }  # fmt: skip
    assert data["weights"]["rod"] == 7.0
    assert data["sweep"] == {
        "directions": 200, "left_out": 0, "cone_deg": 180.0, "axis": [0.0, 0.0, -1.0],
    }  # fmt: skip
    assert data["process"]["residual_factor"] == 1.0
    assert data["pot"] == {"height_mm": None, "diameter_mm": None}
    with pytest.raises(GeometryError):
        to_json(pose_to_dict(report([(1, 0, 0)])) | {"x": float("nan")})
