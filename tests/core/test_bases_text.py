"""Text on bases: every letter sound, no line too fine, on every face, and what does not fit."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from PIL import Image, ImageDraw
from scipy import ndimage
from shapes import as_mesh, box
from test_bases import DOWN, FIGURE, master_of, pockets_of

from pourwright.errors import InputError
from pourwright.solid import boolean
from pourwright.solid.topology import is_watertight
from pourwright.sprue import CATALOGUE, BaseSettings, FunnelSettings, build_sprue, forms
from pourwright.sprue.builders import BUILDERS
from pourwright.sprue.inscribe import letters_on
from pourwright.sprue.lettering import lay_out, letters, lines_of
from pourwright.sprue.model import Face
from pourwright.sprue.site import site_under

WIDE = as_mesh(box((-12, -9, 0), (12, 9, 40)))
OPEN = FunnelSettings(enabled=False)
FACES = [(kind.name, face) for kind in CATALOGUE.values() for face in kind.faces]
ASCII = [chr(c) for c in range(0x21, 0x7F)]
# Plate whose face bears no disturbance: 60 by 20 mm.
PLATE = {"kind": "rectangular_plinth", "width_mm": 60.0, "depth_mm": 30.0, "height_mm": 21.0,
         "draft_deg": 0.0}  # fmt: skip


@cache
def plate(**more):
    return build_sprue(WIDE, BaseSettings(**(PLATE | more)), OPEN)


def area(loops):
    total = 0.0
    for x, y in (loop.T for loop in loops):
        total += float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)
    return total


def test_latin_is_there_and_more():
    found = set(letters().characters)
    latin = {chr(c) for c in (*range(0x20, 0x7F), *range(0xA1, 0xAD), *range(0xAE, 0x180))}
    assert latin <= found
    assert set("ŐőȘșȚțẞĳǅ€„“”\u2019\u2013—…№ΩжЩ→★") - found <= {"ẞ", "ǅ"}
    assert len(found) > 800


def test_every_letter_is_sound():
    """Outlines that neither cross nor touch themselves or each other, filled exactly once."""
    for character in letters().characters:
        glyph = letters().glyph(character)
        if not glyph.loops:
            assert character.isspace()
            continue
        body = forms.prism(glyph.loops, 0.0, 1.0, character)
        assert is_watertight(body), character
        plain = area(glyph.loops)
        assert plain > 0, character
        assert body.volume_mm3 == pytest.approx(plain, rel=1e-9), character
        united = boolean.offset_outlines(list(glyph.loops))
        assert area(united) == pytest.approx(plain, abs=1e-6), character
        assert len(united) == len(glyph.loops), character
        assert glyph.advance > 0


def picture(loops, per_em=500):
    points = np.vstack(loops)
    low = points.min(axis=0) - 0.25
    size = ((points.max(axis=0) + 0.25 - low) * per_em).astype(int)
    image = Image.new("1", tuple(int(n) for n in size))
    pen = ImageDraw.Draw(image)
    for loop in sorted(loops, key=lambda p: -abs(area([p]))):
        pen.polygon([tuple(p) for p in (loop - low) * per_em], fill=area([loop]) > 0)
    return np.array(image)


def counts(mask):
    """Parts of the ink and of the paper, but for crumbs of a few pixels."""
    return tuple(
        int((np.bincount(ndimage.label(m, np.ones((3, 3)) * c)[0].ravel())[1:] > 40).sum())
        for m, c in ((mask, 1), (~mask, 1))
    )


@pytest.mark.parametrize("character", ASCII[::5] + list("äßÇŐØŁæ"))
def test_finest_line_and_gap_by_pixels(character):
    """Worn by less than its line, or closed by less than its gap, a letter keeps its parts.

    Reference: scipy's Euclidean distance transform of the letter drawn by Pillow, 500 pixels to
    the em; lines and gaps were measured on the outlines.
    """
    glyph = letters().glyph(character)
    ink = picture(glyph.loops)
    for mask, width in ((ink, glyph.line), (~ink, glyph.gap)):
        depth = ndimage.distance_transform_edt(mask) / 500
        assert counts(depth > 0.88 * width / 2) == counts(mask)


@pytest.mark.parametrize(("character", "kind"), [*((c, "line") for c in "HEmaLT8"),
                                                 *((c, "gap") for c in "i8e!jé")])  # fmt: skip
def test_more_wears_a_letter_through(character, kind):
    """The stored widths are no mere lower bounds."""
    glyph = letters().glyph(character)
    ink = picture(glyph.loops)
    mask, width = (ink, glyph.line) if kind == "line" else (~ink, glyph.gap)
    depth = ndimage.distance_transform_edt(mask) / 500
    assert counts(depth > 1.1 * width / 2) != counts(mask)


def test_letters_that_casters_write_are_strong():
    for character in ASCII:
        glyph = letters().glyph(character)
        if character not in "@$":
            assert min(glyph.line, glyph.gap) >= 0.08, character


def test_neighbours_keep_apart():
    """Beside each other, and accents from the line above."""
    for lines in (("fjTAVATj¡'ÎÏ", "gyÅÄÖ"), ("jgpqj", "ẲỖĜẲẪ"), ("", "a", "", "b")):
        layout = lay_out(lines)
        grown = boolean.offset_outlines(list(layout.loops), 0.045)
        outer = [p for p in layout.loops if area([p]) > 0]
        assert len([p for p in grown if area([p]) > 0]) == len(outer)


def test_lines_are_composed_and_trimmed():
    assert lines_of("  Ru\u0308be \t 2\r\n\u00a0Beet ") == ("Rübe 2", "Beet")
    assert lines_of(" \n ") == ("",)


@pytest.mark.parametrize("style", ["cut", "raised"])
def test_volume_of_letters(style):
    """On a level plate letters change the volume by their area times their depth."""
    bare, lettered = plate(), plate(text="Heron 12", text_style=style, text_depth_mm=0.8)
    layout = lay_out(("Heron 12",))
    em = lettered.facts.lettering.capital_mm / letters().capital
    change = area(layout.loops) * em * em * 0.8
    sign = -1 if style == "cut" else 1
    found = lettered.facts.volume_mm3 - bare.facts.volume_mm3
    assert found == pytest.approx(sign * change, rel=1e-6)


@pytest.mark.parametrize(("kind", "face"), FACES)
def test_every_face_takes_text(kind, face):
    """Cut takes away, raised adds; both are one drained body whose letters stand on the face."""
    funnel = FunnelSettings(height_mm=30)
    volumes = []
    for style, depth in (("cut", 0.5), ("raised", 0.5)):
        base = BaseSettings(kind, text="HO", text_face=face, text_style=style,
                            text_depth_mm=depth, smallest_line_mm=0.3)  # fmt: skip
        sprue = build_sprue(FIGURE, base, funnel)
        assert sprue.facts.lettering.face == face
        assert sprue.facts.lettering.thinnest_mm >= 0.3 - 1e-9
        master = master_of(sprue)
        assert is_watertight(master) and len(boolean.pieces(master)) == 1
        assert sum(p.volume_mm3 for p in pockets_of(master, DOWN)) < 1e-3
        volumes.append(sprue.facts.volume_mm3)
    em = sprue.facts.lettering.capital_mm / letters().capital
    ink = area(lay_out(("HO",)).loops) * em * em
    # Cut plus raised; bent faces and curved edges cost or add a little.
    assert volumes[1] - volumes[0] == pytest.approx(ink * 1.0, rel=0.15)


@pytest.mark.parametrize(("kind", "face"), FACES)
def test_faces_look_outwards_and_upright(kind, face):
    base = BaseSettings(kind, text="x", text_face=face, smallest_line_mm=0.1)
    shape = BUILDERS[kind](site_under(FIGURE, base, 12.0), base, 12.0)
    spot = next(f for f in shape.faces if f.name == face)
    assert np.linalg.det([spot.right, spot.upward, spot.normal]) == pytest.approx(1.0)
    assert spot.upward[2] > 0.7 or spot.normal[2] > 0.99
    name = {"front": (1, -1), "back": (1, 1), "left": (0, -1), "right": (0, 1), "top": (2, 1)}
    axis, sign = name[face]
    assert sign * spot.normal[axis] > 0.7
    bit = forms.box((-0.3, -0.3, 0.1), (0.3, 0.3, 0.4))
    for turn, inside in ((1.0, False), (-1.0, True)):
        moved = spot.place(bit.vertices * [1.0, 1.0, turn])
        faces = bit.faces if turn > 0 else bit.faces[:, ::-1]
        probe = boolean.TriMesh(moved, faces)
        both = boolean.union([shape.body, probe]).volume_mm3 - shape.body.volume_mm3
        assert both == pytest.approx(0.0 if inside else probe.volume_mm3, abs=2e-3)


def test_lines_on_the_base_are_no_finer_than_promised():
    """Of a section through the cut letters nothing is lost when a disc that wide must fit in."""
    for wanted in (0.3, 0.4, 0.6):
        made = plate(text="Grauer Reiher\n& Söhne 1897", smallest_line_mm=wanted, width_mm=58.0)
        promised = made.facts.lettering.thinnest_mm
        assert promised >= wanted
        turned = boolean.TriMesh(made.base.vertices[:, [0, 2, 1]], made.base.faces[:, ::-1])
        front = turned.bounds_mm[0, 2]
        shown = boolean.section_outlines(turned, float(front) + 0.2)
        holes = [p[::-1] for p in shown if np.ptp(p[:, 0]) < 30]
        whole = [p for p in boolean.offset_outlines(holes) if area([p]) > 0]
        worn = boolean.offset_outlines(holes, -0.97 * promised / 2)
        assert len(whole) == 25  # 23 letters and signs, two of them in three parts, &c.
        assert len([p for p in worn if area([p]) > 0]) == len(whole)


def test_text_shrinks_to_fit_and_no_further():
    sizes = [plate(text="W" * n).facts.lettering.capital_mm for n in (2, 6, 10, 15)]
    assert sizes == sorted(sizes, reverse=True) and sizes[0] > 2 * sizes[-1]
    with pytest.raises(InputError):
        plate(text="W" * 16)


def test_height_given_is_kept_and_shrunk_only_to_fit():
    assert plate(text="Ox", text_height_mm=5).facts.lettering.capital_mm == pytest.approx(5)
    wide = plate(text="Oxen and more oxen", text_height_mm=12).facts.lettering
    assert 3 < wide.capital_mm < 12


def test_too_long_text_is_refused_with_the_length_that_fits():
    text = "The quick brown fox jumps over the lazy dog twice"
    with pytest.raises(InputError, match=r"(\d+) of 49 characters fit") as caught:
        plate(text=text)
    fits = int(caught.value.hint.split(" of ")[0])
    assert 10 < fits < 49
    assert plate(text=text[:fits]).facts.lettering.thinnest_mm >= 0.4 - 1e-9
    with pytest.raises(InputError, match="characters fit"):
        plate(text=text[: fits + 2])


@pytest.mark.parametrize(
    ("more", "named"),
    [
        ({"text": "Ab\nCd\nEf\nGh\nIj\nKl"}, "of height at the smallest size"),
        ({"text": "Ab", "text_height_mm": 1.0}, "make base.text_height_mm 2.94"),
        ({"text": "Rat \u6f22"}, r"'漢' \(U\+6F22, CJK UNIFIED IDEOGRAPH-6F22\)"),
        ({"text": "a\x07b"}, r"U\+0007"),
        ({"text": "Ab", "text_depth_mm": 2.5, "kind": "keyring_tag", "height_mm": 4.0},
         "half through the 4 mm"),
    ],
)  # fmt: skip
def test_text_that_cannot_be(more, named):
    with pytest.raises(InputError, match=named):
        plate(**more)


def test_too_little_room_on_top_is_said():
    with pytest.raises(InputError, match=r"the top of the base has 1\.8 mm"):
        build_sprue(WIDE, BaseSettings(width_mm=26, text="Ab", text_face="top"), OPEN)


@pytest.mark.parametrize("bend", ["cone", "arc"])
def test_bent_letters_follow_the_bend(bend):
    face = Face("f", np.array([0.0, -15.0, 3.0]), np.array([1.0, 0, 0]),
                np.array([0.0, 0, 1]) if bend == "cone" else np.array([0.0, 1, 0]),
                30.0, 5.0, bend, 15.0)  # fmt: skip
    body = letters_on(face, lay_out(("MILLING",)), 5.0, -0.5, 1.0)
    far = np.hypot(body.vertices[:, 0], body.vertices[:, 1])
    if bend == "cone":
        assert far.min() == pytest.approx(14.5, abs=1e-6)
        assert far.max() == pytest.approx(16.0, abs=1e-6)
    else:
        assert far.max() - far.min() == pytest.approx(5.0 * lay_out(("MILLING",)).height, abs=0.05)
        assert np.ptp(body.vertices[:, 2]) == pytest.approx(1.5)
