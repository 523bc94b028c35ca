"""The catalogue of bases, their settings, and what is said of wrong ones."""

from __future__ import annotations

import dataclasses
import json
import pickle
import re

import pytest

from pourwright.errors import InputError
from pourwright.sprue import BASE_KINDS, CATALOGUE, BaseSettings, FunnelSettings

KINDS = list(CATALOGUE.values())


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.name)
def test_catalogue_says_all_there_is_to_say(kind):
    assert re.fullmatch(r"[a-z]+(_[a-z]+)*", kind.name)
    assert BASE_KINDS[kind.name] == kind.title
    for words in (kind.title, kind.sizes, *(p.help for p in kind.parameters)):
        assert words and not words.endswith(".") and len(words) < 110
    assert kind.good_for.endswith(".")
    assert kind.faces and len(set(kind.faces)) == len(kind.faces)
    assert kind.stands_on in ("table", "soil", "wall")
    assert kind.height_mm > BaseSettings().embed_mm
    common = {f.name for f in dataclasses.fields(BaseSettings)}
    for p in kind.parameters:
        assert p.low <= p.default <= p.high
        assert p.name not in common
        assert p.unit in ("mm", "deg", "")
        assert p.name.endswith(f"_{p.unit}") if p.unit else not p.name.endswith(("_mm", "_deg"))
        assert not p.whole or p.default == int(p.default)
        assert kind.parameter(p.name) is p
    assert kind.parameter("nothing") is None


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.name)
def test_defaults_hold_for_every_kind(kind):
    settings = BaseSettings(kind.name)
    assert settings.top_mm == kind.height_mm
    assert settings.face == kind.faces[0]
    assert all(settings.extra(p.name) == p.default for p in kind.parameters)
    with pytest.raises(KeyError):
        settings.extra("nothing")


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.name)
def test_a_table_comes_back_as_the_same_settings(kind):
    extras = {p.name: p.low for p in kind.parameters}
    settings = BaseSettings(kind.name, width_mm=33.5, seed=9, text="Ab\nc", extras=extras)
    table = settings.table()
    assert "extras" not in table and "depth_mm" not in table
    assert set(extras) <= set(table)
    assert BaseSettings.from_table(table) == settings
    json.dumps(table)
    for name in (kind.name.replace("_", "-"), f" {kind.name.upper()} "):
        assert BaseSettings.from_table({"kind": name}).kind == kind.name


def test_empty_table_is_the_default():
    assert BaseSettings.from_table({}) == BaseSettings()


def test_settings_are_values():
    """Equal whatever way the same extras are given; usable as keys; kept by pickle and JSON."""
    one = BaseSettings("stepped_plinth", extras={"tread_mm": 4, "steps": 5})
    other = BaseSettings("stepped_plinth", extras=(("steps", 5.0), ("tread_mm", 4.0)))
    assert one == other and hash(one) == hash(other)
    assert BaseSettings("stepped_plinth", extras={"steps": 3}) == BaseSettings("stepped_plinth")
    assert pickle.loads(pickle.dumps(one)) == one
    assert dataclasses.replace(one, seed=4).extra("tread_mm") == 4
    json.dumps(dataclasses.asdict(one))


BAD = [
    ({"kind": "mug"}, "There is no base 'mug'; choose one of round-plinth, rectangular-plinth, "),
    ({"kind": 3}, "base.kind"),
    ({"kind": "coin", "steps": 3}, "base.steps is not known"),
    ({"tread_mm": 3}, "base.tread_mm is not known"),
    ({"kind": "stepped_plinth", "steps": 9}, "base.steps is 9; give a number from 2 to 6"),
    ({"kind": "stepped_plinth", "steps": 2.5}, "base.steps is 2.5; give a whole number"),
    ({"kind": "stepped_plinth", "steps": True}, "base.steps"),
    ({"kind": "stepped_plinth", "tread_mm": float("nan")}, "base.tread_mm"),
    ({"kind": "stepped_plinth", "tread_mm": "3"}, "base.tread_mm"),
    ({"seed": -1}, "base.seed"),
    ({"seed": 1.5}, "base.seed is 1.5; give a whole number"),
    ({"seed": 2**32}, "base.seed"),
    ({"seed": "now"}, "base.seed"),
    ({"rounding_mm": -0.1}, "base.rounding_mm"),
    ({"text": 5}, "base.text is 5; give a text in quotes"),
    ({"text": "x" * 201}, "base.text has 201 characters; give 200 at most"),
    ({"text_face": "bottom"}, "base.text_face is 'bottom'; choose one of front, top"),
    ({"text_style": "embossed"}, "base.text_style"),
    ({"text_depth_mm": 0}, "base.text_depth_mm"),
    ({"text_height_mm": -2}, "base.text_height_mm"),
    ({"smallest_line_mm": 0}, "base.smallest_line_mm"),
    ({"kind": "keyring_tag", "height_mm": 1.0}, "base.embed_mm is 1 and base.height_mm is 1"),
    ({"kind": "coin", "embed_mm": 2.4}, "base.height_mm is 2.4"),
    ({"colour": "red"}, "known here are kind, width_mm"),
    ([], "make it a table: [base]"),
    (None, "make it a table"),
]


@pytest.mark.parametrize(("table", "named"), BAD, ids=lambda value: str(value)[:40])
def test_bad_tables_are_named(table, named):
    with pytest.raises(InputError) as caught:
        BaseSettings.from_table(table)
    assert named in str(caught.value)
    assert len(str(caught.value)) < 500


@pytest.mark.parametrize("extras", [5, "steps", [("steps",)], None, {3: 3}, {"hole_mm": 3}])
def test_bad_extras_made_in_code(extras):
    with pytest.raises(InputError, match=r"base\.|extras"):
        BaseSettings("stepped_plinth", extras=extras)


def test_no_neck_wider_than_the_mouth():
    with pytest.raises(InputError, match=r"funnel.neck_mm is 30"):
        FunnelSettings(neck_mm=30)
