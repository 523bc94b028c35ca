"""Drawings of bases, and the guide that shows them."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from pourwright.errors import InputError
from pourwright.solid.mesh import concatenate
from pourwright.sprue import CATALOGUE, BaseSettings, forms
from pourwright.sprue.picture import _visible_edges, base_picture

DOCS = Path(__file__).resolve().parents[2] / "docs"
SVG = "{http://www.w3.org/2000/svg}"


def drawn(svg):
    """Outline, strokes and figure as lists of point runs."""
    paths = ET.fromstring(svg).findall(f"{SVG}path")
    assert len(paths) == 3
    return [
        [np.array([p.split() for p in run.rstrip("Z").split("L")], dtype=float)
         for run in path.get("d").split("M")[1:]]
        for path in paths
    ]  # fmt: skip


@pytest.mark.parametrize("kind", CATALOGUE)
def test_drawing_is_small_and_within_its_frame(kind):
    svg = base_picture(kind)
    root = ET.fromstring(svg)
    assert root.find(f"{SVG}title").text == CATALOGUE[kind].title
    assert len(svg) < 30_000
    width, height = (float(root.get(n)) for n in ("width", "height"))
    assert max(width, height) == pytest.approx(240, abs=1)
    outline, strokes, figure = drawn(svg)
    assert len(outline) == 1 or kind == "keyring_tag" or kind == "wall_hook"
    assert len(strokes) >= 1 and len(figure) == 1
    for runs in (outline, strokes, figure):
        points = np.vstack(runs)
        assert points.min() >= 7.5 and (points.max(axis=0) <= [width - 7.4, height - 7.4]).all()
    assert base_picture(kind) == svg


def test_every_drawing_is_another():
    assert len({base_picture(kind) for kind in CATALOGUE}) == len(CATALOGUE)
    lettered = base_picture("name_plate", BaseSettings("name_plate", text="Ox"))
    assert len(lettered) > len(base_picture("name_plate"))


def test_a_block_is_drawn_as_a_block():
    """Nine of a block's twelve edges are seen: six round it, three that meet in front."""
    base = BaseSettings("rectangular_plinth", width_mm=30, depth_mm=30, draft_deg=0,
                        extras={"corner_mm": 0.2}, text="")  # fmt: skip
    outline, strokes, _ = drawn(base_picture("rectangular_plinth", base))
    corners = forms.convex_outline(np.vstack(outline))
    turn = np.roll(corners, -1, axis=0) - corners
    length = np.linalg.norm(turn, axis=1)
    assert (length > 20).sum() == 6  # the rest are its blunted corners
    drawn_mm = sum(np.linalg.norm(np.diff(run, axis=0), axis=1).sum() for run in strokes)
    # The outline's own edges are among the strokes; the three inner ones come on top, each as
    # long as one of them (the upright one is drawn twice, on both sides of its blunt corner).
    assert 1.3 * length.sum() < drawn_mm < 1.75 * length.sum()


def test_hidden_edges_are_left_out():
    """Seen along Z, a plate hides a block behind it, all or in part."""
    plate = forms.box((0, 0, 0), (20, 20, 1))
    behind, beside = forms.box((4, 4, -9), (8, 8, -5)), forms.box((15, 5, -9), (26, 9, -5))
    alone = _visible_edges(plate)
    assert total(alone) == pytest.approx(80, abs=1)
    assert total(_visible_edges(concatenate([plate, behind]))) == pytest.approx(total(alone))
    both = total(_visible_edges(concatenate([plate, beside])))
    # Two lengths of 6 mm and the end of 4 mm look out from under the plate.
    assert both - total(alone) == pytest.approx(6 + 6 + 4, abs=1.5)


def total(runs):
    return sum(np.linalg.norm(np.diff(run, axis=0), axis=1).sum() for run in runs)


def test_unknown_kind():
    with pytest.raises(InputError, match="choose one of"):
        base_picture("mug")


def test_the_guide_lists_every_base_with_its_parameters():
    text = (DOCS / "bases.md").read_text(encoding="utf-8")
    for kind in CATALOGUE.values():
        section = text.split(f"### {kind.name.replace('_', '-')}\n")[1].split("\n### ")[0]
        assert kind.title in section and kind.good_for in section and kind.sizes in section
        assert f"pictures/bases/{kind.name}.svg" in section
        for p in kind.parameters:
            assert f"| `{p.name}` | {p.default:g} | {p.low:g} | {p.high:g} | {p.help} |" in section
        root = ET.parse(DOCS / "pictures" / "bases" / f"{kind.name}.svg").getroot()
        assert root.find(f"{SVG}title").text == kind.title
    assert (DOCS / "pictures" / "bases" / "sheet.png").stat().st_size > 50_000
