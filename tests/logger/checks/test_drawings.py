"""Facts about the drawings of the set-ups: every check has one, it fits, and no word of it is drawn over."""

import xml.etree.ElementTree as ElementTree

import pytest

from logger.checks.drawings import Arrow, Box, Bubble, Dial, Drawing, Line, Round, Words, drawing
from logger.checks.drawings_of import DRAWINGS, drawing_of
from logger.checks.table import ORDER


def test_every_check_has_its_drawing_and_no_drawing_is_left_over():
    assert set(DRAWINGS) == set(ORDER)
    with pytest.raises(KeyError):
        drawing("something else")


@pytest.mark.parametrize("name", ORDER)
@pytest.mark.parametrize("ascii_only", [False, True], ids=["signs", "ascii"])
def test_it_fits_a_terminal_and_every_word_is_whole(name, ascii_only):
    rows = drawing(name).rows(ascii_only=ascii_only)
    assert all(len(row) <= 72 for row in rows)
    assert len(rows) <= 12
    for part in drawing(name).parts:
        words = part.text if isinstance(part, Words | Box) else ""
        assert not words or any(words in row for row in rows), f"'{words}' is drawn over or cut off"
    if ascii_only:
        assert all(row.isascii() for row in rows)


@pytest.mark.parametrize("name", ORDER)
def test_the_svg_is_well_formed_and_says_the_same_words(name):
    root = ElementTree.fromstring(drawing(name).svg())
    said = " ".join(element.text or "" for element in root.iter() if element.tag.endswith("text"))
    for part in drawing(name).parts:
        assert not isinstance(part, Words) or part.text in said
    width, height = float(root.get("width", 0)), float(root.get("height", 0))
    for line in (element for element in root.iter() if element.tag.endswith("line")):
        assert all(0 <= float(line.get(key, -1)) <= width for key in ("x1", "x2") if line.get(key))
        assert all(0 <= float(line.get(key, -1)) <= height for key in ("y1", "y2") if line.get(key))


def test_what_is_no_part_is_named():
    with pytest.raises(ValueError, match="'circle 1 2 3' is no part"):
        drawing_of("x", "from above\n circle 1 2 3")


def test_each_kind_of_part_is_drawn_as_it_is_meant():
    every = Drawing(
        "x", "from above", 30, 6,
        (Line(0, 0, 4, 0), Line(0, 1, 0, 3), Arrow(6, 0, 9, 0), Box(6, 2, 7, 3, "box"), Dial(16, 1, "down", 2),
         Bubble(18, 5, 9), Round(25, 2, 1)),
    )  # fmt: skip
    rows = every.rows(ascii_only=True)
    assert rows[0] == "----- --->"
    assert rows[1].startswith("|") and rows[1].endswith("(o)      ---")
    assert rows[2].startswith("|     +-----+   |") and rows[3][16] == "v"
    assert "| box |" in rows[3]
    assert rows[5] == "                  [==(o)==]"
    assert rows[-1] == "(from above)"


def test_words_of_a_view_cannot_break_out_of_the_svg():
    svg = Drawing("a<b", 'x"&<', 20, 2, (Words(0, 0, "<script>"),)).svg()
    assert "<script>" not in svg
    assert ElementTree.fromstring(svg).get("aria-label") == 'a<b: x"&<'
