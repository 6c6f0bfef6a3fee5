"""Signs, decimals and units of what is printed; and the gate that nothing hostile passes."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.report.page import fine
from logger.wording import amount, count, in_ascii, nearest, position, printable, raw, share, state, table


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "units", "sign", "said"),
    [
        (0.104, 0.002, "mm", "mm", True, "+0.104 ±0.002 mm"),
        (0.109, 0.004, "mm", "mm", False, "0.109 ±0.004 mm"),
        (-0.0132, None, "mm", "mm", True, "−0.013 mm"),
        (0.036, 0.014, "mm", "mm", False, "0.036 ±0.014 mm"),
        (0.52, 0.08, "mm", "mm", True, "+0.52 ±0.08 mm"),
        (0.1041, 0.00004, "mm", "mm", True, "+0.104 ±0.001 mm"),  # never finer than a thousandth, never ±0
        (-0.0001, 0.002, "mm", "mm", True, "+0.000 ±0.002 mm"),  # never −0.000
        (0.10414, 0.00254, "mm", "in", True, "+4.1 ±0.1 thou"),  # 1 thou = 0.0254 mm exactly
        (0.05, 0.02, "mm/m", "mm", True, "+0.05 ±0.02 mm/m"),
        (1.0, None, "mm/m", "in", True, "+12.00 thou/ft"),  # 1 mm/m = 12 thou/ft
        (None, None, "mm", "mm", True, "not known"),
        (math.nan, 0.1, "mm", "mm", True, "not known"),
    ],
)
def test_a_number_has_a_sign_a_unit_and_the_decimals_of_its_uncertainty(value, uncertainty, unit, units, sign, said):
    assert amount(value, uncertainty, unit, units, sign=sign) == said


@pytest.mark.parametrize(
    ("mm", "units", "said"),
    [
        (1480.4, "mm", "1480 mm"),
        (-300.0, "mm", "−300 mm"),
        (1480.0, "in", "58 1/4 in"),  # 58.268 in, to the sixteenth 58 4/16
        (25.4, "in", "1 in"),
        (-12.7, "in", "−1/2 in"),
        (0.0, "in", "0 in"),
        (None, "mm", "not known"),
    ],
)
def test_a_place_is_whole_millimetres_or_sixteenths(mm, units, said):
    assert position(mm, units) == said


@given(st.floats(-1e4, 1e4), st.floats(1e-6, 1e3))
def test_an_uncertainty_is_shown_within_a_quarter_of_itself_and_never_as_nothing(value, uncertainty):
    after = float(amount(value, uncertainty).split("±")[1].split(" ")[0])
    assert after > 0
    assert abs(after - uncertainty) <= max(0.25 * uncertainty, 0.001)


@given(st.text())
def test_whatever_the_text_a_terminal_gets_only_printable_signs(text):
    safe = printable(text)
    assert all(char.isprintable() or char.isspace() for char in safe)
    assert "\x1b" not in safe and "\n" not in safe and "\r" not in safe
    assert in_ascii(safe).isascii()


def test_the_instruments_own_figure_has_its_own_decimals():
    assert raw(0.1, "mm", 0.001) == "+0.100 mm"
    assert raw(0.0205, "in", 0.0005) == "+0.0205 in"
    assert raw(-0.1, "mm") == "−0.1 mm"


def test_a_part_of_an_uncertainty_is_never_a_nought():
    assert share(0.0123) == "0.012 mm"
    assert share(0.0004) == share(0.0) == "under 0.001 mm"
    assert share(0.004, "mm/m") == "under 0.01 mm/m"
    assert share(0.001, "mm", "in") == "under 0.1 thou"
    assert fine(0.00001, "mm") == "under 0.1 µm"
    assert fine(0.0012, "mm") == "1.2 µm"


def test_states_are_a_shape_and_a_word():
    assert state("inside") == "═ inside"
    assert in_ascii(state("cannot tell")) == "~ cannot tell"


def test_counts_part_by_thousands():
    assert in_ascii(count(2914)) == "2 914"


def test_the_nearest_word_is_named_only_when_it_is_near():
    assert nearest("acros", ["across", "along"]) == "; the nearest is 'across'"
    assert nearest("zzz", ["across", "along"]) == ""


def test_a_table_lines_up():
    assert table([("bolt", "move"), ("B10", "up")]) == ["  bolt  move", "  B10   up"]
