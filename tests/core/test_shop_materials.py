from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from pourwright.errors import InputError
from pourwright.shop.materials import default_folder, preset_files, read_materials
from pourwright.shop.resin import part_volumes_ml, resin_named, resins

MINE = """
[fast_cast]
title = "My fast cast"
part_a = "isocyanate part"
part_b = "polyol part"
part_a_density_g_ml = 1.2
part_b_density_g_ml = 1.0
cured_density_g_ml = 1.06
ratio_basis = "weight"
ratio_a = 100
ratio_b = 90
pot_life_min = 2.5
pot_life_at_c = 25
viscosity_mpa_s = 60
price_per_kg = 14.5
source = "data sheet"
"""


def write(folder: Path, **files: str) -> Path:
    for name, text in files.items():
        (folder / f"{name.replace('__', '-')}.toml").write_text(text, "utf-8")
    return folder


def test_own_presets_beside_the_generic_ones(tmp_path):
    found = read_materials(write(tmp_path, resin__mine=MINE, silicone="not = 'read here'"))
    assert list(found) == [*resins(), "fast_cast"]
    mine = found["fast_cast"]
    assert (mine.price_per_kg, mine.pot_life_at_c) == (14.5, 25)
    assert part_volumes_ml(mine, 120.0, 50.0) == pytest.approx((100.0, 50.0))
    assert resin_named("fast_cast", found) is mine
    with pytest.raises(InputError, match="choose one of polyurethane"):
        resin_named("fast_cast")
    assert "fast_cast" not in resins()


def test_own_preset_goes_before_a_generic_one(tmp_path):
    own = MINE.replace("[fast_cast]", "[polyurethane]")
    assert read_materials(write(tmp_path, resins=own))["polyurethane"].ratio_b == 90
    assert read_materials()["polyurethane"].ratio_b == 1


def test_generic_presets_lie_within_their_ranges():
    for resin in resins().values():
        assert {"cured_density_g_ml", "pot_life_min", "viscosity_mpa_s"} <= set(resin.ranges)
        for key, (low, high) in resin.ranges.items():
            assert low <= getattr(resin, key) <= high


def test_volumes_need_both_densities():
    with pytest.raises(InputError, match="volumes are asked for and the density"):
        part_volumes_ml(resin_named("epoxy"), 10.0, 4.0)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("part_a_density_g_ml = 1.2", "part_a_density_g_ml = 0", "fast_cast.part_a_density_g_ml"),
        ("part_a_density_g_ml = 1.2", "part_a_density_g_ml = -1", "fast_cast.part_a_density_g_ml"),
        ("pot_life_at_c = 25", "pot_life_at_c = -40", "fast_cast.pot_life_at_c"),
        ("price_per_kg = 14.5", "price_per_kg = -1", "fast_cast.price_per_kg"),
        ("price_per_kg = 14.5", "price = 3", "fast_cast.price"),
        ("ratio_b = 90", "ratio_b = 'a lot'", "fast_cast.ratio_b"),
        ('source = "data sheet"', "", "lacks source"),
        ('source = "data sheet"', "source = 'x'\n[fast_cast.ranges]\nratio_b = [1, 2]",
         "outside its own range"),
        ('source = "data sheet"', "source = 'x'\n[fast_cast.ranges]\nratio_b = [99, 2]",
         "ranges.ratio_b to"),
        ('source = "data sheet"', "source = 'x'\n[fast_cast.ranges]\nratio_b = 90",
         "ranges.ratio_b is 90"),
        ('source = "data sheet"', "source = 'x'\n[fast_cast.ranges]\nname = [1, 2]",
         "ranges.name"),
        ("[fast_cast]", "[fast_cast", "not valid TOML"),
    ],
)  # fmt: skip
def test_malformed_presets(tmp_path, old, new, named):
    assert old in MINE
    write(tmp_path, resin__mine=MINE.replace(old, new))
    with pytest.raises(InputError) as caught:
        read_materials(tmp_path)
    assert named in str(caught.value)
    assert "resin-mine.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_folders_and_files_that_do_not_do(tmp_path):
    with pytest.raises(InputError, match="no folder"):
        read_materials(tmp_path / "nowhere")
    file = tmp_path / "a_file"
    file.write_text("x")
    with pytest.raises(InputError, match="is a file"):
        read_materials(file)
    write(tmp_path, resin__a=MINE, resin__b=MINE)
    with pytest.raises(InputError, match=r"'fast_cast' is in resin-a\.toml as well"):
        read_materials(tmp_path)
    write(tmp_path, mine=MINE)
    with pytest.raises(InputError, match="does not say what it holds"):
        preset_files(tmp_path, "resin")
    (tmp_path / "mine.toml").unlink()
    (tmp_path / "resin-b.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        read_materials(tmp_path)


def test_default_folder_can_be_named(tmp_path, monkeypatch):
    monkeypatch.setenv("POURWRIGHT_MATERIALS", str(tmp_path))
    assert default_folder() == tmp_path
    monkeypatch.delenv("POURWRIGHT_MATERIALS")
    assert default_folder().parts[-2:] == ("pourwright", "materials")


def test_a_changed_copy_keeps_its_ranges():
    warmer = dataclasses.replace(resin_named("epoxy"), pot_life_min=3.0)
    assert warmer.ranges == resin_named("epoxy").ranges
