"""Beads, courses and the files pictures are saved as."""

from xml.etree import ElementTree

import pytest
from PIL import Image

from logger.report.page import pictures
from logger.report.raster import DPI, UNITS_PER_INCH, save
from logger.report.shapes import COLOURS, Picture
from logger.report.strip_drawing import Bead, Dot, Line, draw_beads, draw_course
from logger.report.svg import svg
from logger.tui.themes import LIGHT, contrast

BEADS = (Bead("2026-01-05", 0.14, 0.03, "outside"), Bead("2026-02-01", 0.02, 0.03, "inside"))


def tree_of(picture):
    return ElementTree.fromstring(str(svg(picture, alone=True)))


def centres(tree, name):
    out = []
    for each in tree.iter():
        if each.get("class") == name:
            x, y = zip(*(map(float, pair.split(",")) for pair in each.get("points").split()), strict=True)
            out.append(((min(x) + max(x)) / 2, (min(y) + max(y)) / 2))
    return out


def labels(tree, name, key):
    found = [(float(t.get(key)), float(t.text.replace("−", "-"))) for t in tree.iter() if t.get("class") == name]
    (a, v0), (b, v1) = found[0], found[-1]
    return lambda at: v0 + (at - a) * (v1 - v0) / (b - a)


def test_a_bead_lies_where_its_value_is_between_the_limits():
    tree = tree_of(draw_beads(BEADS, -0.1, 0.1, "mm/m"))
    value = labels(tree, "scale", "x")
    assert [value(x) for x, _ in centres(tree, "bead")] == [
        pytest.approx(0.14, abs=1e-3),
        pytest.approx(0.02, abs=1e-3),
    ]


def test_a_bead_says_its_state_and_its_amount_in_words():
    said = [t.text for t in tree_of(draw_beads(BEADS, None, 0.1, "mm")).iter() if t.text]
    assert "▲ outside  0.14 ±0.03 mm" in said


def test_a_single_value_without_width_can_be_drawn():
    assert len(centres(tree_of(draw_beads([Bead("once", 0.0, 0.0, "inside")], None, 0.0, "mm")), "bead")) == 1


def test_a_course_shows_values_at_their_dates_and_the_fit_broken():
    dots = [Dot(0.0, 0.10, 0.004), Dot(100.0, 0.12, 0.004)]
    picture = draw_course(dots, [Line((0.0, 0.10), (100.0, 0.12))], [50.0], [(0.0, "2026-01-05")], "mm")
    tree = tree_of(picture)
    value = labels(tree, "scale", "y")
    assert [value(y + 4) for _, y in centres(tree, "bead")] == [
        pytest.approx(0.10, abs=1e-3),
        pytest.approx(0.12, abs=1e-3),
    ]
    (fitted,) = [each for each in tree.iter() if each.get("class") == "fitted"]
    assert fitted.get("stroke-dasharray")
    assert [each for each in tree.iter() if each.get("class") == "turned"]


def test_every_picture_of_a_job_can_be_saved_as_png_and_pdf(facts, tmp_path):
    drawn = pictures(facts)
    assert list(drawn) == ["round-001-across", "round-001-along", "round-002-across", "check-flange"]
    picture = drawn["round-001-across"]
    save(picture, tmp_path / "rail.png")
    save(picture, tmp_path / "rail.pdf")
    with Image.open(tmp_path / "rail.png") as image:
        assert image.size == (round(picture.width * DPI / UNITS_PER_INCH), round(picture.height * DPI / UNITS_PER_INCH))
        seen = {colour for _, colour in image.convert("RGB").getcolors(1 << 24) or ()}
    assert tuple(int(COLOURS["high"][i : i + 2], 16) for i in (1, 3, 5)) in seen
    assert (tmp_path / "rail.pdf").read_bytes().startswith(b"%PDF-")


def test_a_dollar_sign_starts_no_formula(tmp_path):
    picture = Picture(100, 40, "$\\frac{")
    picture.words(5, 20, "$\\frac{ costs $5")
    save(picture, tmp_path / "words.png")


def test_the_colours_are_those_of_the_screen_on_white_paper():
    assert {role: LIGHT.colours[role] for role in COLOURS if role != "paper"} == {
        role: colour for role, colour in COLOURS.items() if role != "paper"
    }


@pytest.mark.parametrize("role", ["ink", "soft", "high", "low"])
def test_words_on_paper_are_told_apart_from_it(role):
    assert contrast(COLOURS[role], "#FFFFFF") >= 4.5  # W3C, WCAG 2.2, SC 1.4.3
